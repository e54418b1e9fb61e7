"""The ladder of silence: nudge, coach, nurse; later, by day, and sooner as surgery nears."""

from datetime import UTC, datetime, timedelta

import pytest
from dialogue_samples import NOON, Chat, shipped_book
from hypothesis import given
from hypothesis import strategies as st

from bot.core.conversation import Copy, Say
from bot.core.dialogue_silence import tightened
from bot.core.protocol import Priority

EVENING = datetime(2027, 3, 10, 23, 30, tzinfo=UTC)  # 18:30 in New York


@pytest.fixture
def chat() -> Chat:
    return Chat(shipped_book())


def wash(chat: Chat, hours: float = 20) -> None:
    chat.prompt("wash", Priority.TIME_CRITICAL, hours=hours, n="1", of="3")


def test_the_ladder_goes_from_nudge_to_coach_to_nurse_at_the_times_of_the_flow(chat: Chat) -> None:
    wash(chat)
    ladder = shipped_book().flows["wash"].states["ask"].silence
    asked = chat.now
    chat.sleep_until_woken()
    assert chat.said() == [("wash", "nudge")]
    assert chat.now - asked == timedelta(minutes=ladder.nudge_after)
    nudged = chat.now
    chat.sleep_until_woken()
    assert chat.said("coach") == [("wash", "coach_ask")]
    assert chat.now - nudged == timedelta(minutes=ladder.coach_after)
    asked_coach = chat.now
    chat.sleep_until_woken()
    assert chat.now - asked_coach == timedelta(minutes=ladder.nurse_after)
    assert chat.reasons() == ["wash_not_confirmed"]
    assert chat.records() == {"wash_1": "not_answered"}
    assert [e.line for e in chat.effects(Copy)] == ["silent"]
    assert chat.at is None


def test_without_a_coach_to_ask_the_nurse_sees_it_after_the_nudge(chat: Chat) -> None:
    alone = chat.with_context(may_ask_coach=False)
    wash(alone)
    alone.sleep_until_woken()
    alone.sleep_until_woken()
    assert alone.said("coach") == []
    assert alone.reasons() == ["wash_not_confirmed"]


def test_later_puts_the_same_question_again_after_the_wait(chat: Chat) -> None:
    wash(chat)
    chat.hear("later")
    assert chat.said() == [("wash", "later_ok")]
    chat.wait(59)
    assert chat.said() == []
    chat.wait(1)
    assert chat.said() == [("wash", "ask")]
    assert chat.at == ("wash", "ask")


def test_a_nudge_due_at_night_waits_for_the_morning(chat: Chat) -> None:
    chat.now = EVENING + timedelta(hours=1, minutes=30)  # 20:00: the nudge would fall past 21:00
    chat.prompt("pets")
    chat.sleep_until_woken()
    assert chat.said()[0][0] == "pets"
    assert chat.now == datetime(2027, 3, 11, 13, 0, tzinfo=UTC)  # 08:00 in New York


def test_a_time_critical_nudge_goes_on_at_night_for_who_agreed(chat: Chat) -> None:
    agreed = chat.with_context(dawn_agreed=True)
    agreed.now = EVENING + timedelta(hours=2)
    wash(agreed)
    agreed.sleep_until_woken()
    assert agreed.said() == [("wash", "nudge")]
    assert agreed.now < datetime(2027, 3, 11, 13, 0, tzinfo=UTC)


def test_a_question_past_its_time_is_not_nudged_but_told_to_the_nurse(chat: Chat) -> None:
    wash(chat, hours=1)  # the first nudge would come after an hour and a half
    chat.sleep_until_woken()
    assert chat.effects(Say) == []
    assert chat.reasons() == ["wash_not_confirmed"]
    assert chat.now == NOON + timedelta(hours=1)


def test_after_an_outage_the_patient_is_nudged_before_anyone_else_is_told(chat: Chat) -> None:
    wash(chat)
    chat.wait(60 * 8)
    assert chat.said() == [("wash", "nudge")]
    assert chat.reasons() == []


def test_after_an_outage_that_ends_at_night_the_nudge_waits_for_the_morning(chat: Chat) -> None:
    wash(chat, hours=30)
    chat.wait(60 * 11)  # 23:00 in New York
    assert chat.said() == []
    assert chat.turn.wake_at == datetime(2027, 3, 11, 13, 0, tzinfo=UTC)
    chat.sleep_until_woken()
    assert chat.said() == [("wash", "nudge")]


def test_an_answer_stops_the_ladder(chat: Chat) -> None:
    from bot.reading.reading import Act

    wash(chat)
    chat.hear("done", Act.DONE)
    assert chat.turn.wake_at is None


def test_a_coach_who_was_asked_and_answers_ends_the_silence(chat: Chat) -> None:
    from bot.reading.reading import Act

    wash(chat)
    chat.sleep_until_woken()
    chat.sleep_until_woken()
    chat.hear("yes", Act.AFFIRM, by="coach")
    assert chat.records() == {"wash_1": "done"}
    assert chat.turn.wake_at is None


@pytest.mark.parametrize(
    ("minutes", "days_left", "waits"),
    [(90, None, 90), (90, 10, 90), (90, 3, 68), (90, 1, 45), (90, 0, 45), (15, 0, 10), (5, 0, 5)],
)
def test_times_tighten_as_surgery_nears(minutes: int, days_left: int | None, waits: int) -> None:
    assert tightened(minutes, days_left) == waits


@given(st.integers(1, 5000), st.integers(-3, 60))
def test_tightening_never_lengthens_and_never_reaches_zero(minutes: int, days_left: int) -> None:
    assert 0 < tightened(minutes, days_left) <= minutes
    assert tightened(minutes, days_left) <= tightened(minutes, days_left + 1)
