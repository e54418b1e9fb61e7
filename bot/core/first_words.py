"""What an alarm's conversation says before it asks anything, for words whose owner is not known."""

from bot.core.conversation import Say
from bot.core.dialogue_alarms import EXPOSURE, Alarm
from bot.core.dialogue_draft import SYSTEM, Draft
from bot.core.dialogue_walk import begin


def first_words(draft: Draft, alarm: Alarm) -> tuple[Say, ...]:
    """The alarm's words up to its first question; the draft is a copy that is thrown away.

    Whom to call is told at once even while nobody knows which person of a phone is meant.
    """
    said: list[Say] = []
    for flow in (alarm.flow, alarm.also):
        if flow is not None and flow in draft.book.flows:
            said += _statements(draft, alarm, flow)
    if said:
        return tuple(said)
    line = "exposure_nurse" if EXPOSURE in alarm.reasons else "unread_nurse"
    return (Say("patient", SYSTEM, line),)


def _statements(draft: Draft, alarm: Alarm, flow: str) -> list[Say]:
    draft.effects.clear()
    begin(draft, flow, values={"reason": alarm.reasons[0]})
    opened = draft.conversation.open
    question = draft.state_of(opened).say if opened is not None and opened.flow == flow else None
    says = [effect for effect in draft.effects if isinstance(effect, Say)]
    return [say for say in says if (say.flow, say.line) != (flow, question)]
