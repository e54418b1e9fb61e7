"""A month of invented patients: the same seed makes the same month, and nothing is left over."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest
from rich.console import Console

from bot.play.month import Month, _next_step
from bot.play.month_page import first_day, page, rests
from bot.play.month_people import Person, people
from bot.play.scenario import load_scenario
from bot.store.engine import open_engine
from bot.store.schema import upgrade

STORIES = Path(__file__).parents[2] / "demo_scripts"


def invented(number: int, seed: int) -> list[Person]:
    english = load_scenario(STORIES / "all_well.yaml").answers
    return people(number, Random(seed), first_day(), {"en": english, "es": english})


def test_the_same_seed_invents_the_same_people():
    assert invented(50, 3) == invented(50, 3)
    assert invented(50, 3) != invented(50, 4)


def test_people_are_operated_on_weekdays_after_their_enrolment():
    for person in invented(200, 1):
        assert person.wish.surgery.on.weekday() < 5
        assert person.enrolled.date() < person.wish.surgery.on


def test_a_step_ends_at_or_after_the_moment_in_it():
    start = first_day()
    for seconds in (0, 1, 299, 300, 301):
        moment = start + timedelta(seconds=seconds)
        step = _next_step(moment, start)
        assert moment <= step < moment + timedelta(minutes=5)


@pytest.mark.slow
def test_a_small_month_leaves_nothing_over(published):
    engine = open_engine("sqlite://")
    upgrade(engine)
    practice = replace(published, engine=engine)
    month = Month(practice, invented(6, 5), first_day(), 30, Random(5))
    for _ in month.play():
        pass
    assert rests(month).nothing
    assert month.written > 100
    console = Console(record=True, width=100)
    console.print(page(month, 1.0))
    assert "6 invented patients" in console.export_text()
