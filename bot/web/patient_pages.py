"""One patient: everything on file, and what a nurse does by hand."""

from collections.abc import Callable

from starlette.responses import Response

from bot.core.copies import CopyLevel
from bot.core.protocol import MedicineHold
from bot.service import own_words
from bot.service.own_words import CannotSend
from bot.service.views_patient import patient_file
from bot.store.patients import AddressTaken
from bot.web.fields import Refused, a_date, a_phone, a_time
from bot.web.strip import strip
from bot.web.visit import Visit

SAID = {
    "changed": "The change is stored. What was announced is on its way.",
    "message": "The message is on its way.",
    "pause": "Paused. Nothing goes out until you resume; an alarm is still dealt with.",
    "resume": "The messages go on.",
    "done": "Marked.",
    "hold": "The medicine is entered, and its reminders are planned.",
    "coach": "The coach is invited. They get nothing more until they agree themselves.",
    "level": "Stored what the coach may see.",
    "uncoach": "Nothing more goes to this coach.",
    "enrolled": "Enrolled. The countdown is below; the first message is on its way.",
}
LEVELS = (
    ("reminders", "Reminders: what is asked and done, no health answers"),
    ("everything", "Everything, health answers too"),
    ("trouble_only", "Only when there is trouble"),
)


def page(visit: Visit) -> Response:
    """The whole file."""
    return _shown(visit)


def message(visit: Visit) -> Response:
    """Send the patient something in one's own words."""
    practice, patient = visit.app.practice, visit.number("patient")
    return _done(
        visit,
        "message",
        lambda: own_words.send(practice, patient, visit.field("text"), visit.who, visit.now),
    )


def pause(visit: Visit) -> Response:
    """Hold the messages back."""
    return _done(visit, "pause", lambda: visit.app.care.pause(visit.number("patient"), visit.who))


def resume(visit: Visit) -> Response:
    """Let them go on."""
    return _done(visit, "resume", lambda: visit.app.care.resume(visit.number("patient"), visit.who))


def mark_done(visit: Visit) -> Response:
    """The patient told it by telephone."""

    def store() -> None:
        item, value = visit.field("item"), visit.field("value")
        found = patient_file(visit.app.practice, visit.number("patient"), visit.now)
        known = {name for one in found.countdown for name in one.dated.items}
        known |= {column.name for column in found.columns if not column.stem}
        if item not in known or value not in ("done", "not_needed", "not_done"):
            raise Refused("Choose what was done from the list.")
        visit.app.care.mark_done_by_phone(visit.number("patient"), item, visit.who, value)

    return _done(visit, "done", store)


def add_hold(visit: Visit) -> Response:
    """Enter what a prescriber said about a medicine."""

    def store() -> None:
        medicine, prescriber = visit.field("medicine"), visit.field("prescriber")
        if not (medicine and prescriber):
            raise Refused("Enter the medicine, and who decided it.")
        last = a_date(visit, "last_dose", "last dose")
        hold = MedicineHold(
            medicine, last, prescriber, visit.field("instruction"), a_time(visit, "last_dose_at")
        )
        visit.app.care.add_medicine_hold(visit.number("patient"), hold, visit.who)

    return _done(visit, "hold", store)


def add_coach(visit: Visit) -> Response:
    """Invite a support person whom the patient named."""

    def store() -> None:
        by_link = visit.field("channel") == "telegram" and bool(visit.app.telegram_bot)
        channel, address = ("telegram", "") if by_link else ("sms", a_phone(visit, "phone"))
        name = visit.field("name")
        if not name:
            raise Refused("Enter the coach's name.")
        visit.app.care.add_coach(
            visit.number("patient"), name, channel, address, _level(visit), visit.who,
            "es" if visit.field("language") == "es" else "en", shared=bool(visit.field("shared")),
        )  # fmt: skip

    return _done(visit, "coach", store)


def set_level(visit: Visit) -> Response:
    """What the patient lets the coaches see."""
    return _done(
        visit,
        "level",
        lambda: visit.app.care.set_coach_level(visit.number("patient"), _level(visit), visit.who),
    )


def remove_coach(visit: Visit) -> Response:
    """The patient takes the consent back."""

    def store() -> None:
        patient, coach = visit.number("patient"), visit.number("coach")
        if coach not in {one.id for one in visit.app.chart(patient).coaches}:
            raise LookupError(f"No coach {coach} of patient {patient}.")
        visit.app.care.remove_coach(patient, coach, visit.who)

    return _done(visit, "uncoach", store)


def _done(visit: Visit, what: str, store: Callable[[], None]) -> Response:
    """Store it and show the page anew; or show why not, with what was typed."""
    try:
        store()
    except (Refused, CannotSend, AddressTaken) as refused:
        return _shown(visit, 422, str(refused), what)
    return visit.goto(f"/patients/{visit.number('patient')}", said=what)


def _shown(visit: Visit, status: int = 200, refused: str = "", act: str = "") -> Response:
    patient = visit.number("patient")
    whole = visit.field("thread") == "all"
    found = patient_file(visit.app.practice, patient, visit.now, whole=whole)
    visit.saw(patient, "viewed a patient")
    return visit.page(
        "patient.html",
        status,
        file=found,
        strip=strip(found.chart, found.countdown, visit.now),
        said=SAID.get(visit.field("said"), ""),
        refused=refused,
        act=act,
        levels=LEVELS,
        draft=visit.form if refused else {},
        by_link=bool(visit.app.telegram_bot),
    )


def _level(visit: Visit) -> CopyLevel:
    try:
        return CopyLevel(visit.field("level"))
    except ValueError:
        raise Refused("Choose what the coach may see.") from None
