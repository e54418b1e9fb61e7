"""The dialogue: one question at a time, replies read in order, nothing ends in silence."""

from dataclasses import replace
from datetime import timedelta

import pytest
from dialogue_samples import CONTEXT, NOON, Chat, shipped_book

from bot.core.conversation import (
    Conversation,
    Copy,
    Escalate,
    LearnFact,
    Record,
    Say,
    SetLanguage,
    SetStopped,
)
from bot.core.protocol import Priority
from bot.reading.reading import Act, Symptom, Temperature

WASH = {"n": "1", "of": "3"}


@pytest.fixture
def chat() -> Chat:
    return Chat(shipped_book())


def wash(chat: Chat, **more: object) -> None:
    chat.prompt("wash", Priority.TIME_CRITICAL, **{"hours": 20, **WASH, **more})


# --- Prompts and turns ---


def test_a_prompt_asks_and_offers_its_choices(chat: Chat) -> None:
    wash(chat)
    say = next(e for e in chat.turn.effects if isinstance(e, Say))
    assert (say.to, say.line, say.choices[0]) == ("patient", "ask", "done")
    assert say.values["n"] == "1"
    assert chat.at == ("wash", "ask")


def test_a_confirmed_wash_is_recorded_thanked_for_and_copied(chat: Chat) -> None:
    wash(chat)
    chat.hear("done", Act.DONE)
    assert chat.records() == {"wash_1": "done"}
    assert chat.said() == [("wash", "confirmed")]
    assert [e.line for e in chat.effects(Copy)] == ["wash_done"]
    assert chat.at is None


@pytest.mark.parametrize("text", ["1", "1.", " #1 "])
def test_a_number_means_the_choice_of_that_number(chat: Chat, text: str) -> None:
    wash(chat)
    chat.hear(text, Act.CHOICE, choices=(1,))
    assert chat.records() == {"wash_1": "done"}


def test_the_words_of_a_choice_mean_that_choice_in_any_language(chat: Chat) -> None:
    wash(chat)
    chat.hear("MAS TARDE!")
    assert chat.said() == [("wash", "later_ok")]


@pytest.mark.parametrize(
    ("text", "record"),
    [("nobody answered", "not_done"), ("No contestaron!", "not_done"), ("answered", None)],
)
def test_the_part_of_a_label_after_its_comma_is_enough(
    chat: Chat, text: str, record: str | None
) -> None:
    chat.prompt("call_check", Priority.SAFETY)
    chat.hear(text)
    assert chat.records().get("office_call") == record


def test_a_number_that_is_not_on_the_list_is_never_taken_for_an_answer(chat: Chat) -> None:
    wash(chat)
    chat.hear("9", Act.CHOICE, choices=(9,))
    assert chat.records() == {}
    assert ("system", "not_understood_number") in chat.said()
    assert chat.at == ("wash", "ask")


def test_two_numbers_are_no_answer_and_are_asked_about(chat: Chat) -> None:
    chat.prompt("symptom_check", Priority.SAFETY)
    chat.hear("1 2", Act.CHOICE, choices=(1, 2))
    assert chat.records() == {}
    assert chat.at == ("symptom_check", "ask")


def test_a_stale_prompt_says_nothing(chat: Chat) -> None:
    chat.prompt("wash", hours=-1, **WASH)
    assert chat.turn.effects == ()
    assert chat.at is None


def test_a_wash_already_done_is_not_asked_again(chat: Chat) -> None:
    done = chat.with_context(done=frozenset({"wash_1"}))
    wash(done)
    assert done.turn.effects == ()


def test_a_safety_check_is_asked_whatever_is_on_record(chat: Chat) -> None:
    done = chat.with_context(done=frozenset({"symptom_check"}))
    done.prompt("symptom_check", Priority.SAFETY)
    assert done.at == ("symptom_check", "ask")


def test_a_second_question_waits_until_the_first_is_answered(chat: Chat) -> None:
    wash(chat)
    chat.prompt("pets")
    assert chat.at == ("wash", "ask")
    assert chat.said() == []
    chat.hear("done", Act.DONE)
    assert chat.at == ("pets", shipped_book().flows["pets"].start)


def test_safety_goes_first_and_the_question_it_put_aside_comes_back(chat: Chat) -> None:
    chat.prompt("pets")
    before = chat.at
    chat.prompt("symptom_check", Priority.SAFETY)
    assert chat.at == ("symptom_check", "ask")
    chat.hear("no", Act.ALL_CLEAR)
    assert ("system", "interrupted_back") in chat.said()
    assert chat.at == before


