"""A message came in: the order in which it is read, and what follows.

Emergency and self-harm, alarm, opt-out, expected here, a correction of the last answer, understood
but not expected, free text, unread. Doubt on a question never ends in silence.
"""

from collections.abc import Callable
from dataclasses import replace

from bot.core.conversation import Escalate, Heard, OpenQuestion, SetStopped
from bot.core.dialogue_alarms import find_alarm, join_words, open_alarm_flow, raise_alarm
from bot.core.dialogue_draft import Draft
from bot.core.dialogue_replies import ANY, META_ACTS, chosen_number, expected_key, free_text
from bot.core.dialogue_silence import line_for
from bot.core.dialogue_walk import CORRECTION_FOR, apply_reply, close, leave_unanswered
from bot.core.flow import State
from bot.reading.reading import Act, Reading

PLAIN_WORDS = frozenset({Act.DONE, Act.NOT_DONE, Act.ALL_CLEAR})
THANKS = frozenset({Act.AFFIRM, Act.ALL_CLEAR})  # with nothing open these need no reply


def hear(draft: Draft, event: Heard) -> None:
    """Deal with one message on the thread that the draft holds."""
    reading = event.reading
    alarm = find_alarm(draft.book, reading, draft.context.rules, draft.facts().get("age"))
    if alarm is not None:
        raise_alarm(draft, alarm, reading)
    if draft.conversation.stopped:
        _hear_stopped(draft, reading, alarmed=alarm is not None)
    elif reading.says(Act.OPT_OUT):
        _stop(draft, "opt_out")
    elif alarm is None:
        _hear_calm(draft, event)


def _hear_stopped(draft: Draft, reading: Reading, *, alarmed: bool) -> None:
    """After a stop only an alarm and "start" are answered; other words reach an open case."""
    if alarmed or reading.says(Act.OPT_OUT):
        return
    if reading.says(Act.OPT_IN):
        draft.change(stopped=False)
        draft.effects.append(SetStopped(False, draft.conversation.who))
        draft.say_system("back_on")
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
    draft.change(stopped=True, open=None, interrupted=(), waiting=(), last=None)


def _hear_calm(draft: Draft, event: Heard) -> None:
    reading, question = event.reading, draft.conversation.open
    if question is not None:
        key = _open_key(draft, question, reading)
        if key is not None:
            apply_reply(draft, question, key)
            _alert(draft, reading)
            return
    if _correct_last(draft, reading) or _meta(draft, event):
        return
    if question is None:
        _nothing_open(draft, reading)
        return
    if (key := _free_key(draft, question, reading)) is not None:
        apply_reply(draft, question, key)
        _alert(draft, reading)
    else:
        _unread(draft, question, reading)


def _open_key(draft: Draft, question: OpenQuestion, reading: Reading) -> str | None:
    return expected_key(draft.flow_of(question), draft.state_of(question), reading, draft.words)


def _free_key(draft: Draft, question: OpenQuestion, reading: Reading) -> str | None:
    """Free text, where the question takes it; a number that is no choice is not free text."""
    state = draft.state_of(question)
    wrong_number = chosen_number(state, reading, draft.words) is not None
    return None if wrong_number else free_text(state, draft.words)


def _correct_last(draft: Draft, reading: Reading) -> bool:
    """Reopen the last question when the message gives it another answer, or a late first one."""
    last, closed_at = draft.conversation.last, draft.conversation.last_closed_at
    if last is None or closed_at is None or draft.now - closed_at > CORRECTION_FOR:
        return False
    if last.answered == Act.SYMPTOM.value or not _may_correct(draft, reading):
        return False
    if last.flow not in draft.book.flows or last.state not in draft.flow_of(last).states:
        return False
    key = expected_key(draft.flow_of(last), draft.state_of(last), reading, "")
    if key in (None, last.answered) or reading.act in META_ACTS:
        return False
    _apply_to_last(draft, last, str(key))
    return True


def _may_correct(draft: Draft, reading: Reading) -> bool:
    """With another question open only plain words reach back; a bare yes, no or number do not."""
    question = draft.conversation.open
    if question is None:
        return True
    return ANY not in draft.state_of(question).replies and reading.act in PLAIN_WORDS


def _apply_to_last(draft: Draft, last: OpenQuestion, key: str) -> None:
    """Answer the closed question anew; a question that is open meanwhile waits its turn."""
    opened = draft.conversation.open
    apply_reply(draft, last, key)
    if opened is None:
        return
    if draft.conversation.open is None:
        draft.change(open=opened)
    else:
        aside = replace(opened, rung_at=draft.now)
        draft.change(interrupted=(*draft.conversation.interrupted, aside))


def _meta(draft: Draft, event: Heard) -> bool:
    """Messages understood everywhere: question, help, wrong number, another date, start."""
    answers: dict[Act, Callable[[Draft, Heard], None]] = {
        Act.WRONG_NUMBER: lambda d, _: _stop(d, "wrong_number"),
        Act.RESCHEDULE: _reschedule,
        Act.QUESTION: _question,
        Act.HELP: lambda d, _: d.say_system("help"),
        Act.OPT_IN: lambda d, _: d.say_system("back_on"),
    }
    act = next((act for act in answers if event.reading.says(act)), None)
    if act is None and event.answer is not None:
        act = Act.QUESTION
    if act is None:
        return False
    answers[act](draft, event)
    _alert(draft, event.reading)
    return True


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
        _repeat_briefly(draft, draft.conversation.open)


def _repeat_briefly(draft: Draft, question: OpenQuestion) -> None:
    state: State = draft.state_of(question)
    line = line_for(draft.flow_of(question), "nudge", state.id) or state.say
    if line is not None:
        draft.ask(question, line)


def _nothing_open(draft: Draft, reading: Reading) -> None:
    """Thanks need no reply; what is understood is noted; what is not is asked once, then told."""
    if reading.act in THANKS and not reading.alert:
        draft.change(unread=0)
    elif reading.act is not Act.UNCLEAR and not reading.alert:
        draft.change(unread=0)
        draft.say_system("out_of_turn")
    elif draft.conversation.unread == 0 and not reading.alert:
        draft.change(unread=1)
        draft.say_system("no_question_open")
    else:
        draft.change(unread=0)
        _tell_unread(draft)


def _unread(draft: Draft, question: OpenQuestion, reading: Reading) -> None:
    """First the simpler question; the second time a person is told, and the patient knows it."""
    if question.unread == 0:
        draft.change(open=replace(question, unread=1, rung_at=draft.now, rung="patient"))
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
    line = line_for(draft.flow_of(question), "simpler", state.id)
    if line is None:
        draft.say_system("unread_again")
        line = state.say
    if line is not None:
        draft.ask(question, line)


def _alert(draft: Draft, reading: Reading) -> None:
    """What a careful nurse would want to know today reaches the nurse, whatever else happened."""
    told = any(isinstance(effect, Escalate) for effect in draft.effects)
    if reading.alert and not told:
        draft.escalate("alert" if "alert" in draft.book.reasons else "unread")


def open_raised(draft: Draft) -> None:
    """A flow escalated under a reason that has a flow of its own: that one opens now."""
    raised, draft.raised = draft.raised, []
    for reason in raised[:1]:
        flow = draft.book.reasons[reason].flow
        opened = draft.conversation.open
        if flow in draft.book.flows and not (opened and opened.flow == flow):
            open_alarm_flow(draft, reason, str(flow))
