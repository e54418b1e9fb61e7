"""Fasting cut-offs: the last moment for food, a light meal, clear liquids, gum and mints.

Hours run back from the start of anaesthesia in real, elapsed time. Where the clocks change in
between, the earlier of the elapsed and the wall-clock result is published, so that neither way of
counting lets a patient eat too late.

Sources: ASA Practice Guidelines for Preoperative Fasting, 2017 (Anesthesiology 126:376), fasting
table: clear liquids 2 h, light meal 6 h, fried or fatty food or meat 8 h or more; reaffirmed by the
modular update, 2023 (Anesthesiology 138:132), which does not address hard candy and mints. Counting
them with clear liquids is common practice, no source. A hospital may set its own hours.
"""

from dataclasses import dataclass
from datetime import datetime

from bot.core.countdown import elapsed, instant, wall_clock_before
from bot.core.protocol import Rules, Surgery


@dataclass(frozen=True, slots=True)
class CutOffs:
    """The last allowed moments, UTC."""

    food: datetime
    light_meal: datetime
    drink: datetime
    gum_mints: datetime


def last_moment(start: datetime, hours: float, zone: str) -> datetime:
    """Give the published cut-off `hours` before `start`: the earlier of two ways of counting.

    When the result falls in an hour that comes twice, the wall-clock count already names the first
    of the two, which is the safe one whichever of them the patient has in mind.
    """
    minutes = hours * 60
    return min(elapsed(start, -minutes), wall_clock_before(start, minutes, zone))


def start_of(surgery: Surgery) -> datetime | None:
    """Give the scheduled start, UTC, or None while the hospital has not set one."""
    if surgery.starts_at is None:
        return None
    return instant(surgery.on, surgery.starts_at, surgery.zone)


def cut_offs(rules: Rules, surgery: Surgery) -> CutOffs | None:
    """Give the patient's cut-offs, or None while the start is unknown."""
    start = start_of(surgery)
    if start is None:
        return None
    return CutOffs(
        food=last_moment(start, rules.food_hours, surgery.zone),
        light_meal=last_moment(start, rules.light_meal_hours, surgery.zone),
        drink=last_moment(start, rules.drink_hours, surgery.zone),
        gum_mints=last_moment(start, rules.gum_mints_hours, surgery.zone),
    )
