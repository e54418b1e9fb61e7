"""A conversation comes back from its JSON exactly as it was."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core import conversation_json
from bot.core.conversation import Conversation, OpenQuestion, WaitingFlow
from bot.core.conversation_json import conversation_from_json, conversation_to_json
from bot.core.protocol import Priority

zones = st.sampled_from([UTC, timezone(timedelta(hours=-5)), timezone(timedelta(hours=9.5))])
moments = st.datetimes(timezones=zones)
words = st.text(max_size=12)
values = st.dictionaries(words, words, max_size=3)
questions = st.builds(
    OpenQuestion,
    flow=words,
    revision=words,
    state=words,
    asked_at=moments,
    priority=st.sampled_from(Priority),
    prompt=st.none() | words,
    values=values,
    unread=st.integers(0, 3),
    nudges=st.integers(0, 3),
    rung=st.sampled_from(["patient", "coach"]),
    rung_at=st.none() | moments,
    closes=st.none() | moments,
    ask_again_at=st.none() | moments,
    answered=st.none() | words,
)
waiting = st.builds(
    WaitingFlow,
    flow=words,
    not_before=moments,
    priority=st.sampled_from(Priority),
    closes=st.none() | moments,
    prompt=st.none() | words,
    values=values,
)
threads = st.builds(
    Conversation,
    language=st.sampled_from(["en", "es"]),
    open=st.none() | questions,
    interrupted=st.lists(questions, max_size=2).map(tuple),
    waiting=st.lists(waiting, max_size=3).map(tuple),
    stopped=st.booleans(),
    paused=st.booleans(),
    escalated=st.frozensets(words, max_size=3),
    version=st.integers(0),
    who=st.sampled_from(["patient", "coach"]),
    recent=st.lists(questions, max_size=2).map(tuple),
    unread=st.integers(0, 2),
    coach=st.none(),
)


@given(threads, st.none() | threads)
def test_the_round_trip_is_exact(conversation: Conversation, coach: Conversation | None) -> None:
    whole = replace(conversation, coach=coach)
    text = conversation_to_json(whole)
    assert conversation_from_json(text) == whole
    assert conversation_to_json(_read(text)) == text
    assert _read(text) == whole


def _read(text: str) -> Conversation:
    """What another process reads, which did not write it."""
    conversation_json._at_hand.clear()
    return conversation_from_json(text)


def test_a_chat_at_hand_has_the_version_that_is_kept_beside_it() -> None:
    text = conversation_to_json(Conversation(version=3))
    assert conversation_from_json(text, 4) == replace(_read(text), version=4)


def test_chats_at_hand_do_not_pile_up() -> None:
    for version in range(3 * conversation_json._AT_HAND):
        conversation_to_json(Conversation(version=version))
    assert len(conversation_json._at_hand) <= conversation_json._AT_HAND


def test_a_fresh_conversation_needs_nothing_on_file() -> None:
    assert conversation_from_json("{}") == Conversation()


def test_a_field_of_another_version_is_not_dropped_unseen() -> None:
    raw = json.loads(conversation_to_json(Conversation()))
    with pytest.raises(TypeError):
        conversation_from_json(json.dumps({**raw, "unheard_of": 1}))


def test_instants_are_kept_to_the_microsecond() -> None:
    moment = datetime(2027, 3, 14, 6, 59, 59, 999999, tzinfo=UTC)
    kept = Conversation(waiting=(WaitingFlow("x", moment),))
    assert _read(conversation_to_json(kept)).waiting[0].not_before == moment
