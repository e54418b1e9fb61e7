"""What the texts say of times, in both languages.

Noon and midnight in words, clock time with weekday: CDC Clear Communication Index, 2014 (from
memory). Weekday and month names: Unicode CLDR through babel.
"""

from dataclasses import replace
from datetime import date, time

import pytest
from countdown_samples import NEW_YORK, RULES, minutes_of_day, surgery, surgery_days
from hypothesis import given

from bot.core.countdown import elapsed, instant
from bot.core.protocol import rules_of
from bot.core.values import clock_words, moment_words, part_values, surgery_values

MONDAY = date(2027, 3, 15)
BASIC_SMS_LETTERS = set("áíóú")  # these four are the only letters beyond ASCII, ñ and é to appear


def test_the_day_before_surgery_in_words():
    values = surgery_values(RULES, surgery(MONDAY), "en")
    assert values["food_until"] == "11:30 PM Sunday night"
    assert values["light_meal_until"] == "1:30 AM early Monday morning"
    assert values["drink_until"] == "5:30 AM Monday"
    assert values["arrival_time"] == "5:30 AM Monday"
    assert values["start_time"] == "7:30 AM Monday"
    assert values["surgery_date"] == "Monday, March 15"
    assert values["office_phone"] == RULES.phones.office


def test_a_surgeon_without_rules_of_their_own_is_never_called_by_anothers_name():
    rules = replace(RULES, surgeon="Dr. Ana Quill", values={"surgeon_es": "Dra. Ana Quill"})
    told = [
        surgery_values(rules_of(rules, name), surgery(MONDAY), language)["surgeon"]
        for name in ("Dr. Ana Quill", "Dr. Leo Marsh")
        for language in ("en", "es")
    ]
    assert told == ["Dr. Ana Quill", "Dra. Ana Quill", "Dr. Leo Marsh", "Dr. Leo Marsh"]


def test_the_day_before_surgery_in_spanish():
    values = surgery_values(RULES, surgery(MONDAY), "es")
    assert values["food_until"] == "11:30 de la noche del domingo"
    assert values["light_meal_until"] == "1:30 de la madrugada del lunes"
    assert values["start_time"] == "7:30 de la mañana del lunes"
    assert values["surgery_date"] == "lunes 15 de marzo"
    assert (values["joint"], values["side"]) == ("rodilla", "izquierda")


@pytest.mark.parametrize(
    ("clock", "english", "spanish"),
    [
        (time(0), "midnight Sunday night", "medianoche del domingo"),
        (time(12), "12 noon Monday", "12 del mediodía del lunes"),
        (time(12, 30), "12:30 PM Monday", "12:30 de la tarde del lunes"),
        (time(0, 30), "12:30 AM early Monday morning", "12:30 de la madrugada del lunes"),
        (time(20), "8:00 PM Monday", "8:00 de la noche del lunes"),
    ],
)
def test_noon_and_midnight_are_words(clock: time, english: str, spanish: str):
    assert clock_words(MONDAY, clock, "en") == english
    assert clock_words(MONDAY, clock, "es") == spanish


def test_an_hour_that_comes_twice_says_which():
    first = instant(date(2026, 11, 1), time(1, 30), NEW_YORK)
    assert moment_words(first, NEW_YORK, "en").endswith("(before the clocks go back)")
    assert moment_words(first, NEW_YORK, "es").endswith("(antes de atrasar el reloj)")
    second = elapsed(first, 60)
    assert moment_words(second, NEW_YORK, "en") == "1:30 AM early Sunday morning"


def test_an_unknown_start_is_said_to_be_unknown():
    values = surgery_values(RULES, surgery(MONDAY, None), "en")
    assert {values[n] for n in ("start_time", "arrival_time", "food_until")} == {"not set yet"}


def test_further_values_follow_the_language():
    own = replace(RULES, values={"wash_product_es": "jabón antiséptico", "room": "4471"})
    assert surgery_values(own, surgery(MONDAY), "es")["wash_product"] == "jabón antiséptico"
    english = surgery_values(own, surgery(MONDAY), "en")
    assert (english["wash_product"], english["room"]) == ("antiseptic soap", "4471")
    assert "wash_product_es" not in english


@pytest.mark.parametrize(
    ("stored", "english", "spanish"),
    [
        ("2027-03-09", "Tuesday, March 9", "martes 9 de marzo"),
        ("2027-03-09T18:00:00", "Tuesday, March 9, 6:00 PM", "martes 9 de marzo, 6:00 de la tarde"),
        ("after supper", "after supper", "after supper"),
    ],
)
def test_a_last_dose_is_said_as_entered(stored: str, english: str, spanish: str):
    assert part_values({"last_dose": stored}, "en")["last_dose"] == english
    assert part_values({"last_dose": stored}, "es")["last_dose"] == spanish


@given(surgery_days, minutes_of_day)
def test_no_space_or_sign_that_makes_a_text_message_dearer(on: date, at: time):
    english = clock_words(on, at, "en")
    assert english.isascii()
    spanish = clock_words(on, at, "es")
    assert {c for c in spanish if not c.isascii()} <= BASIC_SMS_LETTERS | set("ñé")
