"""A change of the operation: shown first, then confirmed.

The preview makes the change for real and takes it back, so it shows what will happen. Confirming
sends the same fields again with the mark of what they were made from.
"""

from zoneinfo import ZoneInfo

from starlette.responses import Response

from bot.core.date_questions import Question, date_questions
from bot.core.protocol import Surgery
from bot.service import previewing
from bot.service.changes import NewTimes
from bot.service.chart import Chart
from bot.service.previewing import Act, ChangedMeanwhile, Foreseen
from bot.web.fields import Refused, a_date, a_time
from bot.web.visit import Visit

KINDS = {
    "move": "Change the date or the time",
    "postpone": "Postpone, no new date yet",
    "cancel": "Cancel the surgery",
    "correct": "Correct the side or the joint",
}
FIELDS = ("kind", "on", "starts_at", "arrive_at", "side", "joint")


def preview(visit: Visit) -> Response:
    """What the change will do; nothing is stored."""
    patient = visit.number("patient")
    chart = visit.app.chart(patient)
    visit.saw(patient, "viewed a patient")
    return _shown(visit, chart)


def confirm(visit: Visit) -> Response:
    """Do what was previewed."""
    patient = visit.number("patient")
    chart = visit.app.chart(patient)
    try:
        act = _act(visit, chart)
        previewing.carry_out(
            visit.app.practice, patient, act, visit.who, visit.now, visit.field("mark")
        )
    except Refused as refused:
        return _shown(visit, chart, str(refused), 422)
    except ChangedMeanwhile as changed:
        return _shown(visit, chart, str(changed), 409)
    return visit.goto(f"/patients/{patient}", said="changed")


def _shown(visit: Visit, chart: Chart, refused: str = "", status: int = 200) -> Response:
    foreseen: Foreseen | None = None
    questions: tuple[Question, ...] = ()
    try:
        act, questions = _act(visit, chart), _questions(visit, chart)
        foreseen = previewing.foresee(
            visit.app.practice, chart.patient.id, act, visit.who, visit.now
        )
    except Refused as fault:
        refused, status = refused or str(fault), 422
    return visit.page(
        "change.html",
        status,
        chart=chart,
        foreseen=foreseen,
        questions=questions,
        refused=refused,
        kinds=KINDS,
        fields={name: visit.field(name) for name in FIELDS},
        zone=chart.operation.surgery.zone,
    )


def _act(visit: Visit, chart: Chart) -> Act:
    """What the form asks for. Raises Refused when it asks for nothing, or for what cannot be."""
    surgery = chart.operation.surgery
    match visit.field("kind"):
        case "move":
            to = _times(visit)
            same = (to.on, to.starts_at, to.arrive_at)
            if same == (surgery.on, surgery.starts_at, surgery.arrive_at) and _stands(chart):
                raise Refused("This is the date and time that stand already.")
            return previewing.move(to)
        case "postpone" if _stands(chart):
            return previewing.move(NewTimes(None))
        case "cancel" if chart.operation.status != "cancelled":
            return previewing.cancel()
        case "correct":
            return _correction(visit, surgery)
    raise Refused("Choose what to change. It may be so already.")


def _stands(chart: Chart) -> bool:
    return chart.operation.status == "planned"


def _correction(visit: Visit, surgery: Surgery) -> Act:
    side, joint = visit.field("side"), visit.field("joint")
    if side not in ("left", "right") or joint not in ("hip", "knee"):
        raise Refused("Choose the side and the joint.")
    if (side, joint) == (surgery.side, surgery.joint):
        raise Refused("This side and joint are on record already.")
    return previewing.correct(side, joint)


def _times(visit: Visit) -> NewTimes:
    starts, arrives = a_time(visit, "starts_at"), a_time(visit, "arrive_at")
    if starts and arrives and arrives >= starts:
        raise Refused("The arrival must be before the start.")
    return NewTimes(a_date(visit, "on", "surgery"), starts, arrives)


def _questions(visit: Visit, chart: Chart) -> tuple[Question, ...]:
    if visit.field("kind") != "move":
        return ()
    to, was = _times(visit), chart.operation.surgery
    zone = ZoneInfo(was.zone)
    new = Surgery(was.joint, was.side, to.on or was.on, was.zone, to.starts_at, to.arrive_at)
    return date_questions(new, visit.now.astimezone(zone).date(), chart.rules.hours)
