"""From the fields of the enrolment form to what enrolling needs."""

from bot.core.copies import CopyLevel
from bot.core.protocol import FactValue, MedicineHold, Surgery
from bot.service.enrolment import CoachWish, Enrolment
from bot.web.fields import Refused, a_date, a_phone, a_time
from bot.web.visit import Visit

FACTS = (  # asked on the form because the countdown differs by them
    ("smoker", "Smokes"),
    ("drinks_alcohol", "Drinks alcohol"),
    ("breathing_machine", "Uses a breathing machine at night"),
    ("pets", "Has pets"),
    ("home_equipment_needed", "Needs equipment at home"),
    ("lives_alone", "Lives alone"),
)
FIELDS = (
    "reference", "name", "born", "phone", "channel", "language", "joint", "side", "on",
    "starts_at", "arrive_at", "surgeon", "coach_name", "coach_phone", "level", "agreed", "shared",
    "medicine", "last_dose", "prescriber", "instruction", "zone",
    *(name for name, _ in FACTS),
)  # fmt: skip
WORDING = "Agreed on paper at enrolment to text messages, told that they are not encrypted."


def wish_of(visit: Visit, zone: str) -> Enrolment:
    """The enrolment that the form asks for. Raises Refused at the first thing to mend."""
    channel = "telegram" if visit.field("channel") == "telegram" else "sms"
    address = "" if channel == "telegram" else a_phone(visit, "phone")  # "": opened by a link
    return Enrolment(
        reference=_filled(visit, "reference", "hospital’s patient number"),
        name=_filled(visit, "name", "name"),
        channel=channel,
        address=address,
        surgery=_surgery(visit, zone),
        surgeon=_filled(visit, "surgeon", "surgeon"),
        born=a_date(visit, "born", "birth"),
        language="es" if visit.field("language") == "es" else "en",
        facts=_facts(visit),
        holds=_holds(visit),
        coach=_coach(visit),
        agreed=WORDING if visit.field("agreed") else "",
        shared=bool(visit.field("shared")),
    )


def _filled(visit: Visit, name: str, what: str) -> str:
    given = " ".join(visit.field(name).split())
    if not given:
        raise Refused(f"Enter the {what}.")
    if len(given) > 120:
        raise Refused(f"The {what} is too long.")
    return given


def _surgery(visit: Visit, zone: str) -> Surgery:
    joint, side = visit.field("joint"), visit.field("side")
    if joint not in ("hip", "knee") or side not in ("left", "right"):
        raise Refused("Choose the joint and the side.")
    on = a_date(visit, "on", "surgery")
    return Surgery(joint, side, on, zone, a_time(visit, "starts_at"), a_time(visit, "arrive_at"))


def _facts(visit: Visit) -> dict[str, FactValue]:
    """Only what was answered: an open question is no "no"."""
    answers = {name: visit.field(name) for name, _ in FACTS}
    return {name: given == "yes" for name, given in answers.items() if given in ("yes", "no")}


def _holds(visit: Visit) -> tuple[MedicineHold, ...]:
    medicine = visit.field("medicine")
    if not medicine:
        return ()
    prescriber = _filled(visit, "prescriber", "prescriber who decided about the medicine")
    last = a_date(visit, "last_dose", "last dose")
    return (MedicineHold(medicine, last, prescriber, visit.field("instruction")),)


def _coach(visit: Visit) -> CoachWish | None:
    if not (visit.field("coach_name") or visit.field("coach_phone")):
        return None
    name, phone = _filled(visit, "coach_name", "coach’s name"), a_phone(visit, "coach_phone")
    try:
        level = CopyLevel(visit.field("level") or "reminders")
    except ValueError:
        raise Refused("Choose what the coach may see.") from None
    return CoachWish(name, "sms", phone, level)
