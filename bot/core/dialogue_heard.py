"""A message came in: the order in which it is read, and what follows.

Emergency and self-harm, alarm, opt-out, expected here, a correction of the last answer, understood
but not expected, free text, unread. Doubt on a question never ends in silence.
"""

from collections.abc import Callable

from bot.core.changed import replace
from bot.core.consent import AGREED
from bot.core.conversation import Escalate, Heard, OpenQuestion, SetStopped
from bot.core.dialogue_alarms import (
    find_alarm,
    join_words,
    open_alarm_flow,
    raise_alarm,
    tell_coach,
)
from bot.core.dialogue_corrections import correct_recent, repeat_briefly
from bot.core.dialogue_draft import Draft
from bot.core.dialogue_replies import (
    ALARM_KEYS,
    chosen_number,
    expected_key,
    free_text,
    labelled_key,
)
from bot.core.dialogue_silence import line_for
from bot.core.dialogue_walk import apply_reply, close, leave_unanswered
from bot.core.dialogue_wishes import grant, is_thanks, thanked, wish_of
from bot.reading.reading import Act, Reading

THANKS = frozenset({Act.AFFIRM, Act.ALL_CLEAR})  # with nothing open these need no reply


def hear(draft: Draft, event: Heard) -> None:
    """Deal with one message on the thread that the draft holds.

    A label that we offered, word for word, means that choice and nothing else: "It is not an
    emergency" is no emergency. A label that stands for a symptom is read like any other words.
    """
    reading = event.reading
    if _is_our_label(draft):
        _hear_calm(draft, replace(event, reading=replace(reading, alert=False)))
        return
    alarm = find_alarm(draft.book, reading, draft.context.rules, draft.facts().get("age"))
    if alarm is not None:
        raise_alarm(draft, alarm, reading)
    if draft.conversation.stopped:
        _hear_stopped(draft, reading, alarmed=alarm is not None)
    elif reading.says(Act.OPT_OUT):
        _stop(draft, "opt_out")
    elif alarm is None:
        _hear_calm(draft, event)


def _is_our_label(draft: Draft) -> bool:
    question = draft.conversation.open
    if question is None or draft.conversation.stopped:
        return False
    key = labelled_key(draft.flow_of(question), draft.state_of(question), draft.words)
    return key is not None and key not in ALARM_KEYS


def _hear_stopped(draft: Draft, reading: Reading, *, alarmed: bool) -> None:
    """After a stop only an alarm and "start" are answered; other words reach an open case."""
    if alarmed or reading.says(Act.OPT_OUT):
        return
    if reading.says(Act.OPT_IN):
        draft.change(stopped=False)
        draft.effects.append(SetStopped(False, draft.conversation.who))
        _back_on(draft)
    elif reading.says(Act.WRONG_NUMBER):
        draft.escalate("wrong_number")
    else:
        join_words(draft)


def _stop(draft: Draft, reason: str) -> None:
    """End the messages at once, tell the nurse, and confirm it in one line."""
    who = draft.conversation.who
    draft.effects.append(SetStopped(True, who))
    if who == "patient" or reason == "wrong_number":
        draft.escalate(reason)
    draft.say_system("wrong_number" if reason == "wrong_number" else "stopped")
    if reason == "opt_out":
        draft.copy(("stopped",), {}, False)
    draft.change(stopped=True, recent=())  # what was open or waiting goes when the step settles
    if who == "coach":
        draft.say_system("coach_left_patient", to="patient")


def _hear_calm(draft: Draft, event: Heard) -> None:
    reading, question = event.reading, draft.conversation.open
    wish = None if reading.alert or event.answer else wish_of(draft.book, draft.words)
    if wish is not None and grant(draft, wish):
        return
    if question is not None and (key := _open_key(draft, question, reading)) is not None:
        _answer(draft, question, key, reading)
        return
    if correct_recent(draft, reading) or _meta(draft, event):
        return
    if is_thanks(draft.book, draft.words) and not reading.alert:
        _thanks(draft)
        return
    if question is None:
        _nothing_open(draft, reading)
        return
    if (key := _free_key(draft, question, reading)) is not None:
        _answer(draft, question, key, reading)
    else:
        _unread(draft, question, reading)


def _answer(draft: Draft, question: OpenQuestion, key: str, reading: Reading) -> None:
    apply_reply(draft, question, key)
    if draft.by != draft.conversation.who:
        draft.say_system("coach_noted")
    _alert(draft, reading)


def _open_key(draft: Draft, question: OpenQuestion, reading: Reading) -> str | None:
    return expected_key(draft.flow_of(question), draft.state_of(question), reading, draft.words)


def _free_key(draft: Draft, question: OpenQuestion, reading: Reading) -> str | None:
    """Free text, where the question takes it; a number that is no choice is not free text."""
    state = draft.state_of(question)
    wrong_number = chosen_number(state, reading, draft.words) is not None
    return None if wrong_number else free_text(state, draft.words)


