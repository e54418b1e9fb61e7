"""Opens one conversation now, for an educator who tries it: the real turn, out of its time."""

from datetime import date, datetime, timedelta

from bot.core.conversation import PromptDue
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.service.turns import take_turn
from bot.store import patients
from bot.store.engine import writing

OPEN_FOR = timedelta(days=1)


def sample_values(surgery: date) -> dict[str, str]:
    """What a prompt would carry: a wash number, an invented medicine and its last dose."""
    values = {"n": "1", "of": "3", "day": surgery.isoformat(), "medicine": "ibuprofen"}
    last_dose = (surgery - timedelta(days=7)).isoformat()
    return values | {"prescriber": "Dr. Ana Quill", "last_dose": last_dose}


def open_flow(
    practice: Practice, patient: int, name: str, values: dict[str, str], now: datetime
) -> None:
    """Let the flow `name` open as if its prompt were due. Raises LookupError for no such flow.

    `values` are what its prompt would carry: the number of the wash, the medicine. An alarm's
    conversation gets the first reason that opens it.
    """
    flow = practice.book.flows.get(name)
    if flow is None:
        known = ", ".join(sorted(n for n, f in practice.book.flows.items() if f.states))
        raise LookupError(f"No conversation {name}. There are: {known}.")
    reason = next((n for n, why in practice.book.reasons.items() if why.flow == name), None)
    carried = {**values, "reason": reason} if reason else values
    with writing(practice.engine) as connection:
        patients.lock(connection, patient)
        desk = Desk(connection, practice, load_chart(connection, practice, patient), now)
        due = PromptDue("tried", ((name, carried),), "patient", flow.priority, now + OPEN_FOR)
        take_turn(desk, due)
