"""What a patient may ask at any time, and thanks."""

from datetime import UTC, datetime, timedelta

import pytest
from dialogue_samples import NOON, Chat, shipped_book

from bot.core.conversation import Say
from bot.core.dialogue_wishes import is_thanks, reminder_at, wish_of
from bot.core.wording import say_text
from bot.reading.reading import Act, Symptom


def chat(**context) -> Chat:
    return Chat(shipped_book()).with_context(**context)


def texts(one: Chat, language: str = "en") -> list[str]:
    said = [e for e in one.turn.effects if isinstance(e, Say)]
    return [say_text(one.book, e, {}, language) for e in said]


@pytest.mark.parametrize(
    ("text", "wish"),
    [
        ("what's next?", "next"),
        ("Hi, what is next please", "next"),
        ("¿Qué sigue?", "next"),
        ("What have I done so far?", "done"),
        ("When do I arrive?", "arrive"),
        ("¿A qué hora llego?", "arrive"),
        ("remind me in two hours", "remind"),
        ("can I talk to a person", "person"),
        ("Quiero hablar con una persona", "person"),
        ("what is next to my incision, it looks red and hot and is open", None),
        ("should I arrive hungry", None),
    ],
)
def test_a_wish_is_known_by_what_stands_in_the_content(text, wish):
    assert wish_of(shipped_book(), text) == wish


def test_what_is_next_names_the_next_planned_step_and_when():
    one = chat(coming=(("soap_buy", NOON + timedelta(days=1)),))
    one.hear("what's next?", Act.QUESTION)
    assert (
        texts(one)
        == ["Next on your list: getting the soap for the washes, 12 noon on Thursday, March 11."]
        or "getting the soap for the washes" in texts(one)[0]
    )
    assert one.reasons() == []


def test_what_have_i_done_lists_steps_and_numbers_washes():
    one = chat(done=frozenset({"soap", "wash_1", "wash_2", "consent"}))
    one.hear("what have I done", Act.QUESTION)
    assert "the special wash 1, the special wash 2" in texts(one)[0]
    assert "getting the soap" in texts(one)[0]
    assert "OK to get texts" not in texts(one)[0]


def test_when_do_i_arrive_says_so_when_it_is_not_known():
    one = chat(facts={"start_known": False})
    one.hear("when do I arrive", Act.QUESTION)
    assert one.said() == [("system", "when_arrive_unknown")]
    one = chat(facts={"start_known": True})
    one.hear("when do I arrive", Act.QUESTION)
    assert one.said() == [("system", "when_arrive")]


def test_a_reminder_keeps_the_open_question_and_asks_it_again_then():
    one = chat()
    one.prompt("soap_buy")
    one.hear("remind me in two hours", Act.NOT_DONE)
    assert one.at == ("soap_buy", "ask")
    asked = one.now
    one.sleep_until_woken()
    assert one.now - asked == timedelta(hours=2)
    assert one.said() == [("soap_buy", "ask")]


def test_a_reminder_with_nothing_open_comes_back_with_the_patients_words():
    one = chat()
    one.hear("remind me in 2 hours to call my sister", Act.NOT_DONE)
    assert one.said() == [("system", "remind_ok")]
    one.sleep_until_woken()
    assert "call my sister" in texts(one)[0]


def test_a_person_is_asked_for_and_told_of_also_by_the_coach():
    one = chat()
    one.hear("let me talk to a person", Act.HELP)
    assert one.reasons() == ["person_wanted"]
    assert one.said() == [("system", "person_coming")]
    one.hear("let me talk to a person", Act.HELP, by="coach")
    assert one.reasons() == ["coach_asked"]


def test_the_coach_is_not_told_what_the_patients_next_step_is():
    one = chat(coming=(("soap_buy", NOON),))
    one.hear("what's next?", Act.QUESTION, by="coach")
    assert ("system", "next_up") not in one.said("coach")


def test_an_alarm_in_a_wish_is_an_alarm():
    one = chat()
    one.hear("what is next, I have a fever", Act.SYMPTOM, symptoms=(Symptom.FEVER,), alert=True)
    assert one.reasons() == ["fever"]


@pytest.mark.parametrize(
    "text", ["thanks!", "gracias", "ok", "Thank you so much", "muchas gracias"]
)
def test_thanks_with_nothing_open_are_never_misunderstood_and_never_a_nurses_matter(text):
    one = chat()
    for _ in range(3):
        one.hear(text)
        assert one.reasons() == []
        assert set(one.said()) <= {("system", "you_are_welcome")}


def test_thanks_to_an_open_question_put_it_again_without_counting_as_unread():
    one = chat()
    one.prompt("soap_buy")
    for _ in range(3):
        one.hear("thank you")
        assert one.at == ("soap_buy", "ask")
        assert one.reasons() == []


def test_thanks_do_not_hide_other_words():
    assert not is_thanks(shipped_book(), "thanks but I have a rash")
    assert not is_thanks(shipped_book(), "no thanks")


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("remind me in two hours", timedelta(hours=2)),
        ("remind me in half an hour", timedelta(minutes=30)),
        ("remind me in 45 minutes", timedelta(minutes=45)),
        ("recuérdame en una hora", timedelta(hours=1)),
        ("remind me tomorrow", timedelta(days=1)),
        ("remind me in 9 days", None),
        ("remind me later", None),
    ],
)
def test_the_time_of_a_reminder_is_a_span_from_now(text, span):
    now = datetime(2027, 3, 10, 17, tzinfo=UTC)
    assert reminder_at(text, now) == (now + span if span else None)
