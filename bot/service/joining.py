"""A coach joins by their own reply; until then they get nothing but the invitation."""

from dataclasses import replace

from bot.core.conversation import Effect, Escalate, Heard, Say, TimeUp
from bot.core.dialogue_draft import SYSTEM
from bot.reading.reading import Act, Reading
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.turns import take_turn
from bot.store import coaches, patients
from bot.store.consents import Consent, note_consent

_YES = frozenset({Act.AFFIRM, Act.OPT_IN, Act.DONE})
_NO = frozenset({Act.DENY, Act.OPT_OUT, Act.WRONG_NUMBER, Act.NOT_DONE})
_DANGER = frozenset({Act.EMERGENCY, Act.SELF_HARM, Act.SYMPTOM})


def has_joined(desk: Desk) -> bool:
    """True when the coach who writes has joined at some time (they may have left since)."""
    writer = desk.writer
    return any(
        coach.joined_at is not None
        for coach in desk.chart.coaches
        if writer is not None and coach.id == writer.coach
    )


def answers_invitation(reading: Reading) -> bool:
    """True when these words say yes or no to being a support person."""
    return bool({reading.act, *reading.also} & (_YES | _NO))


def hear_invited(desk: Desk, heard: Heard) -> None:
    """Read an invited person's reply: danger first, then no, then yes, else ask once more.

    1. Danger to the patient goes to the nurse whoever says it; 2. a no is kept and ends it;
    3. a yes is consent in their own words, and the coach's prompts are planned.
    """
    acts = {heard.reading.act, *heard.reading.also}
    if acts & _DANGER:
        _pass_on(desk, heard, "coach_emergency")
    elif acts & _NO:
        _decline(desk, heard)
    elif acts & _YES:
        _join(desk, heard)
    elif heard.reading.act is Act.UNCLEAR:
        _tell(desk, heard, [Say("coach", SYSTEM, "coach_invite")])
    else:
        _pass_on(desk, heard, "coach_nurse")


def _pass_on(desk: Desk, heard: Heard, line: str) -> None:
    reasons = [symptom.value for symptom in heard.reading.symptoms]
    known = desk.practice.book.reasons
    reason = next((r for r in reasons if r in known), "coach_asked")
    raised = Escalate(reason, heard.text, heard.reading.because)
    _tell(desk, heard, [raised, Say("coach", SYSTEM, line)])


def _decline(desk: Desk, heard: Heard) -> None:
    writer = desk.writer
    if writer is not None and writer.coach is not None:
        _consent(desk, heard, given=False)
        coaches.leave(desk.connection, writer.coach, desk.now)
        patients.stop_address(desk.connection, writer, desk.now, wrong=False)
        words = f"{heard.text} (the invited coach said no)"
        asked = Escalate("coach_invite", words, heard.reading.because)
        _tell(desk, heard, [Say("coach", SYSTEM, "coach_declined"), asked])


def _join(desk: Desk, heard: Heard) -> None:
    writer = desk.writer
    if writer is None or writer.coach is None:
        return
    _consent(desk, heard, given=True)
    coaches.join(desk.connection, writer.coach, desk.now)
    desk = replace(desk, chart=load_chart(desk.connection, desk.practice, desk.patient))
    _tell(desk, heard, [Say("coach", SYSTEM, "coach_joined")], plan_anew=True)
    now_joined = replace(
        desk,
        writer=None,
        chart=load_chart(desk.connection, desk.practice, desk.patient),
    )
    take_turn(now_joined, TimeUp(), before=[Say("patient", SYSTEM, "coach_joined_patient")])


def _consent(desk: Desk, heard: Heard, *, given: bool) -> None:
    language = desk.chart.conversation.language
    consent = Consent("coach", given, f"their words: {heard.text}", language, desk.now)
    if desk.writer is not None:
        note_consent(desk.connection, desk.writer, consent)


def _tell(desk: Desk, heard: Heard, effects: list[Effect], *, plan_anew: bool = False) -> None:
    take_turn(replace(desk, heard=heard), TimeUp(), before=effects, plan_anew=plan_anew)
