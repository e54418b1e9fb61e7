"""Alarms: what raises one, what the patient is told first, and what becomes of the open question.

An alarm interrupts in every state, also for a patient who stopped the messages or whose messages
staff paused. The first message always says whom to call.
"""

from dataclasses import dataclass
from datetime import timedelta

from bot.core.changed import replace
from bot.core.conversation import Copy, Escalate, OpenQuestion, Say
from bot.core.dialogue_draft import Draft, flow_severity, is_alarm_flow, items_of, severity
from bot.core.dialogue_replies import expected_key, free_text
from bot.core.dialogue_silence import ask_again
from bot.core.dialogue_walk import apply_reply, begin, close, interrupt
from bot.core.flow import FlowBook
from bot.core.protocol import FactValue, Rules
from bot.reading.reading import Act, Asked, Reading, Symptom, Temperature

EMERGENCY, SELF_HARM, EXPOSURE = "emergency", "self_harm", "exposure"
SOAP_ALLERGY = "soap_allergy"  # the fact that holds a wash until a nurse has cleared the soap
EMERGENCY_FLOW, SELF_HARM_FLOW, SYMPTOM_FLOW = "alarm_emergency", "alarm_self_harm", "alarm_symptom"
CALM_AFTER_EMERGENCY = timedelta(hours=2)  # other questions wait this long (our choice)


@dataclass(frozen=True, slots=True)
class Alarm:
    """The reasons that a message gives, gravest first, and the flow that answers it."""

    reasons: tuple[str, ...]
    flow: str | None
    also: str | None = None  # a second flow whose first words are said as well


def is_fever(temperature: Temperature | None, rules: Rules, age: FactValue | None) -> bool:
    """Decide fever at or above the rule's line, in the unit typed, never after converting.

    38.0 C or 100.4 F (CDC, from memory); from `older_from` years also 37.8 C or 100.0 F
    (IDSA 2008, long-term-care residents; its use at home is this project's choice).
    """
    if temperature is None:
        return False
    older = isinstance(age, int) and age >= rules.older_from
    if temperature.unit == "C":
        return temperature.value >= (rules.fever_older_c if older else rules.fever_c)
    return temperature.value >= (rules.fever_older_f if older else rules.fever_f)


def find_alarm(
    book: FlowBook, reading: Reading, rules: Rules, age: FactValue | None
) -> Alarm | None:
    """The alarm in a reading, or None. A message may hold several; none is lost."""
    reasons = _reasons(book, reading, rules, age)
    if not reasons:
        return None
    emergency = reading.says(Act.EMERGENCY) or severity(book, reasons[0]) == 0
    if reading.says(Act.SELF_HARM):
        both = reading.says(Act.EMERGENCY)
        return Alarm(reasons, EMERGENCY_FLOW, SELF_HARM_FLOW) if both else _self_harm(reasons)
    if emergency:
        return Alarm(reasons, EMERGENCY_FLOW)
    first = book.reasons.get(reasons[0])
    if first is not None:
        return Alarm(reasons, first.flow)
    return Alarm(reasons, None if reasons[0] == EXPOSURE else SYMPTOM_FLOW)


def _self_harm(reasons: tuple[str, ...]) -> Alarm:
    return Alarm((SELF_HARM, *(r for r in reasons if r != SELF_HARM)), SELF_HARM_FLOW)


def _reasons(
    book: FlowBook, reading: Reading, rules: Rules, age: FactValue | None
) -> tuple[str, ...]:
    tells = reading.says(Act.SYMPTOM) or reading.says(Act.EMERGENCY) or reading.alert
    names = [symptom.value for symptom in reading.symptoms if tells]
    if is_fever(reading.temperature, rules, age):
        names.append(Symptom.FEVER.value)
    if reading.says(Act.SYMPTOM) and not names:
        names.append(Symptom.UNWELL.value)
    if reading.says(Act.EXPOSURE):
        names.append(EXPOSURE)
    if reading.says(Act.SELF_HARM):
        names.append(SELF_HARM)
    if reading.says(Act.EMERGENCY) and not any(severity(book, n) == 0 for n in names):
        names.append(EMERGENCY)
    vague = Symptom.UNWELL.value  # "not so good, 101.2": the case is called after the fever
    return tuple(sorted(dict.fromkeys(names), key=lambda n: (severity(book, n), n == vague)))


def absorb_answer(draft: Draft, reading: Reading) -> None:
    """Take in what the message answers beside the alarm, without a word said about it.

    "Done, but now I have a rash" confirms the wash. A symptom is the answer to a symptom check.
    """
    question = draft.conversation.open
    if question is None or draft.conversation.stopped:
        return
    state = draft.state_of(question)
    if state.asked is Asked.SYMPTOM_CHECK and reading.says(Act.SYMPTOM):
        _answer_check(draft, question)
        return
    key = expected_key(draft.flow_of(question), state, replace(reading, choices=()), "")
    if key is not None:
        before = len(draft.effects)
        apply_reply(draft, question, key)
        kept = [e for e in draft.effects[before:] if not isinstance(e, Say | Copy)]
        draft.effects[before:] = kept


def _answer_check(draft: Draft, question: OpenQuestion) -> None:
    """The symptom check is answered: by the alarm itself."""
    reply = draft.state_of(question).replies.get(Act.SYMPTOM.value)
    pairs = reply.record if reply else ()
    items = items_of(draft.flow_of(question), question.values)
    draft.record(question, pairs or tuple((item, "symptom") for item in items))
    close(draft, replace(question, answered=Act.SYMPTOM.value))