def test_todays_check_closes_yesterdays_instead_of_stacking_on_it(chat: Chat) -> None:
    chat.prompt("symptom_check", Priority.SAFETY, hours=40)
    chat.now += timedelta(hours=23)
    chat.prompt("symptom_check", Priority.SAFETY)
    assert chat.records() == {"symptom_check": "not_answered"}
    assert chat.reasons() == ["silent"]
    assert chat.at == ("symptom_check", "ask")
    assert chat.conversation.waiting == ()
    assert chat.conversation.interrupted == ()


def test_two_medicines_of_one_day_are_both_asked_about(chat: Chat) -> None:
    flow = "medicine_hold_day"
    chat.prompt(flow, Priority.SAFETY, key="a", medicine="lisinopril")
    chat.prompt(flow, Priority.SAFETY, key="b", medicine="metformin")
    waiting = [w.values["medicine"] for w in chat.conversation.waiting]
    assert chat.conversation.open.values["medicine"] == "lisinopril"
    assert waiting == ["metformin"]


# --- Order of reading ---


def test_done_with_a_rash_confirms_the_wash_and_raises_the_alarm(chat: Chat) -> None:
    wash(chat)
    chat.hear("done but I have a rash", Act.SYMPTOM, symptoms=(Symptom.RASH,), also=(Act.DONE,))
    assert chat.records() == {"wash_1": "done"}
    assert chat.reasons() == ["rash"]
    assert chat.said()[0][0] == "alarm_symptom"


def test_stop_with_chest_pain_gives_the_emergency_number_first_and_stops(chat: Chat) -> None:
    wash(chat)
    chat.hear("STOP chest pain", Act.EMERGENCY, also=(Act.OPT_OUT,), alert=True)
    assert chat.said()[0][0] == "alarm_emergency"
    assert ("system", "stopped") in chat.said()
    assert chat.reasons() == ["emergency", "opt_out"]
    assert chat.conversation.stopped
    assert chat.at is None


def test_self_harm_with_an_emergency_hears_both_lines(chat: Chat) -> None:
    chat.hear("took all my pills", Act.SELF_HARM, also=(Act.EMERGENCY,), alert=True)
    flows = [flow for flow, _ in chat.said()]
    assert flows[0] == "alarm_emergency"
    assert "alarm_self_harm" in flows
    assert {"emergency", "self_harm"} & set(chat.reasons()) == set(chat.reasons())


def test_several_symptoms_are_several_reasons(chat: Chat) -> None:
    chat.hear("fever and cough", Act.SYMPTOM, symptoms=(Symptom.FEVER, Symptom.COUGH))
    assert set(chat.reasons()) == {"fever", "cough"}


def test_the_gravest_reason_comes_first_and_decides_what_is_said(chat: Chat) -> None:
    symptoms = (Symptom.COUGH, Symptom.CHEST_PAIN)
    chat.hear("cough and chest pain", Act.SYMPTOM, symptoms=symptoms, alert=True)
    assert chat.reasons() == ["chest_pain", "cough"]
    assert chat.said()[0][0] == "alarm_emergency"


@pytest.mark.parametrize(
    ("value", "unit", "age", "alarm"),
    [  # CDC 38.0 C / 100.4 F, at or above; IDSA 2008 for 65 and over: 37.8 C / 100.0 F
        (100.4, "F", 50, True),
        (100.3, "F", 50, False),  # 37.94 C must not be rounded up to 38.0 C
        (38.0, "C", 50, True),
        (37.9, "C", 50, False),
        (100.0, "F", 65, True),  # 37.78 C would be below 37.8 C if it were converted
        (99.9, "F", 65, False),
        (37.8, "C", 65, True),
        (37.7, "C", 65, False),
    ],
)
def test_a_temperature_is_judged_in_the_unit_typed(
    chat: Chat, value: float, unit: str, age: int, alarm: bool
) -> None:
    chat = chat.with_context(facts={"age": age})
    chat.hear(str(value), Act.NUMBER, temperature=Temperature(value, unit))
    assert ("fever" in chat.reasons()) == alarm


def test_a_question_goes_to_the_nurse_and_the_open_question_is_put_again(chat: Chat) -> None:
    wash(chat)
    chat.hear("may I eat soup?", Act.QUESTION)
    assert chat.reasons() == ["question"]
    assert chat.said() == [("system", "question_nurse"), ("wash", "nudge")]
    assert chat.at == ("wash", "ask")


