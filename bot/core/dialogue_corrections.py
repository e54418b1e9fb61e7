"""Corrections: a message that changes the answer to a question already closed, or gives it late."""

from bot.core.conversation import OpenQuestion
from bot.core.dialogue_draft import Draft
from bot.core.dialogue_replies import ANY, META_ACTS, expected_key
from bot.core.dialogue_silence import line_for
from bot.core.dialogue_walk import CORRECTION_FOR, apply_reply, interrupt
from bot.reading.reading import Act, Asked, Reading

PLAIN_WORDS = frozenset({Act.DONE, Act.NOT_DONE, Act.ALL_CLEAR})


def correct_recent(draft: Draft, reading: Reading) -> bool:
    """Reopen a closed question to which the message gives another answer, or a late first one."""
    if reading.act in META_ACTS or not _may_correct(draft, reading):
        return False
    for closed in _likeliest_first(draft, reading):
        key = _other_answer(draft, closed, reading)
        if key is not None:
            _apply_to_closed(draft, closed, key)
            return True
    return False


def _likeliest_first(draft: Draft, reading: Reading) -> list[OpenQuestion]:
    """Newest first; but "not done" speaks of a wash or a medicine before anything newer."""
    newest = list(reversed(draft.conversation.recent))
    if reading.act not in (Act.DONE, Act.NOT_DONE):
        return newest
    return sorted(newest, key=lambda closed: not _is_a_task(draft, closed))


def _is_a_task(draft: Draft, closed: OpenQuestion) -> bool:
    flow = draft.book.flows.get(closed.flow)
    state = flow.states.get(closed.state) if flow else None
    return state is not None and state.asked in (Asked.WASH, Asked.MEDICINE_STOP)


def _other_answer(draft: Draft, closed: OpenQuestion, reading: Reading) -> str | None:
    """The reply key that the message gives to a closed question, if it changes the answer."""
    flow = draft.book.flows.get(closed.flow)
    state = flow.states.get(closed.state) if flow else None
    if flow is not None and flow.revision != closed.revision:
        return None  # the question was put in other words: a nurse reads what is said of it
    too_late = draft.now - (closed.rung_at or closed.asked_at) > CORRECTION_FOR
    if flow is None or state is None or too_late or closed.answered == Act.SYMPTOM.value:
        return None
    key = expected_key(flow, state, reading, "")
    before = state.replies.get(closed.answered or "")
    return None if key is None or state.replies[key] == before else key


def _may_correct(draft: Draft, reading: Reading) -> bool:
    """With another question open only plain words reach back; a bare yes, no or number do not."""
    question = draft.conversation.open
    if question is None:
        return True
    return ANY not in draft.state_of(question).replies and reading.act in PLAIN_WORDS


def _apply_to_closed(draft: Draft, closed: OpenQuestion, key: str) -> None:
    """Answer the closed question anew; a question that is open meanwhile comes back after it."""
    opened = draft.conversation.open
    if closed.answered is not None:
        draft.say_system("corrected")
    interrupt(draft)
    draft.change(recent=tuple(q for q in draft.conversation.recent if q is not closed))
    apply_reply(draft, closed, key)
    if opened is not None and draft.conversation.open is None:
        draft.say_system("interrupted_back", to=draft.conversation.who)
        draft.change(open=opened, interrupted=draft.conversation.interrupted[:-1])
        repeat_briefly(draft, opened)


def repeat_briefly(draft: Draft, question: OpenQuestion) -> None:
    state = draft.state_of(question)
    line = line_for(draft.flow_of(question), "nudge", state.id) or state.say
    if line is not None:
        draft.ask(question, line)
