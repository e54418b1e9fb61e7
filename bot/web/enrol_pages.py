"""Enrolling: one patient by a form, many by a schedule; each asks before it stores a slip."""

from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from starlette.responses import Response

from bot.content.schedule import parse_schedule
from bot.core.date_questions import Question
from bot.service import views
from bot.service.enrolment import Enrolment
from bot.service.importing import Imported, take_in
from bot.service.link_codes import LINK_LASTS
from bot.service.views_enrol import Row, questions_about, rows_of
from bot.service.views_handout import handout as handout_of
from bot.service.views_log import choices
from bot.store.patients import AddressTaken
from bot.web.enrol_form import FIELDS, wish_of
from bot.web.fields import Refused
from bot.web.handout import qr_of
from bot.web.visit import Visit

MOST_ROWS = 2000
_NO_WORDS = "The content in use has no words for this page yet. Publish the present content first."
_FIRST_ZONE = "America/New_York"  # a zone for the first patient of all; the form shows it


def page(visit: Visit) -> Response:
    """The empty form, and the field for a file."""
    return _form(visit)


def enrol(visit: Visit) -> Response:
    """Store one patient; or ask about what is unusual; or say what is wrong."""
    try:
        wish = wish_of(visit, _zone(visit))
        _refuse_known(visit, wish)
        open_ones = _unanswered(visit, wish)
        if open_ones:
            return _form(visit, 422, questions=open_ones)
        patient = visit.app.care.enrol(wish, visit.who).patient
    except (Refused, AddressTaken) as refused:
        return _form(visit, 422, refused=str(refused))
    return visit.goto(f"/patients/{patient}/handout", said="enrolled")


def preview_file(visit: Visit) -> Response:
    """What a schedule would do, row by row; nothing is stored."""
    text, fault = _text(visit)
    if fault:
        return _form(visit, 422, refused=fault)
    schedule = parse_schedule(text, _zone(visit), visit.app.practice.book.languages)
    if len(schedule.rows) > MOST_ROWS:
        return _form(visit, 422, refused=f"More than {MOST_ROWS} rows. Divide the file.")
    rows, faults = rows_of(visit.app.practice, schedule, _channel(visit), visit.now)
    visit.saw(None, "previewed a schedule", patients=[r.patient for r in rows if r.patient])
    return visit.page(
        "enrol_file.html", rows=rows, faults=faults, text=text, done=None, channel=_channel(visit),
        asked=sum(bool(row.questions) for row in rows), refused="",
    )  # fmt: skip


def enrol_file(visit: Visit) -> Response:
    """Take in the good rows; those with a question only when it was answered."""
    schedule = parse_schedule(
        visit.field("schedule"), _zone(visit), visit.app.practice.book.languages
    )
    rows, faults = rows_of(visit.app.practice, schedule, _channel(visit), visit.now)
    agreed = {row.line for row in rows if not row.questions or visit.field(f"yes-{row.line}")}
    faulty = {fault.line for fault in faults}
    good = [row for row in schedule.rows if row.line in agreed and row.line not in faulty]
    *_, done = take_in(
        visit.app.care, replace(schedule, rows=tuple(good)), _channel(visit), visit.who
    )
    left = [row for row in rows if row.line not in agreed]
    return visit.page(
        "enrol_file.html", rows=left, faults=faults, text="", done=_told(done, left), asked=0,
        channel=_channel(visit), refused="",
    )  # fmt: skip


def handout(visit: Visit) -> Response:
    """One page to give to the patient: the dates, the numbers, the way into the chat."""
    return _handout(visit)


def make_link(visit: Visit) -> Response:
    """The same page with a fresh link as a QR code. It is shown this once; older links end."""
    patient = visit.number("patient")
    try:
        link = visit.app.enrolment_link(visit.app.care.enrolment_code(patient, visit.who))
    except ValueError as fault:
        return _handout(visit, 422, refused=str(fault))
    if link is None:
        return _handout(visit, 422, refused="No chat is set up on this service: give the number.")
    return _handout(visit, link=link)


def _handout(visit: Visit, status: int = 200, link: str = "", refused: str = "") -> Response:
    patient = visit.number("patient")
    hours = int(LINK_LASTS.total_seconds() // 3600)
    page = handout_of(visit.app.practice, patient, visit.now, hours, visit.field("language"))
    visit.saw(patient, "viewed a handout")
    return visit.page(
        "handout.html",
        status,
        page=page,
        link=link,
        qr=qr_of(link, page.say["scan_name"]) if link else "",
        can_link=bool(visit.app.telegram_bot),
        hours=hours,
        languages=visit.app.practice.book.languages,
        refused=refused or ("" if page.written else _NO_WORDS),
        said=visit.field("said"),
    )


def _form(
    visit: Visit, status: int = 200, refused: str = "", questions: Sequence[Question] = ()
) -> Response:
    options = choices(visit.app.practice)
    surgeons = sorted({*options.surgeons, *visit.app.practice.surgeon_rules})
    return visit.page(
        "enrol.html",
        status,
        draft={name: visit.field(name) for name in FIELDS},
        refused=refused,
        questions=questions,
        surgeons=[name for name in surgeons if not name.startswith("Dr. Test")],
        channels=_channels(visit),
        zone=_zone(visit),
        languages=visit.app.practice.book.languages,
    )


def _refuse_known(visit: Visit, wish: Enrolment) -> None:
    known = views.find(visit.app.engine, wish.reference)
    if known is not None:
        raise Refused(
            f"{wish.reference} is enrolled already. To change the date, the side or the joint,"
            f" open the patient: number {known} under Readiness."
        )


def _unanswered(visit: Visit, wish: Enrolment) -> list[Question]:
    found = questions_about(
        visit.app.practice, wish.reference, wish.name, wish.born, wish.surgery, visit.now
    )
    return [one for one in found if not visit.field(f"yes-{one.name}")]


def _text(visit: Visit) -> tuple[str, str]:
    """The text of the uploaded file, or what is wrong with it."""
    sent = visit.form.get("file")
    if sent is None or isinstance(sent, str) or not sent.filename:
        return "", "Choose a file first: a schedule saved as CSV."
    try:
        return sent.file.read().decode("utf-8-sig"), ""
    except UnicodeDecodeError as fault:
        return "", f"The file is not UTF-8 (byte {fault.start}). Save it as “CSV UTF-8”."


def _told(done: Imported, left: Sequence[Row]) -> dict[str, object]:
    return {
        "enrolled": [ref for ref, what in done.outcomes.items() if what == "enrolled"],
        "moved": [ref for ref, what in done.outcomes.items() if what == "moved"],
        "unchanged": [ref for ref, what in done.outcomes.items() if what == "unchanged"],
        "absent": done.absent if not left else [],
        "faults": done.faults,
    }


def _channels(visit: Visit) -> list[tuple[str, str]]:
    links = [("telegram", "A chat, opened by a link or QR code")] if visit.app.telegram_bot else []
    return [("sms", "Text messages (SMS)"), *links]


def _channel(visit: Visit) -> str:
    given = visit.field("channel")
    return given if given in dict(_channels(visit)) else "sms"


def _zone(visit: Visit) -> str:
    given = visit.field("zone")
    try:
        ZoneInfo(given or "?")
    except (ValueError, KeyError, OSError):
        usual = choices(visit.app.practice).zone
        return usual if usual != "UTC" else _FIRST_ZONE
    return given