def _meta(draft: Draft, event: Heard) -> bool:
    """Messages understood everywhere: question, help, wrong number, another date, start."""
    answers: dict[Act, Callable[[Draft, Heard], None]] = {
        Act.WRONG_NUMBER: lambda d, _: _stop(d, "wrong_number"),
        Act.RESCHEDULE: _reschedule,
        Act.QUESTION: _question,
        Act.HELP: lambda d, _: d.say_system("help"),
        Act.OPT_IN: lambda d, _: _back_on(d),
    }
    asked = Act.QUESTION if event.answer is not None else None
    act = next((act for act in answers if event.reading.says(act)), asked)
    if act is None:
        return False
    answers[act](draft, event)
    _alert(draft, event.reading)
    return True


def _back_on(draft: Draft) -> None:
    """START after a no to the messages is a yes, the patient's own; staff end a pause by staff."""
    refused = draft.facts().get(AGREED) is False and draft.conversation.paused
    if refused and draft.conversation.who == "patient":
        draft.learn(AGREED, "true")
    draft.say_system("paused" if draft.conversation.paused else "back_on")


def _reschedule(draft: Draft, event: Heard) -> None:
    draft.escalate("reschedule")
    draft.say_system("reschedule_nurse")


def _question(draft: Draft, event: Heard) -> None:
    """Answer from the ready answers, or pass the question to the nurse; then ask again, briefly."""
    if event.answer is not None:
        draft.say_system("answer", text=event.answer)
    else:
        draft.escalate("question" if draft.by == "patient" else "coach_asked")
        draft.say_system("question_nurse")
    if draft.conversation.open is not None and draft.by == draft.conversation.who:
        repeat_briefly(draft, draft.conversation.open)


def _thanks(draft: Draft) -> None:
    """Thanks are answered in kind; a question that is open is put again, briefly."""
    question = draft.conversation.open
    draft.change(unread=0)
    if question is not None and draft.by == draft.conversation.who:
        repeat_briefly(draft, question)
    elif thanked(draft.words):
        draft.say_system("you_are_welcome")


def _nothing_open(draft: Draft, reading: Reading) -> None:
    """Thanks need no reply; what is understood is noted; what is not is asked once, then told."""
    if reading.act in THANKS and not reading.alert:
        draft.change(unread=0)
    elif reading.act is not Act.UNCLEAR and not reading.alert:
        draft.change(unread=0)
        draft.say_system("no_question_open")
    elif draft.conversation.unread == 0 and not reading.alert:
        draft.change(unread=1)
        draft.say_system("unread_again")
    else:
        draft.change(unread=0)
        _tell_unread(draft)


def _unread(draft: Draft, question: OpenQuestion, reading: Reading) -> None:
    """First the simpler question; the second time a person is told, and the patient knows it."""
    if question.unread == 0:
        draft.change(open=replace(question, unread=1, rung_at=draft.now, rung="patient"))
        if chosen_number(draft.state_of(question), reading, draft.words) is not None:
            _say_and_ask(draft, question, "not_understood_number")
        else:
            _ask_simpler(draft, question)
        _alert(draft, reading)
        return
    leave_unanswered(draft, question, "unread", tell=False)
    close(draft, replace(question, answered=None))
    _tell_unread(draft)


def _tell_unread(draft: Draft) -> None:
    draft.escalate("unread")
    draft.say_system("unread_nurse")


def _ask_simpler(draft: Draft, question: OpenQuestion) -> None:
    state = draft.state_of(question)
    if (line := line_for(draft.flow_of(question), "simpler", state.id)) is None:
        _say_and_ask(draft, question, "unread_again")
    else:
        draft.ask(question, line)


def _say_and_ask(draft: Draft, question: OpenQuestion, line: str) -> None:
    """A line of the chat itself, then the question as it was first put."""
    draft.say_system(line, to=draft.conversation.who)
    said = draft.state_of(question).say
    if said is not None:
        draft.ask(question, said)


def _alert(draft: Draft, reading: Reading) -> None:
    """What a careful nurse would want to know today reaches the nurse, whatever else happened."""
    told = any(isinstance(effect, Escalate) for effect in draft.effects)
    if reading.alert and not told:
        draft.escalate("alert")


def open_raised(draft: Draft) -> None:
    """A flow escalated under a reason that has a flow of its own: that one opens now."""
    raised, draft.raised = draft.raised, []
    for reason in raised[:1]:
        flow = draft.book.reasons[reason].flow
        opened = draft.conversation.open
        if flow in draft.book.flows and not (opened and opened.flow == flow):
            tell_coach(draft, reason)
            open_alarm_flow(draft, reason, str(flow))
