"""What differs between two surgeons' rules and countdowns; invented surgeons, hospital content."""

from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path

from bot.content.load import load_book, load_protocols, load_rules
from bot.core.differences import message_differences, rule_differences
from bot.core.plan import make_countdown
from bot.core.preview import Outlook, Preview, preview
from bot.core.protocol import Candidate, Rules, Surgery

FLOWS = Path(__file__).parents[2] / "flows"
BOOK, PROTOCOL = load_book(FLOWS), load_protocols(FLOWS)["knee"]
HOSPITAL = load_rules(FLOWS)
SURGERY = Surgery("knee", "left", date(2027, 3, 15), "America/New_York", time(7, 30))
CANDIDATE = Candidate(datetime(2027, 2, 8, 15, tzinfo=UTC), BOOK.fact_defaults, dawn_agreed=True)


def shown(rules: Rules) -> list[Preview]:
    countdown = make_countdown(PROTOCOL, rules, CANDIDATE, SURGERY, CANDIDATE.enrolled_at)
    return list(preview(countdown, Outlook(BOOK, rules, CANDIDATE, SURGERY)))


def test_rules_compared_with_themselves_differ_in_nothing():
    assert rule_differences(HOSPITAL, HOSPITAL) == ()
    assert message_differences(shown(HOSPITAL), shown(HOSPITAL)) == ()


def test_a_rule_that_differs_is_named_with_both_values_as_they_are_written():
    other = replace(HOSPITAL, wash_days=(-1, 0), wake=time(9, 15))
    found = {d.name: (d.first, d.second) for d in rule_differences(HOSPITAL, other)}
    assert found == {"wash_days": ("-2, -1, 0", "-1, 0"), "wake": ("08:00", "09:15")}


def test_a_weekday_that_only_one_office_is_open_is_a_difference():
    tovar = load_rules(FLOWS, "tovar")
    found = {d.name: (d.first, d.second) for d in rule_differences(HOSPITAL, tovar)}
    assert found["hours.days.Wed"] == ("08:00, 16:30", None)


def test_an_earlier_end_of_food_moves_the_reminder_and_changes_the_text():
    other = replace(HOSPITAL, food_hours=10.0)
    found = {d.key: d for d in message_differences(shown(HOSPITAL), shown(other))}
    assert found["last_food"].moved
    assert not found["fasting"].moved
    assert found["fasting"].first.text != found["fasting"].second.text
    assert "wash/1" not in found


def test_one_wash_more_is_sent_in_one_countdown_only():
    other = replace(HOSPITAL, wash_days=(-3, -2, -1, 0))
    found = {d.key: d for d in message_differences(shown(HOSPITAL), shown(other))}
    assert found["wash/3"].first is None
    assert found["wash/3"].second is not None


def test_a_message_that_only_travels_with_another_is_not_called_unsent():
    marsh, tovar = (shown(load_rules(FLOWS, name)) for name in ("marsh", "tovar"))
    parts = {part.key for p in tovar for part in p.message.parts}
    alone = [d for d in message_differences(marsh, tovar) if d.second is None and d.first]
    assert alone
    for difference in alone:
        carried = difference.first.message.parts[0].key in parts
        assert (difference.carrier is not None) == carried


def test_differences_come_in_the_order_of_time():
    found = message_differences(*(shown(load_rules(FLOWS, n)) for n in ("marsh", "tovar")))
    times = [(d.first or d.second).message.due for d in found]
    assert times == sorted(times)
