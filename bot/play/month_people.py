"""The invented patients of a month: who they are, what happens to them, what they write when.

Everything comes from one seed; the same seed makes the same month.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Protocol, TypeVar

from bot.core.conversation import OpenQuestion
from bot.core.copies import CopyLevel
from bot.core.protocol import FactValue, MedicineHold, Surgery
from bot.play.phones import NAME
from bot.service.enrolment import CoachWish, Enrolment

Item = TypeVar("Item")
Answers = Mapping[str, str | list[str | None] | None]

ZONE = "America/New_York"
FIRST = [
    "Ada",
    "Bruno",
    "Celia",
    "Dario",
    "Edna",
    "Felix",
    "Greta",
    "Hugo",
    "Iris",
    "Jonas",
    "Karla",
    "Leo",
    "Mabel",
    "Nestor",
    "Olga",
    "Pablo",
    "Rita",
    "Silas",
    "Thea",
    "Ulises",
]
LAST = [
    "Abbott",
    "Barros",
    "Calder",
    "Dufour",
    "Espino",
    "Farrow",
    "Galvez",
    "Holm",
    "Ibarra",
    "Jensen",
    "Kovac",
    "Lomas",
    "Moreau",
    "Nadal",
    "Ortega",
    "Pryor",
    "Quist",
    "Rojas",
]
SURGEONS = ("Dr. Imani Calloway", "Dr. Stellan Berg", "Dra. Ana Quill")
STARTS = (time(7, 30), time(9, 15), time(11, 0), time(13, 15))
# What is reported, and how often among those who fall ill. Invented shares, no published source.
ILLNESSES = {
    "en": ("I have a fever of 101.3", "a cough since last night", "my throat is sore and nose runs",
           "there is a rash on my leg", "I fell in the kitchen", "it burns when I pee",
           "chest pain when I climb the stairs"),
    "es": ("tengo fiebre de 38.6", "tengo mucha tos", "me salieron ronchas en la pierna",
           "me arde al orinar", "me cai en el baño"),
}  # fmt: skip
ALONE: Answers = {"coach_choice.ask": "no"}  # most who have a coach named them at enrolment
HABITS = {"prompt": 62, "slow": 22, "terse": 10, "silent": 6}  # shares of every hundred patients
MEDIAN_MINUTES = {"prompt": 7, "slow": 45, "terse": 20, "silent": 30}
# Where a terse patient's bare "1" is the good news that it is meant to be.
ONE_IS_DONE = frozenset(
    {"home_safety", "home_handy", "equipment", "soap_buy", "packing_knee", "packing_hip", "wash",
     "sheets_clothes", "hand_washing", "preop_class", "symptom_check"}
)  # fmt: skip


class Dice(Protocol):
    """What the month needs of a generator; see `wiring.dice`."""

    def random(self) -> float:
        """Evenly from 0 to 1."""

    def choice(self, seq: Sequence[Item]) -> Item:
        """One of them."""

    def choices(self, population: Sequence[Item], weights: Sequence[float]) -> list[Item]:
        """One of them, by weight, in a list."""

    def randrange(self, start: int, stop: int) -> int:
        """A whole number below `stop`."""

    def lognormvariate(self, mu: float, sigma: float) -> float:
        """Log-normal: mostly small, now and then large."""


@dataclass(frozen=True, slots=True)
class Person:
    """One invented patient. Days count from the enrolment; -1 means that it does not happen."""

    place: int
    wish: Enrolment
    enrolled: datetime
    habit: str
    answers: Answers
    ill_on: date | None
    stops_on: date | None
    silent_from: date | None
    wrong_number: bool
    coach_joins: bool

    @property
    def phone(self) -> str:
        """Their address: a made-up place on the story's own phones, no telephone number."""
        return self.wish.address

    @property
    def coach_phone(self) -> str | None:
        """The coach's address, if they named one."""
        return self.wish.coach.address if self.wish.coach else None


def people(number: int, rng: Dice, start: datetime, lend: Mapping[str, Answers]) -> list[Person]:
    """Invent the patients. `lend` holds answers by language, as the stories write them."""
    return [_person(place, rng, start, lend) for place in range(1, number + 1)]