def raise_alarm(draft: Draft, alarm: Alarm, reading: Reading) -> None:
    """Escalate each reason, tell the patient whom to call, and open the alarm's flow."""
    if _answers_open_alarm(draft, alarm) and not reading.says(Act.OPT_OUT):
        _answer_in_alarm(draft, alarm, reading)
        return
    absorb_answer(draft, reading)
    if Symptom.RASH.value in alarm.reasons:
        _hold_washes(draft)
    _escalate_all(draft, alarm, reading)
    tell_coach(draft, alarm.reasons[0])
    if alarm.flow is None or alarm.flow not in draft.book.flows:
        draft.say_system("exposure_nurse" if EXPOSURE in alarm.reasons else "unread_nurse")
        return
    open_alarm_flow(draft, alarm.reasons[0], alarm.flow)
    if alarm.also is not None and alarm.also in draft.book.flows:
        _recite(draft, alarm.also)


def _hold_washes(draft: Draft) -> None:
    """A rash once the washes have begun: the next one waits for a nurse's word on the soap.

    The open question about a wash is closed as stopped, so that it does not come back by itself.
    Whether the soap did it is for a clinician; holding is safe meanwhile.
    """
    conversation = draft.conversation
    opened = conversation.open
    if opened is not None and _asks_for_wash(draft, opened):
        items = items_of(draft.flow_of(opened), opened.values)
        draft.record(opened, tuple((item, "stopped") for item in items))
        close(draft, replace(opened, answered=Act.SYMPTOM.value))
        draft.learn(SOAP_ALLERGY, "true")
    elif any(_asks_for_wash(draft, q) for q in (*conversation.recent, *conversation.interrupted)):
        draft.learn(SOAP_ALLERGY, "true")


def _asks_for_wash(draft: Draft, question: OpenQuestion) -> bool:
    flow = draft.book.flows.get(question.flow)
    state = flow.states.get(question.state) if flow else None
    return state is not None and state.asked is Asked.WASH


def tell_coach(draft: Draft, reason: str) -> None:
    """The coach gets the copy that was consented to; one who wrote of an emergency is answered."""
    grave = severity(draft.book, reason) == 0
    values = {"reason": reason, "words": draft.words}
    line = "emergency" if grave else "alarm"
    draft.copy((line, "alarm"), values, True, line if grave else "trouble")
    if grave and draft.by == "coach":
        draft.say_system("coach_emergency")


def open_alarm_flow(draft: Draft, reason: str, flow: str) -> None:
    """Put the open question aside and begin the alarm's flow; an alarm replaces its own kind."""
    opened = draft.conversation.open
    grave = severity(draft.book, reason) == 0 or flow_severity(draft.book, flow) == 0
    if opened is not None and opened.flow == flow:
        draft.change(open=None)
    else:
        interrupt(draft, CALM_AFTER_EMERGENCY if grave else timedelta(0))
    _drop_set_aside(draft, flow, reason)
    begin(draft, flow, values={"reason": reason})


def _drop_set_aside(draft: Draft, flow: str, reason: str) -> None:
    """The same alarm, put aside by another, must not come back behind the one that begins now."""
    kept = tuple(
        aside
        for aside in draft.conversation.interrupted
        if (aside.flow, aside.values.get("reason")) != (flow, reason)
    )
    draft.change(interrupted=kept)


def _escalate_all(draft: Draft, alarm: Alarm, reading: Reading) -> None:
    taken = reading.temperature
    answers = {"temperature": f"{taken.value:g} {taken.unit}"} if taken else {}
    for reason in alarm.reasons:
        draft.escalate(reason, answers)


def _recite(draft: Draft, flow: str) -> None:
    """Say a flow's words up to its first question, and leave the conversation as it was."""
    before = draft.conversation
    begin(draft, flow)
    draft.conversation = replace(before, escalated=draft.conversation.escalated)


def _answers_open_alarm(draft: Draft, alarm: Alarm) -> bool:
    """More of the same while the alarm's own questions are open is an answer to them.

    Never for an emergency: those words bring the emergency number again, every time.
    """
    opened = draft.conversation.open
    if opened is None or not is_alarm_flow(draft.book, opened.flow):
        return False
    new = min(severity(draft.book, reason) for reason in alarm.reasons)
    return new > 0 and flow_severity(draft.book, opened.flow) <= new


def _answer_in_alarm(draft: Draft, alarm: Alarm, reading: Reading) -> None:
    question = draft.conversation.open
    if question is None:
        return
    state = draft.state_of(question)
    worse = any(reason not in draft.conversation.escalated for reason in alarm.reasons)
    if worse:
        draft.say_system("alarm_again")
    key = expected_key(draft.flow_of(question), state, reading, draft.words)
    if key is None and Act.SYMPTOM.value in state.replies:
        key = Act.SYMPTOM.value
    key = key or free_text(state, draft.words)
    told = question.values.get("reason") if key else None  # the answer itself goes to that case
    known = draft.conversation.escalated
    news = tuple(r for r in alarm.reasons if r != told or r not in known)
    _escalate_all(draft, replace(alarm, reasons=news), reading)
    if key is None:
        ask_again(draft, question)
    else:
        apply_reply(draft, question, key)


def join_words(draft: Draft) -> None:
    """Pass on the words of someone who stopped the messages while a nurse has their case open."""
    open_reasons = sorted(draft.conversation.escalated, key=lambda r: (severity(draft.book, r), r))
    if open_reasons:
        draft.effects.append(Escalate(open_reasons[0], draft.words, draft.because))