def test_a_ready_answer_is_given_and_no_nurse_is_called(chat: Chat) -> None:
    from bot.core.conversation import Heard
    from bot.reading.reading import Reading

    chat.give(Heard(Reading(Act.QUESTION), "when do I arrive?", answer="At 5:30 AM."))
    assert [e.text for e in chat.effects(Say)] == ["At 5:30 AM."]
    assert chat.reasons() == []


@pytest.mark.parametrize(
    ("act", "line", "reason"),
    [
        (Act.HELP, "help", None),
        (Act.RESCHEDULE, "reschedule_nurse", "reschedule"),
        (Act.WRONG_NUMBER, "wrong_number", "wrong_number"),
        (Act.OPT_OUT, "stopped", "opt_out"),
    ],
)
def test_what_is_understood_everywhere(chat: Chat, act: Act, line: str, reason: str | None) -> None:
    wash(chat)
    chat.hear("words", act)
    assert chat.said()[0] == ("system", line)
    assert chat.reasons() == ([reason] if reason else [])


def test_a_label_that_we_offered_means_that_choice_however_alarming_its_words(chat: Chat) -> None:
    chat.hear("I collapsed", Act.EMERGENCY, alert=True)
    assert chat.at == ("alarm_emergency", "check")
    chat.hear("No es una emergencia", Act.EMERGENCY, alert=True)
    assert ("alarm_emergency", "tell") not in chat.said()


@pytest.mark.parametrize(
    ("text", "more"), [("Yes, I have something", {}), ("2", {"choices": (2,)})]
)
def test_yes_to_the_symptom_check_is_an_alarm_by_label_and_by_number(
    chat: Chat, text: str, more: dict[str, object]
) -> None:
    chat.prompt("symptom_check", Priority.SAFETY)
    chat.hear(text, Act.CHOICE if more else Act.SYMPTOM, **more)
    assert chat.reasons() == ["unwell"]
    assert chat.said()[0][0] == "alarm_symptom"
    assert [(e.line, e.discreet) for e in chat.effects(Copy)] == [("alarm", "trouble")]
    assert chat.conversation.interrupted == ()


# --- Not understood ---


def test_the_first_unclear_reply_gets_a_simpler_question(chat: Chat) -> None:
    wash(chat)
    chat.hear("mfphm")
    assert chat.said() == [("wash", "simpler")]
    assert chat.at == ("wash", "ask")
    assert chat.reasons() == []


def test_the_second_unclear_reply_reaches_a_nurse_and_the_patient_knows_it(chat: Chat) -> None:
    wash(chat)
    chat.hear("mfphm")
    chat.hear("grmbl")
    assert chat.reasons() == ["unread"]
    assert ("system", "unread_nurse") in chat.said()
    assert chat.records() == {"wash_1": "unread"}
    assert chat.at is None


def test_unclear_words_with_nothing_open_reach_a_nurse_the_second_time(chat: Chat) -> None:
    chat.hear("mfphm")
    assert chat.said() == [("system", "unread_again")]
    chat.hear("grmbl")
    assert chat.reasons() == ["unread"]


def test_thanks_with_nothing_open_needs_no_reply(chat: Chat) -> None:
    chat.hear("ok", Act.AFFIRM)
    assert chat.turn.effects == ()


def test_what_a_careful_nurse_would_want_to_know_today_reaches_her(chat: Chat) -> None:
    wash(chat)
    chat.hear("done, though it felt odd", Act.DONE, alert=True)
    assert chat.records() == {"wash_1": "done"}
    assert chat.reasons() == ["alert"]


# --- Corrections ---


def test_actually_not_done_reopens_the_wash(chat: Chat) -> None:
    wash(chat)
    chat.hear("done", Act.DONE)
    chat.hear("actually not done", Act.NOT_DONE)
    assert ("system", "corrected") in chat.said()
    assert chat.at == ("wash", "why_not")


def test_done_said_twice_is_not_recorded_twice(chat: Chat) -> None:
    wash(chat)
    chat.hear("done", Act.DONE)
    chat.hear("done", Act.DONE)
    assert chat.records() == {}


def test_no_wait_i_do_have_a_cough_is_an_alarm(chat: Chat) -> None:
    chat.prompt("symptom_check", Priority.SAFETY)
    chat.hear("all good", Act.ALL_CLEAR)
    chat.hear("no wait, I do have a cough", Act.SYMPTOM, symptoms=(Symptom.COUGH,))
    assert chat.reasons() == ["cough"]
    assert chat.said()[0][0] == "alarm_symptom"


