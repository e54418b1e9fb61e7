"""One patient's chart: everything on record that a decision about them may need."""

from collections.abc import Mapping, Sequence
from dataclasses import field
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from bot.core.conversation import Context, Conversation
from bot.core.conversation_json import conversation_from_json
from bot.core.copies import may_ask_coach
from bot.core.facts import derive_facts
from bot.core.office import is_open
from bot.core.protocol import Candidate, FactValue, MedicineHold, Protocol, Rules, protocol_for
from bot.core.record import CoachRecord, ItemStatus, Operation, PatientRecord
from bot.core.value import value
from bot.core.values import surgery_values
from bot.core.versions import as_begun
from bot.service.practice import Practice
from bot.store import charts, coaches, items, many, patients
from bot.store.charts import Head

DONE = frozenset({"done", "not_needed"})  # item values after which nobody is asked again


@value
class Chart:
    """What the record says about one patient, read in one transaction."""

    patient: PatientRecord
    operation: Operation
    conversation: Conversation
    rules: Rules
    protocol: Protocol
    facts: Mapping[str, FactValue] = field(default_factory=dict)
    holds: tuple[MedicineHold, ...] = ()
    coaches: tuple[CoachRecord, ...] = ()
    items: Mapping[str, ItemStatus] = field(default_factory=dict)

    @property
    def active_coaches(self) -> tuple[CoachRecord, ...]:
        """Coaches to whom messages may go."""
        return tuple(coach for coach in self.coaches if coach.active)

    @property
    def done(self) -> frozenset[str]:
        """Items that need no more asking."""
        return frozenset(name for name, item in self.items.items() if item.value in DONE)

    def days_left(self, now: datetime) -> int:
        """Local calendar days to surgery; negative afterwards."""
        surgery = self.operation.surgery
        return (surgery.on - now.astimezone(ZoneInfo(surgery.zone)).date()).days


def load_chart(connection: Connection, practice: Practice, patient: int) -> Chart:
    """Read one patient's chart. Raises LookupError for a patient who is not enrolled."""
    head = charts.head_of(connection, patient)
    facts = patients.facts_of(connection, patient)
    return _chart(connection, practice, head, facts, items.items_of(connection, head.operation))


def load_charts(
    connection: Connection, practice: Practice, whose: Sequence[int]
) -> dict[int, Chart]:
    """Read many charts in few statements. Raises LookupError if one of them is not enrolled."""
    heads = charts.heads_of_all(connection, whose)
    facts = many.facts_of_all(connection, whose)
    recorded = many.items_of_all(connection, whose)
    return {
        patient: _chart(connection, practice, heads[patient], facts[patient], recorded[patient])
        for patient in whose
    }


def _chart(
    connection: Connection,
    practice: Practice,
    head: Head,
    facts: Mapping[str, FactValue],
    recorded: Mapping[str, ItemStatus],
) -> Chart:
    operation, patient = head.operation, head.patient.id
    return Chart(
        patient=head.patient,
        operation=operation,
        conversation=conversation_from_json(head.body, head.version),
        rules=practice.rules_for(operation.surgeon),
        protocol=protocol_for(practice.protocols, operation.surgery.joint, operation.surgeon),
        facts=facts,
        holds=patients.holds_of(connection, patient) if head.holds else (),
        coaches=coaches.coaches_of(connection, patient) if head.coaches else (),
        items=recorded,
    )


def candidate(chart: Chart, practice: Practice) -> Candidate:
    """The patient as the planner needs to know them."""
    facts = {**practice.book.fact_defaults, **chart.facts}
    if chart.patient.born is not None:
        facts.pop("age", None)
        facts["birth_date"] = chart.patient.born.isoformat()
    return Candidate(
        enrolled_at=chart.patient.enrolled_at,
        facts=facts,
        holds=chart.holds,
        dawn_agreed=chart.patient.dawn_agreed,
        has_coach=bool(chart.active_coaches),
        done=chart.done,
    )


def context(chart: Chart, practice: Practice, now: datetime) -> Context:
    """What a dialogue step may look at beside the conversation; texts are filled afterwards."""
    surgery = chart.operation.surgery
    return Context(
        rules=chart.rules,
        zone=surgery.zone,
        facts=derive_facts(candidate(chart, practice), surgery),
        done=chart.done,
        office_open=is_open(chart.rules.hours, surgery.zone, now),
        has_coach=bool(chart.active_coaches),
        may_ask_coach=_may_ask_coach(chart, practice),
        dawn_agreed=chart.patient.dawn_agreed,
        days_left=chart.days_left(now),
    )


def _may_ask_coach(chart: Chart, practice: Practice) -> bool:
    asked = chart.conversation.open
    flow = as_begun(practice.book, chart.conversation).flows.get(asked.flow) if asked else None
    health = flow.health if flow else True
    return any(may_ask_coach(coach.level, health=health) for coach in chart.active_coaches)


def values(chart: Chart, language: str, now: datetime) -> dict[str, str]:
    """Everything that a text may fill in about this patient, in the reader's language."""
    surgery, phones = chart.operation.surgery, chart.rules.phones
    office_open = is_open(chart.rules.hours, surgery.zone, now)
    told = {name: str(value) for name, value in chart.facts.items()}
    coach = next((c.name for c in chart.active_coaches or chart.coaches), None)
    return {
        **told,
        **surgery_values(chart.rules, surgery, language),
        "first_name": chart.patient.first_name,
        "coach_name": coach or told.get("coach_name", ""),
        "call_number": phones.office if office_open else phones.after_hours,
        "days_left": str(max(chart.days_left(now), 0)),
    }
