"""Choices named in words, on the content as it ships."""

import pytest
from dialogue_samples import Chat, reading, shipped_book
from hypothesis import given
from hypothesis import strategies as st

from bot.core.choice_words import named_choice, plain
from bot.core.dialogue_replies import expected_key
from bot.reading.reading import Act


def key(flow: str, text: str, act: Act = Act.UNCLEAR, state: str = "ask", **more) -> str | None:
    found = shipped_book().flows[flow]
    return expected_key(found, found.states[state], reading(act, **more), text)


@pytest.mark.parametrize(
    ("flow", "text", "choice"),
    [
        ("blood_tests", "booked for Thursday", "booked"),
        ("blood_tests", "Ya tengo cita el jueves", "booked"),
        ("preop_call", "Booked!", "booked"),
        ("preop_class", "I signed up yesterday", "done"),
        ("preop_class", "not going", "not_going"),
        ("lives_alone", "someone", "someone"),
        ("lives_alone", "my wife Ruth", "someone"),
        ("lives_alone", "nobody", "nobody"),
        ("soap_buy", "Got it", "done"),
        ("soap_buy", "I need help with that", "need_help"),
        ("soap_buy", "not yet", "later"),
        ("travel", "almost there", "affirm"),
        ("travel", "the car broke down", "any"),
        ("call_check", "I got their voicemail", "deny"),
        ("call_check", "they called me back", "affirm"),
    ],
)
def test_a_choice_is_known_by_its_further_words_its_key_or_its_label(flow, text, choice):
    found = key(flow, text) or ("any" if flow == "travel" else None)
    assert found == choice


@pytest.mark.parametrize(
    ("flow", "text"),
    [
        ("blood_tests", "not booked"),
        ("blood_tests", "I haven't booked it"),
        ("blood_tests", "booked but they cancelled it"),
        ("preop_call", "no appointment"),
        ("soap_buy", "I have not got it"),
        ("lives_alone", "someone or nobody"),
        ("call_check", "I could not get them, spoke with no one"),
        ("start_arrival", "the side is right"),
        ("coach_choice", "everything but my health"),
    ],
)
def test_a_negation_a_but_or_two_choices_name_nothing(flow, text):
    state = "level" if flow == "coach_choice" else "ask"
    assert key(flow, text, state=state) is None


@pytest.mark.parametrize(
    "text", ["I feel something", "feel well I guess", "something", "I have it", "well"]
)
def test_a_symptom_check_is_never_answered_by_a_shared_word(text):
    assert key("symptom_check", text) is None


def test_words_of_a_choice_do_not_swallow_an_alarm_or_a_question():
    assert key("blood_tests", "booked", Act.SYMPTOM, alert=True) is None
    assert key("blood_tests", "booked where", Act.QUESTION) is None
    chat = Chat(shipped_book())
    chat.prompt("blood_tests")
    chat.hear("booked, and I have a fever", Act.SYMPTOM)
    assert chat.reasons()


@given(st.sampled_from(["not", "never", "cannot", "sin", "nunca", "but", "pero"]), st.data())
def test_no_further_word_counts_beside_a_word_that_turns_it(turn, data):
    flows = [f for f in shipped_book().flows.values() if f.words]
    flow = data.draw(st.sampled_from(flows))
    choice = data.draw(st.sampled_from(sorted(flow.words)))
    phrase = data.draw(st.sampled_from(sorted(p for ps in flow.words[choice].values() for p in ps)))
    states = [s for s in flow.states.values() if choice in s.choices]
    found = {named_choice(flow, state, plain(f"{turn} {phrase}")) for state in states}
    # "no" and the like may belong to another choice's own phrase, never to this one's alone
    assert choice not in found or any(
        f"{turn} {phrase}".endswith(p) and p.startswith(turn)
        for ps in flow.words[choice].values()
        for p in ps
    )