def test_a_correction_reaches_back_past_an_alarm(chat: Chat) -> None:
    wash(chat)
    chat.hear("done", Act.DONE)
    chat.hear("cough", Act.SYMPTOM, symptoms=(Symptom.COUGH,))
    for answer in ("since monday", "not taken", "chest"):
        chat.hear(answer)
    chat.wait(60)
    chat.hear("yes", Act.AFFIRM)
    chat.hear("I did not do the wash", Act.NOT_DONE)
    assert chat.at == ("wash", "why_not")


def test_a_late_answer_after_the_nurse_was_told_still_counts(chat: Chat) -> None:
    wash(chat)
    while chat.at is not None:
        chat.sleep_until_woken()
    assert chat.reasons() == ["wash_not_confirmed"]
    chat.hear("done", Act.DONE)
    assert chat.records() == {"wash_1": "done"}


def test_a_correction_is_forgotten_after_twelve_hours(chat: Chat) -> None:
    wash(chat)
    chat.hear("done", Act.DONE)
    chat.now += timedelta(hours=13)
    chat.hear("actually not done", Act.NOT_DONE)
    assert chat.at is None


# --- The alarm's own questions ---


def test_answers_in_the_alarm_reach_the_case_as_they_come(chat: Chat) -> None:
    chat.hear("cough", Act.SYMPTOM, symptoms=(Symptom.COUGH,))
    chat.hear("since sunday")
    case = chat.effects(Escalate)
    assert [(e.reason, dict(e.answers)) for e in case] == [("cough", {"since": "since sunday"})]
    assert LearnFact("since", "since sunday") in chat.turn.effects


def test_the_symptom_check_is_answered_by_the_alarm_and_not_asked_again(chat: Chat) -> None:
    chat.prompt("symptom_check", Priority.SAFETY)
    chat.hear("I have a cough", Act.SYMPTOM, symptoms=(Symptom.COUGH,))
    assert chat.records() == {"symptom_check": "symptom"}
    assert chat.conversation.interrupted == ()


def test_not_getting_through_goes_back_to_the_nurse(chat: Chat) -> None:
    chat.hear("cough", Act.SYMPTOM, symptoms=(Symptom.COUGH,))
    for answer in ("since monday", "not taken", "chest"):
        chat.hear(answer)
    chat.wait(60)
    assert chat.at == ("call_check", "ask")
    chat.hear("no", Act.DENY)
    assert chat.reasons() == ["call_not_through"]


def test_two_alarms_in_an_hour_are_followed_up_once(chat: Chat) -> None:
    chat.hear("cough", Act.SYMPTOM, symptoms=(Symptom.COUGH,))
    due = chat.conversation.waiting[0].not_before
    for answer in ("since monday", "not taken", "chest"):
        chat.hear(answer)
    chat.hear("and diarrhea", Act.SYMPTOM, symptoms=(Symptom.DIARRHEA,))
    assert [(w.flow, w.not_before) for w in chat.conversation.waiting] == [("call_check", due)]


def test_a_skin_reaction_told_in_the_wash_opens_the_alarm(chat: Chat) -> None:
    wash(chat)
    chat.hear("no", Act.NOT_DONE)
    chat.hear("my skin reacts")
    assert chat.reasons()[0] == "wash_skin"
    assert chat.at is not None
    assert chat.at[0] == "alarm_symptom"


def test_teaching_keeps_quiet_until_a_nurse_has_closed_the_emergency(chat: Chat) -> None:
    chat.hear("I collapsed", Act.EMERGENCY, alert=True)
    chat.hear("No es una emergencia", Act.UNCLEAR)
    assert chat.at is None
    chat.prompt("pets", key="pets:1")
    assert chat.at is None
    assert [w.flow for w in chat.conversation.waiting] == ["pets"]
    chat.conversation = replace(chat.conversation, escalated=frozenset())
    chat.wait(1)
    assert chat.at == ("pets", shipped_book().flows["pets"].start)


def test_a_question_put_aside_too_long_is_not_asked_but_recorded(chat: Chat) -> None:
    wash(chat, hours=1)
    chat.hear("I collapsed", Act.EMERGENCY, alert=True)
    chat.hear("No es una emergencia", Act.UNCLEAR)
    chat.wait(121)
    assert chat.records() == {"wash_1": "not_answered"}
    assert chat.reasons() == ["wash_not_confirmed"]
    assert chat.said() == []


