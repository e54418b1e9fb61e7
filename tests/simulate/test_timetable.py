"""The audit's own timetable and the planner agree, for the content that ships; each is the other's
check, for they share no code."""

from datetime import UTC, date, datetime, time, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from bot.content.load import load_book, load_protocols, load_rules
from bot.core.plan import make_countdown
from bot.core.protocol import Candidate, MedicineHold, Surgery
from bot.simulate.timetable import Booking, read_house, read_lines, timetable
from bot.wiring import FLOWS

DEFAULTS = load_book(FLOWS).fact_defaults
PROTOCOLS, RULES, HOUSE = load_protocols(FLOWS), load_rules(FLOWS), read_house(FLOWS)
LINES = {joint: read_lines(FLOWS, joint) for joint in ("hip", "knee")}
ZONES = ("America/New_York", "America/Phoenix", "Europe/Madrid", "Australia/Lord_Howe")
EVERYTHING = ("smoker", "drinks_alcohol", "breathing_machine", "pets", "home_equipment_needed")


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["hip", "knee"]),
    st.sampled_from(ZONES),
    st.dates(date(2027, 1, 1), date(2028, 12, 31)),
    st.none() | st.times(time(5, 30), time(18, 0)).map(lambda at: at.replace(second=0)),
    st.booleans(),
)
def test_what_must_come_at_its_moment_is_planned_for_that_moment(joint, zone, on, start, dawn):
    enrolled = datetime(on.year, on.month, on.day, 15, tzinfo=UTC) - timedelta(days=60)
    last = on - timedelta(days=6)
    start = None if start is None else start.replace(microsecond=0)
    surgery = Surgery(joint, "left", on, zone, start)
    facts = {**DEFAULTS, **{name: True for name in EVERYTHING}}
    hold = MedicineHold("warfarin", last, "Dr. Ana Quill")
    candidate = Candidate(enrolled, facts, (hold,), dawn, has_coach=True)
    planned = make_countdown(PROTOCOLS[joint], RULES, candidate, surgery, enrolled)
    due = {part.key: p for p in planned.prompts for part in p.parts}
    booking = Booking(on, start, zone, enrolled, dawn, (("warfarin", last),))
    known = {**facts, "start_known": start is not None, "dawn_agreed": dawn}
    known |= {"medicine_hold_on_file": True, "has_coach": True}
    expected = {
        asking.key: asking
        for asking in timetable(LINES[joint], HOUSE, booking)
        if all(known.get(n) == v for n, v in asking.line.get("only_if", {}).items())
        and not any(known.get(n) == v for n, v in asking.line.get("not_if", {}).items())
    }
    assert expected.keys() == due.keys()
    for key, asking in expected.items():
        assert due[key].closes <= asking.until
        if asking.firm:
            assert due[key].due == asking.at, key
        else:
            assert booking.clock(due[key].due).date() >= booking.clock(asking.at).date(), key
