"""Invented rules, protocols and Hypothesis strategies for the tests of the countdown."""

from datetime import UTC, date, datetime, time, timedelta

from hypothesis import strategies as st

from bot.core.protocol import (
    Anchor,
    Candidate,
    FactTest,
    Late,
    MedicineHold,
    OfficeHours,
    Phones,
    Priority,
    Prompt,
    Protocol,
    Rules,
    Surgery,
    When,
)

PHONES = Phones("+1-202-555-0101", "+1-202-555-0102", "+1-202-555-0103")
RULES = Rules("Alder Creek Hospital", "Dr. Ana Quill", PHONES, OfficeHours({}))
NEW_YORK = "America/New_York"
DAY = 24 * 60
ZONES = (
    "America/New_York",
    "America/Chicago",
    "America/Phoenix",  # never changes its clocks
    "America/Denver",
    "Pacific/Honolulu",
    "America/St_Johns",  # half-hour zone
    "Europe/Madrid",
    "Australia/Lord_Howe",  # changes its clocks by half an hour
    "America/Santiago",  # changes its clocks at midnight
)


def surgery(on: date, starts_at: time | None = time(7, 30), zone: str = NEW_YORK) -> Surgery:
    return Surgery("knee", "left", on, zone, starts_at)


def teaching(name: str, days: int, at: time = time(10), window_days: int = 14) -> Prompt:
    when = When(Anchor.SURGERY_DATE, days=days, at=at)
    return Prompt(name, name, when, window_minutes=window_days * DAY)


WASH = Prompt(
    "wash",
    "wash",
    When(Anchor.WASH_DAY, at=time(17, 30), first_day=-14, last_day=-1),
    priority=Priority.TIME_CRITICAL,
    window_minutes=300,
    item="wash_{n}",
)
MORNING_WASH = Prompt(
    "morning_wash",
    "wash",
    When(Anchor.WASH_DAY, minutes=-110, first_day=0, last_day=0),
    priority=Priority.TIME_CRITICAL,
    window_minutes=90,
    time_critical=True,
    item="wash_{n}",
)
CHECK = Prompt(
    "check",
    "check",
    When(Anchor.SURGERY_DATE, at=time(9), first_day=-10, last_day=-1),
    priority=Priority.SAFETY,
    window_minutes=11 * 60,
)
LAST_DRINK = Prompt(
    "last_drink",
    "last_drink",
    When(Anchor.LAST_DRINK, minutes=-45),
    priority=Priority.TIME_CRITICAL,
    window_minutes=40,
    late=Late.SKIP,
    time_critical=True,
)
LAST_FOOD = Prompt("last_food", "last_food", When(Anchor.LAST_FOOD, minutes=-30))
HOLD = Prompt(
    "hold",
    "hold",
    When(Anchor.LAST_DOSE, days=-1, at=time(10)),
    priority=Priority.SAFETY,
    late=Late.NURSE,
    item="told_{medicine}",
)
SAMPLE = Protocol(
    "sample",
    "Sample countdown",
    (
        Prompt("welcome", "welcome", When(Anchor.ENROLMENT), priority=Priority.SAFETY),
        teaching("home", -24, window_days=22),
        teaching("soap", -14, window_days=12),
        CHECK,
        HOLD,
        WASH,
        MORNING_WASH,
        LAST_FOOD,
        LAST_DRINK,
        Prompt("coach_day", "coach_day", When(Anchor.SURGERY_DATE, -1, time(16)), to="coach"),
    ),
)

surgery_days = st.one_of(
    st.dates(date(2024, 1, 1), date(2032, 12, 31)),
    # around clock changes and a leap day, where the mistakes are
    st.sampled_from([date(2027, 3, 14), date(2026, 11, 1), date(2028, 2, 29), date(2027, 3, 28)]),
)
minutes_of_day = st.integers(0, DAY - 1).map(lambda m: time(m // 60, m % 60))
zones = st.sampled_from(ZONES)


@st.composite
def surgeries(draw: st.DrawFn) -> Surgery:
    return surgery(draw(surgery_days), draw(st.none() | minutes_of_day), draw(zones))


@st.composite
def rules(draw: st.DrawFn) -> Rules:
    return Rules(
        "Alder Creek Hospital",
        "Dr. Ana Quill",
        PHONES,
        OfficeHours({}),
        wake=time(draw(st.integers(6, 10))),
        hush=time(draw(st.integers(18, 23)), draw(st.sampled_from([0, 30]))),
        daily_limit=draw(st.integers(1, 5)),
        wash_days=tuple(draw(st.sets(st.integers(-6, 0), min_size=1, max_size=4))),
        food_hours=draw(st.sampled_from([6.0, 8.0, 12.0])),
    )


@st.composite
def whens(draw: st.DrawFn) -> When:
    anchor = draw(st.sampled_from(Anchor))
    if anchor is Anchor.ENROLMENT:
        return When(anchor, minutes=draw(st.integers(0, 4 * DAY)))
    if anchor in (Anchor.SURGERY_DATE, Anchor.LAST_DOSE):
        return When(anchor, days=draw(st.integers(-40, 2)), at=draw(minutes_of_day))
    if anchor is Anchor.WASH_DAY:
        return When(anchor, at=draw(minutes_of_day))
    return When(anchor, minutes=draw(st.integers(-600, 0)))


@st.composite
def protocols(draw: st.DrawFn) -> Protocol:
    prompts = [
        Prompt(
            f"prompt_{number}",
            f"flow_{number}",
            when,
            to=draw(st.sampled_from(["patient", "patient", "coach"])),
            priority=draw(st.sampled_from(Priority)),
            only_if=draw(st.sampled_from([(), (FactTest("smoker", (True,)),)])),
            window_minutes=draw(st.integers(30, 20 * DAY)),
            late=draw(st.sampled_from(Late)),
            time_critical=draw(st.booleans()),
        )
        for number, when in enumerate(draw(st.lists(whens(), max_size=12)))
    ]
    return Protocol("drawn", "Drawn countdown", tuple(prompts))


@st.composite
def candidates(draw: st.DrawFn, on: date) -> Candidate:
    minutes_ahead = draw(st.integers(-DAY // 2, 60 * DAY))
    noon = datetime(on.year, on.month, on.day, 12, tzinfo=UTC)
    days = draw(st.lists(st.integers(-20, -1), max_size=2))
    held = tuple(
        MedicineHold(f"medicine {n}", on + timedelta(days=day), "Dr. Ivo Marsh")
        for n, day in enumerate(days)
    )
    return Candidate(
        enrolled_at=noon - timedelta(minutes=minutes_ahead),
        facts={"smoker": draw(st.booleans())},
        holds=held,
        dawn_agreed=draw(st.booleans()),
        has_coach=draw(st.booleans()),
    )
