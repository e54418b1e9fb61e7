"""Changes of the operation: moved, postponed, cancelled, time entered, side or joint corrected.

What stays done stays done: home, coach, vaccines. What hangs on the date starts anew: washes,
check-ins, fasting. Nothing that was queued for the old date goes out.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, time
from zoneinfo import ZoneInfo

from bot.core.conversation import Conversation, Effect, Escalate, OpenQuestion, Say, TimeUp
from bot.core.dialogue_draft import COACH_COPY, SYSTEM, is_alarm_flow
from bot.core.flow import FlowBook
from bot.core.protocol import Anchor, MedicineHold, Priority, Prompt, Protocol, Surgery
from bot.service import planning
from bot.service.chart import Chart, load_chart
from bot.service.desk import Desk
from bot.service.turns import take_turn
from bot.store import audit, items, outbox, patients, surgeries

_LATE_ANCHORS = frozenset(
    {Anchor.START, Anchor.ARRIVAL, Anchor.LAST_FOOD, Anchor.LAST_DRINK, Anchor.WASH_DAY}
)


@dataclass(frozen=True, slots=True)
class NewTimes:
    """When the operation is now. `on` is None while a new date is still to be found."""

    on: date | None
    starts_at: time | None = None
    arrive_at: time | None = None


def move_surgery(desk: Desk, to: NewTimes, *, told: str | None = None) -> None:
    """Store another date and bring everything that hangs on it up to it.

    1. Withdraw what is queued and the questions about the old date; 2. store the new revision, with
    what stays done; 3. a medicine already stopped becomes the prescriber's question at once, one
    not yet stopped loses its old date; 4. plan anew; 5. tell patient and coaches what changed.
    `told` is another wording line for the patient (a decision just taken).
    """
    chart = desk.chart
    same_day = to.on == chart.operation.surgery.on and chart.operation.status == "planned"
    if same_day:
        _move_within_the_day(desk, to)
        return
    _withdraw(desk, "surgery moved")
    surgery = replace(
        chart.operation.surgery,
        on=to.on or chart.operation.surgery.on,
        starts_at=to.starts_at,
        arrive_at=to.arrive_at,
    )
    status = "planned" if to.on else "postponed"
    _new_revision(desk, surgery, status)
    holds = _settle_holds(desk, to.on)
    line = "moved" if to.on else "moved_no_date"
    _tell(desk, told or line, line, holds)
    detail = {"from": str(chart.operation.surgery.on), "to": str(to.on)}
    audit.note(desk.connection, desk.staff, "moved the surgery", desk.patient, desk.now, detail)


def cancel_surgery(desk: Desk, *, told: str = "cancelled") -> None:
    """Store that the operation will not take place: nothing more is sent about it."""
    _withdraw(desk, "surgery cancelled")
    _new_revision(desk, desk.chart.operation.surgery, "cancelled")
    holds = _settle_holds(desk, None)
    _tell(desk, told, "cancelled", holds)
    audit.note(desk.connection, desk.staff, "cancelled the surgery", desk.patient, desk.now)


def _move_within_the_day(desk: Desk, to: NewTimes) -> None:
    """Another time on the same day: what was done stays, only times are told and planned anew."""
    surgery = replace(desk.chart.operation.surgery, starts_at=to.starts_at, arrive_at=to.arrive_at)
    first = desk.chart.operation.surgery.starts_at is None
    surgeries.correct_surgery(desk.connection, desk.chart.operation, surgery)
    effects = () if first else _both("moved_time")
    _turn(desk, effects)
    what = "entered the start time" if first else "changed the start time"
    audit.note(desk.connection, desk.staff, what, desk.patient, desk.now)


def correct_side_or_joint(desk: Desk, side: str, joint: str) -> None:
    """Correct the record, plan anew (a hip has prompts that a knee has not), and tell both."""
    surgery = replace(desk.chart.operation.surgery, side=side, joint=joint)
    surgeries.correct_surgery(desk.connection, desk.chart.operation, surgery)
    _turn(desk, (Say("patient", SYSTEM, "joint_corrected"),))
    detail = {"side": side, "joint": joint}
    audit.note(desk.connection, desk.staff, "corrected the record", desk.patient, desk.now, detail)


def _withdraw(desk: Desk, reason: str) -> None:
    outbox.withdraw(desk.connection, desk.patient, ("patient", "coach"), reason, desk.now)
    planning.withdraw_all(desk, reason)


def _new_revision(desk: Desk, surgery: Surgery, status: str) -> None:
    """Store the next revision and carry over what stays done."""
    chart = desk.chart
    surgeries.change_surgery(desk.connection, chart.operation, surgery, status)
    after = surgeries.operation_of(desk.connection, desk.patient)
    anew = items_that_start_anew(chart.protocol)
    for item in chart.items.values():
        if not any(item.name.startswith(stem) for stem in anew):
            items.record_item(desk.connection, after, item.name, item.value, item.by, item.at)


def items_that_start_anew(protocol: Protocol) -> frozenset[str]:
    """Beginnings of the names of items that hang on the date: washes, medicines, the last days."""
    return frozenset(
        prompt.item.split("{")[0]
        for prompt in protocol.prompts
        if prompt.item is not None and _hangs_on_date(prompt)
    )


def _hangs_on_date(prompt: Prompt) -> bool:
    near = prompt.when.anchor is Anchor.SURGERY_DATE and prompt.when.days >= -3
    return prompt.when.anchor in _LATE_ANCHORS | {Anchor.LAST_DOSE} or near


def _settle_holds(desk: Desk, new_date: date | None) -> tuple[Effect, ...]:
    """What the change means for medicines that a prescriber told the patient to stop.

    Already stopped and the date is later or gone: the prescriber must say whether to restart.
    Not yet stopped: the old date no longer holds, and only the prescriber can give a new one.
    """
    old, today = desk.chart.operation.surgery, _today(desk)
    effects: list[Effect] = []
    for hold in desk.chart.holds:
        stopped = hold.last_dose_on <= today
        if stopped and new_date is not None and new_date <= old.on:
            continue  # brought forward: it is stopped already and stays so
        reason = "medicine_restart" if stopped else "medicine_unknown"
        effects.append(_about(reason, hold))
        if stopped:
            told = {"medicine": hold.medicine, "prescriber": hold.prescriber}
            effects.append(Say("patient", SYSTEM, "medicine_restart_ask", told))
        patients.drop_holds(desk.connection, desk.patient, [hold.medicine])
    return tuple(effects)


def _about(reason: str, hold: MedicineHold) -> Escalate:
    answers = {
        "medicine": hold.medicine,
        "prescriber": hold.prescriber,
        "last dose was": hold.last_dose_on.isoformat(),
    }
    return Escalate(reason, "", (), answers)


def _today(desk: Desk) -> date:
    zone = ZoneInfo(desk.chart.operation.surgery.zone)
    return desk.now.astimezone(zone).date()


def _both(line: str) -> tuple[Effect, ...]:
    return (Say("patient", SYSTEM, line), Say("coach", COACH_COPY, line))


def _tell(desk: Desk, patient_line: str, coach_line: str, more: Iterable[Effect]) -> None:
    effects = (
        Say("patient", SYSTEM, patient_line),
        Say("coach", COACH_COPY, coach_line),
        *more,
    )
    _turn(desk, effects, clear=True)


def _turn(desk: Desk, effects: Iterable[Effect], *, clear: bool = False) -> None:
    after: Chart = load_chart(desk.connection, desk.practice, desk.patient)
    conversation = after.conversation
    if clear:
        conversation = without_old_date(desk.practice.book, conversation)
    take_turn(
        replace(desk, chart=after),
        TimeUp(),
        before=effects,
        conversation=conversation,
        plan_anew=True,
    )


def without_old_date(book: FlowBook, conversation: Conversation) -> Conversation:
    """Take the questions about the old date out of a chat; an alarm under way stays."""

    def stays(question: OpenQuestion | None) -> bool:
        return question is not None and (
            is_alarm_flow(book, question.flow) or _own_business(question)
        )

    coach = conversation.coach
    return replace(
        conversation,
        open=conversation.open if stays(conversation.open) else None,
        interrupted=tuple(q for q in conversation.interrupted if stays(q)),
        waiting=tuple(w for w in conversation.waiting if w.prompt is None),
        recent=(),
        coach=without_old_date(book, coach) if coach else None,
    )


def _own_business(question: OpenQuestion) -> bool:
    """A safety question that no planned prompt opened follows from what the patient told."""
    return question.prompt is None and question.priority is Priority.SAFETY