def _person(place: int, rng: Dice, start: datetime, lend: Mapping[str, Answers]) -> Person:
    enrolled = start + timedelta(days=rng.randrange(0, 12), minutes=15 * rng.randrange(0, 24))
    on = (enrolled + timedelta(days=rng.randrange(3, 17))).date()
    on += timedelta(days=max(0, on.weekday() - 4) and 7 - on.weekday())  # no surgery at weekends
    language = "es" if rng.random() < 0.18 else "en"
    habit = rng.choices(tuple(HABITS), weights=tuple(HABITS.values()))[0]
    days = (on - enrolled.date()).days

    def some_day(share: float) -> date | None:
        return enrolled.date() + timedelta(days=rng.randrange(1, days)) if _by(rng, share) else None

    return Person(
        place=place,
        wish=_wish(place, rng, on, language),
        enrolled=enrolled,
        habit=habit,
        answers=lend[language] if _by(rng, 0.3) else {**lend[language], **ALONE},
        ill_on=some_day(0.16),
        stops_on=some_day(0.03),
        silent_from=some_day(1.0) if habit == "silent" else None,
        wrong_number=_by(rng, 0.01),
        coach_joins=_by(rng, 0.9),
    )


def _by(rng: Dice, share: float) -> bool:
    return rng.random() < share


def _wish(place: int, rng: Dice, on: date, language: str) -> Enrolment:
    name = f"{rng.choice(FIRST)} {rng.choice(LAST)}"
    coach = None
    if _by(rng, 0.65):
        level = rng.choice(tuple(CopyLevel))
        coach = CoachWish(f"{rng.choice(FIRST)} {name.split()[1]}", NAME, f"coach-{place}", level)
    joint = rng.choice(("hip", "knee"))
    surgery = Surgery(joint, rng.choice(("left", "right")), on, ZONE, rng.choice(STARTS))
    facts: dict[str, FactValue] = {
        "pets": _by(rng, 0.4), "lives_alone": _by(rng, 0.25), "smoker": _by(rng, 0.1),
    }  # fmt: skip
    return Enrolment(
        reference=f"M-{place:03}",
        name=name,
        channel=NAME,
        address=f"patient-{place}",
        surgery=surgery,
        surgeon=rng.choice(SURGEONS),
        born=date(rng.randrange(1938, 1972), rng.randrange(1, 13), rng.randrange(1, 28)),
        language=language,
        facts=facts,
        holds=_holds(rng, on),
        coach=coach,
        dawn_agreed=_by(rng, 0.8),
        agreed="paper",
    )


def _holds(rng: Dice, on: date) -> tuple[MedicineHold, ...]:
    if not _by(rng, 0.3):
        return ()
    medicine = rng.choice(("apixaban", "warfarin", "clopidogrel"))
    last = on - timedelta(days=5 if medicine != "apixaban" else 3)
    return (MedicineHold(medicine, last, "Dr. Priya Anand", "As in the clinic letter"),)


def is_silent(person: Person, now: datetime) -> bool:
    """True from the day on which this patient no longer looks at the phone."""
    return person.silent_from is not None and now.date() >= person.silent_from


def answer_of(person: Person, question: OpenQuestion, now: datetime, rng: Dice) -> str | None:
    """What the patient writes to the open question, or None: they let it pass."""
    today = now.astimezone(UTC).date()
    if question.flow == "symptom_check" and person.ill_on == today:
        return rng.choice(ILLNESSES[person.wish.language])
    if question.flow == "call_check":
        return rng.choices(("yes", "nobody answered"), weights=(4, 1))[0]
    if question.flow == "medicine_hold_day" and _by(rng, 0.05):
        return "I still took it this morning"
    if _by(rng, 0.03) and question.nudges == 0:
        return None  # read, put away and forgotten until the next message
    if person.habit == "terse" and question.flow in ONE_IS_DONE and not question.unread:
        return "1"
    return _written(person, question, rng)


def _written(person: Person, question: OpenQuestion, rng: Dice) -> str:
    found = person.answers.get(f"{question.flow}.{question.state}")
    found = found if found is not None else person.answers.get(question.flow)
    texts = [t for t in found if t] if isinstance(found, list) else [found]
    return rng.choice([t for t in texts if t] or ["1"])


def minutes_to_answer(person: Person, rng: Dice) -> float:
    """How long the patient takes: most answer soon, some in hours."""
    return min(float(rng.lognormvariate(0.0, 0.8)) * MEDIAN_MINUTES[person.habit], 600.0)