def test_the_coach_who_raised_an_alarm_may_answer_its_questions(chat: Chat) -> None:
    chat.hear("mom has a fever", Act.SYMPTOM, by="coach", symptoms=(Symptom.FEVER,))
    chat.hear("since sunday", by="coach")
    assert LearnFact("since", "since sunday") in chat.turn.effects


# --- Stop, start, pause ---


def test_after_stop_nothing_is_asked_nudged_or_said(chat: Chat) -> None:
    wash(chat)
    chat.hear("stop", Act.OPT_OUT)
    assert chat.effects(SetStopped) == [SetStopped(True)]
    assert chat.turn.wake_at is None
    for event in (lambda: wash(chat), lambda: chat.wait(600), lambda: chat.hear("hello")):
        event()
        assert chat.said() == []


def test_words_after_stop_still_reach_the_open_case(chat: Chat) -> None:
    chat.hear("stop, I have a fever", Act.SYMPTOM, symptoms=(Symptom.FEVER,), also=(Act.OPT_OUT,))
    chat.hear("it is 102 now")
    assert chat.said() == []
    assert [e.words for e in chat.effects(Escalate)] == ["it is 102 now"]


def test_start_brings_the_messages_back(chat: Chat) -> None:
    chat.hear("stop", Act.OPT_OUT)
    chat.hear("start", Act.OPT_IN)
    assert chat.effects(SetStopped) == [SetStopped(False)]
    wash(chat)
    assert chat.at == ("wash", "ask")


def test_a_paused_conversation_is_not_prompted_or_nudged(chat: Chat) -> None:
    chat.conversation = Conversation(paused=True)
    wash(chat)
    assert chat.turn.effects == ()
    assert chat.turn.wake_at is None


# --- Languages and the coach ---


def test_choosing_spanish_changes_the_language_at_once(chat: Chat) -> None:
    chat.prompt("language", Priority.SAFETY)
    chat.hear("Español")
    assert SetLanguage("es") in chat.turn.effects
    assert chat.conversation.language == "es"


def test_the_coach_confirms_on_the_patients_behalf_marked_so(chat: Chat) -> None:
    wash(chat)
    chat.hear("she has done it", Act.DONE, by="coach")
    assert Record("wash_1", "done", "coach") in chat.turn.effects
    assert ("system", "coach_noted") in chat.said("coach")
    assert chat.at is None


def test_an_alarm_from_the_coach_is_answered_to_both(chat: Chat) -> None:
    chat.hear("mom has a fever", Act.SYMPTOM, by="coach", symptoms=(Symptom.FEVER,))
    assert chat.said()[0] == chat.said("coach")[0]
    assert chat.said()[0][0] == "alarm_symptom"
    assert chat.reasons() == ["fever"]


def test_a_coach_who_writes_of_an_emergency_is_told_to_call(chat: Chat) -> None:
    chat.hear("he collapsed", Act.EMERGENCY, by="coach", alert=True)
    assert chat.said("coach")[0] == ("system", "coach_emergency")
    assert chat.said()[0][0] == "alarm_emergency"


def test_a_coach_who_leaves_does_not_stop_the_patients_messages(chat: Chat) -> None:
    chat.hear("stop", Act.OPT_OUT, by="coach")
    assert chat.effects(SetStopped) == [SetStopped(True, "coach")]
    assert not chat.conversation.stopped
    assert chat.said("coach") == [("system", "coach_left")]
    chat.prompt("coach_ride", to="coach")
    assert chat.said("coach") == []


def test_the_coachs_own_question_does_not_stand_in_the_patients_way(chat: Chat) -> None:
    chat.prompt("coach_ride", to="coach")
    wash(chat)
    assert chat.at == ("wash", "ask")
    assert chat.conversation.coach.open.flow == "coach_ride"
    chat.hear("yes", Act.AFFIRM, by="coach")
    assert chat.conversation.coach.open is None
    assert chat.at == ("wash", "ask")


def test_a_patient_without_a_coach_makes_no_coach_thread(chat: Chat) -> None:
    wash(chat)
    chat.hear("done", Act.DONE)
    assert chat.conversation.coach is None


def test_the_same_step_twice_gives_the_same_turn() -> None:
    one, two = Chat(shipped_book()), Chat(shipped_book())
    wash(one)
    wash(two)
    assert one.turn == two.turn
    assert one.now == NOON + timedelta(minutes=1)
    assert one.context is CONTEXT
