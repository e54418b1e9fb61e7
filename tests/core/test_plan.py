"""The dated countdown of invented patients."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from countdown_samples import (
    CHECK,
    HOLD,
    LAST_DRINK,
    LAST_FOOD,
    MORNING_WASH,
    NEW_YORK,
    RULES,
    SAMPLE,
    surgery,
    teaching,
)

from bot.core.countdown import instant, local
from bot.core.plan import make_countdown
from bot.core.planned import Countdown
from bot.core.protocol import (
    Anchor,
    Candidate,
    FactTest,
    Late,
    MedicineHold,
    Priority,
    Prompt,
    Protocol,
    When,
)

MONDAY = date(2027, 3, 15)  # the day after US clocks go forward
EARLY = datetime(2027, 2, 8, 14, tzinfo=UTC)
PATIENT = Candidate(EARLY, dawn_agreed=True)


def plan(protocol=SAMPLE, candidate=PATIENT, operation=None, rules=RULES, now=None) -> Countdown:
    operation = operation or surgery(MONDAY)
    return make_countdown(protocol, rules, candidate, operation, now or candidate.enrolled_at)


def only(*prompts: Prompt) -> Protocol:
    return Protocol("small", "Small countdown", prompts)


def times(countdown: Countdown, *names: str) -> list[str]:
    """Local due times of all messages, or of the parts with these keys."""
    return [
        local(message.due, NEW_YORK).strftime("%m-%d %H:%M")
        for message in countdown.prompts
        if not names or any(part.key in names for part in message.parts)
    ]


def reasons(entries) -> list[tuple[str, str]]:
    return [(entry.key, entry.reason) for entry in entries]


def test_every_wash_is_right_to_the_minute_across_the_clock_change():
    countdown = plan()
    assert times(countdown, "wash/1", "wash/2", "morning_wash/3") == [
        "03-13 17:30",
        "03-14 17:30",
        "03-15 03:40",
    ]
    washes = [p for m in countdown.prompts for p in m.parts if p.flow == "wash"]
    assert [p.values["n"] + " of " + p.values["of"] for p in washes] == [
        "1 of 3",
        "2 of 3",
        "3 of 3",
    ]
    assert [p.values["day"] for p in washes] == ["2027-03-13", "2027-03-14", "2027-03-15"]


def test_the_daily_check_comes_at_nine_on_either_side_of_the_clock_change():
    at_nine = times(plan(), *(f"check@-{n}" for n in range(1, 11)))
    assert at_nine == [f"03-{day:02} 09:00" for day in range(5, 15)]


def test_a_wash_of_the_day_of_surgery_never_waits_for_the_protocols_evening():
    evening = Prompt("wash", "wash", When(Anchor.WASH_DAY, at=time(17, 30)))
    countdown = plan(only(evening))
    assert times(countdown) == ["03-13 17:30", "03-14 17:30", "03-15 04:00"]
    last = countdown.prompts[-1]
    assert last.time_critical
    assert last.closes == instant(MONDAY, time(5, 30), NEW_YORK)


def test_dawn_prompts_go_the_evening_before_without_the_patients_agreement():
    countdown = plan(only(MORNING_WASH, LAST_DRINK), replace(PATIENT, dawn_agreed=False))
    assert times(countdown) == ["03-14 20:00", "03-14 20:00"]
    assert all(m.parts[0].values["evening_before"] == "yes" for m in countdown.prompts)


def test_another_flow_may_open_the_evening_before():
    own = replace(MORNING_WASH, evening_flow="wash_tomorrow")
    shy = replace(PATIENT, dawn_agreed=False)
    assert plan(only(own), shy).prompts[0].parts[0].flow == "wash_tomorrow"
    assert plan(only(own)).prompts[0].parts[0].flow == "wash"


def test_a_protocol_with_its_own_evening_message_needs_no_copy():
    covered = replace(MORNING_WASH, evening_flow="")
    countdown = plan(only(covered), replace(PATIENT, dawn_agreed=False))
    assert countdown.prompts == ()
    assert reasons(countdown.skipped) == [("morning_wash/3", "not_needed")]


def test_a_late_cut_off_is_told_before_quiet_hours():
    # Food until 23:30; half an hour before would be 23:00.
    assert times(plan(only(LAST_FOOD))) == ["03-14 20:00"]


def test_an_early_teaching_prompt_waits_for_the_morning_of_its_day():
    assert times(plan(only(teaching("home", -9, time(6))))) == ["03-06 08:00"]
    assert times(plan(only(teaching("home", -9, time(22))))) == ["03-06 20:00"]


def test_a_welcome_at_night_waits_for_the_morning_and_keeps_its_window():
    night = replace(PATIENT, enrolled_at=instant(date(2027, 2, 8), time(23), NEW_YORK))
    welcome = Prompt("welcome", "welcome", When(Anchor.ENROLMENT), window_minutes=60)
    countdown = plan(only(welcome), night)
    assert times(countdown) == ["02-09 08:00"]
    assert countdown.prompts[0].closes == instant(date(2027, 2, 9), time(9), NEW_YORK)


def test_without_a_start_its_prompts_wait_and_the_nurse_is_told_by_noon_the_day_before():
    countdown = plan(operation=surgery(MONDAY, None))
    assert [entry.key for entry in countdown.waiting] == [
        "morning_wash/3",
        "last_food",
        "last_drink",
    ]
    assert countdown.nurse_due == instant(date(2027, 3, 14), time(12), NEW_YORK)
    assert plan().nurse_due is None


def test_a_start_still_missing_in_the_afternoon_is_told_at_once():
    now = instant(date(2027, 3, 14), time(15), NEW_YORK)
    assert plan(operation=surgery(MONDAY, None), now=now).nurse_due == now


def test_late_enrolment_sends_what_can_be_done_in_the_right_order():
    four_days = replace(PATIENT, enrolled_at=instant(date(2027, 3, 11), time(10), NEW_YORK))
    protocol = only(
        teaching("third", -6, window_days=5),
        teaching("closed", -20, window_days=2),
        teaching("first", -14, window_days=12),
        teaching("second", -10, window_days=9),
    )
    countdown = plan(protocol, four_days)
    assert times(countdown) == ["03-11 10:15"] * 3
    assert [m.key for m in countdown.prompts] == ["first", "second", "third"]
    assert all(m.parts[0].catch_up for m in countdown.prompts)
    assert reasons(countdown.missed) == [("closed", "too_late")]


def test_catching_up_is_spread_over_the_days_that_are_left():
    late = replace(PATIENT, enrolled_at=instant(date(2027, 3, 11), time(10), NEW_YORK))
    protocol = only(*(teaching(f"lesson {n}", -20 + n, window_days=18) for n in range(6)))
    countdown = plan(protocol, late)
    assert times(countdown) == ["03-11 10:15"] * 3 + ["03-12 10:00"] * 3
    assert [m.key for m in countdown.prompts] == [f"lesson {n}" for n in range(6)]
    assert [m.parts[0].values["days_left"] for m in countdown.prompts] == ["4"] * 3 + ["3"] * 3


def test_teaching_that_is_not_late_queues_behind_what_is():
    # Part one is late and has to wait; part two of the same day must not overtake it.
    late = replace(PATIENT, enrolled_at=instant(date(2027, 3, 11), time(9), NEW_YORK))
    lessons = tuple(teaching(f"lesson {n}", -8, window_days=7) for n in range(3))
    series = (teaching("part one", -5, window_days=4), teaching("part two", -4, window_days=3))
    afterwards = teaching("later", -2, window_days=2)
    countdown = plan(only(*lessons, *series, afterwards), late)
    parts = [p.key for m in countdown.prompts for p in m.parts]
    assert parts[3:] == ["part one", "part two", "later"]
    assert times(countdown, "part one", "part two") == ["03-12 10:00"] * 2
    assert times(countdown, "later") == ["03-13 10:00"]


def test_catching_up_is_merged_where_no_days_are_left():
    late = replace(PATIENT, enrolled_at=instant(date(2027, 3, 11), time(10), NEW_YORK))
    protocol = only(*(teaching(f"lesson {n}", -6, time(18), window_days=2) for n in range(5)))
    countdown = plan(protocol, late)
    assert times(countdown) == ["03-11 10:15"] * 3
    assert [len(m.parts) for m in countdown.prompts] == [1, 1, 3]
    assert countdown.missed == ()


@pytest.mark.parametrize(
    ("late", "missed", "skipped"),
    [
        (Late.NURSE, [("lesson", "too_late")], []),
        (Late.SKIP, [], [("lesson", "not_needed")]),
    ],
)
def test_what_is_not_sent_late_goes_to_the_nurse_or_is_let_go(late, missed, skipped):
    enrolled = replace(PATIENT, enrolled_at=instant(date(2027, 3, 11), time(10), NEW_YORK))
    countdown = plan(only(replace(teaching("lesson", -10), late=late)), enrolled)
    assert countdown.prompts == ()
    assert (reasons(countdown.missed), reasons(countdown.skipped)) == (missed, skipped)


def test_check_ins_of_days_before_enrolment_are_let_go():
    enrolled = replace(PATIENT, enrolled_at=instant(date(2027, 3, 11), time(10), NEW_YORK))
    countdown = plan(only(CHECK), enrolled)
    assert times(countdown)[0] == "03-11 10:15"  # today's, 75 minutes late
    assert countdown.missed == ()
    assert len(countdown.skipped) == 6


def test_a_medicine_date_already_past_comes_first_on_the_nurses_list():
    # Relay only (hold-rule): a date that is past cannot be kept, so a nurse must decide.
    late = Candidate(
        instant(date(2027, 3, 11), time(10), NEW_YORK),
        holds=(
            MedicineHold("warfarin", date(2027, 3, 9), "Dr. Ivo Marsh"),
            MedicineHold("ibuprofen", date(2027, 3, 12), "Dr. Ivo Marsh"),
        ),
    )
    after = replace(HOLD, id="stopped", when=When(Anchor.LAST_DOSE, days=1, at=time(10)))
    countdown = plan(only(teaching("closed", -20, window_days=1), HOLD, after), late)
    assert reasons(countdown.missed) == [
        ("hold/warfarin", "medicine_date_past"),
        ("closed", "too_late"),
    ]
    assert countdown.missed[0].values["last_dose"] == "2027-03-09"
    assert countdown.missed[0].values["prescriber"] == "Dr. Ivo Marsh"
    assert times(countdown, "stopped/ibuprofen") == ["03-13 10:00"]


def test_a_last_dose_due_today_is_not_past():
    today = replace(PATIENT, enrolled_at=instant(date(2027, 3, 9), time(10), NEW_YORK))
    held = replace(today, holds=(MedicineHold("warfarin", date(2027, 3, 9), "Dr. Ivo Marsh"),))
    assert reasons(plan(only(HOLD), held).missed) == [("hold/warfarin", "too_late")]


def test_the_patients_dawn_agreement_is_not_the_coachs():
    ride = replace(MORNING_WASH, id="ride", to="coach")
    both = replace(PATIENT, has_coach=True)
    assert times(plan(only(ride), both)) == ["03-14 20:00"]


def test_two_entries_for_one_medicine_are_both_told():
    twice = replace(
        PATIENT,
        holds=tuple(MedicineHold("insulin", date(2027, 3, d), "Dr. Ivo Marsh") for d in (12, 13)),
    )
    assert len({m.key for m in plan(only(HOLD), twice).prompts}) == 2


def test_only_the_washes_that_the_practice_set_are_planned():
    countdown = plan(rules=replace(RULES, wash_days=(-1, 0)))
    washes = [p for m in countdown.prompts for p in m.parts if p.flow == "wash"]
    assert [(p.values["n"], p.values["of"], p.values["day"]) for p in washes] == [
        ("1", "2", "2027-03-14"),
        ("2", "2", "2027-03-15"),
    ]


def test_facts_choose_the_prompts():
    smoking = replace(teaching("smoking", -20), only_if=(FactTest("smoker", (True,)),))
    no_coach = replace(teaching("alone", -20), not_if=(FactTest("has_coach", (True,)),))
    smoker = replace(PATIENT, facts={"smoker": True})
    assert [m.key for m in plan(only(smoking, no_coach)).prompts] == ["alone"]
    assert [m.key for m in plan(only(smoking, no_coach), smoker).prompts] == ["smoking", "alone"]


def test_the_coach_is_written_to_only_when_there_is_one():
    assert not [m for m in plan().prompts if m.to == "coach"]
    assert [
        m.key for m in plan(candidate=replace(PATIENT, has_coach=True)).prompts if m.to == "coach"
    ]


def test_an_item_already_done_is_not_asked_again():
    done = replace(PATIENT, done=frozenset({"wash_1"}))
    keys = {p.key for m in plan(candidate=done).prompts for p in m.parts}
    assert "wash/1" not in keys
    assert "wash/2" in keys


def test_a_wash_is_never_caught_up_on_another_day():
    next_morning = replace(PATIENT, enrolled_at=instant(date(2027, 3, 14), time(9), NEW_YORK))
    wash = Prompt("wash", "wash", When(Anchor.WASH_DAY, at=time(17)), window_minutes=3 * 24 * 60)
    countdown = plan(only(wash), next_morning)
    assert reasons(countdown.missed) == [("wash/1", "too_late")]


def test_a_dawn_prompt_without_any_allowed_time_left_goes_to_the_nurse():
    night = Candidate(instant(date(2027, 3, 14), time(22), NEW_YORK))
    assert reasons(plan(only(MORNING_WASH), night).missed) == [("morning_wash/3", "quiet_hours")]


def test_a_dawn_prompt_still_goes_late_in_the_evening_before():
    evening = Candidate(instant(date(2027, 3, 14), time(20, 30), NEW_YORK))
    countdown = plan(only(MORNING_WASH), evening)
    assert times(countdown) == ["03-14 20:45"]
    assert countdown.prompts[0].parts[0].values["evening_before"] == "yes"


def test_what_is_still_to_come_about_a_past_medicine_date_stays_planned():
    late = replace(
        PATIENT,
        enrolled_at=instant(date(2027, 3, 10), time(9), NEW_YORK),
        holds=(MedicineHold("warfarin", date(2027, 3, 9), "Dr. Ivo Marsh"),),
    )
    stopped = replace(HOLD, id="stopped", when=When(Anchor.LAST_DOSE, days=1, at=time(10)))
    countdown = plan(only(HOLD, stopped), late)
    assert times(countdown, "stopped/warfarin") == ["03-10 10:00"]
    assert reasons(countdown.missed) == [("hold/warfarin", "medicine_date_past")]


def test_a_last_dose_with_a_time_is_told_with_it():
    timed = MedicineHold("warfarin", date(2027, 3, 9), "Dr. Ivo Marsh", "", time(18))
    countdown = plan(only(HOLD), replace(PATIENT, holds=(timed,)))
    assert countdown.prompts[0].parts[0].values["last_dose"] == "2027-03-09T18:00:00"


def test_prompts_due_together_keep_priority_then_protocol_order():
    protocol = only(
        teaching("b", -5), teaching("a", -5), replace(teaching("c", -5), priority=Priority.SAFETY)
    )
    assert [m.key for m in plan(protocol).prompts] == ["c", "b", "a"]


def test_nothing_is_planned_before_now():
    now = instant(date(2027, 3, 14), time(12), NEW_YORK)
    assert all(m.due >= now for m in plan(now=now).prompts)
    assert plan(now=EARLY - timedelta(days=3)).prompts == plan().prompts
