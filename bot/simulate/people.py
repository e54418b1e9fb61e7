"""Invented patients, coaches and nurses: what they do when a phone rings."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from bot.channels.base import Outgoing
from bot.core.copies import CopyLevel
from bot.core.protocol import FactValue, MedicineHold, Surgery
from bot.service.enrolment import CoachWish, Enrolment
from bot.simulate.faults import Dice
from bot.simulate.network import CHANNEL

ALARMS = {
    "en": ("I have a fever of 101.5", "bad cough since monday", "I have a rash on my leg"),
    "es": ("tengo fiebre de 39", "tengo mucha tos", "tengo un sarpullido en la pierna"),
}
ODD = ("hm", "what?", "asdf", "🙂", "who is this for", "no se", "call me maybe later on ok")
WAYS = ("ill", "prompt", "stops", "bursts", "late", "wrong", "silent", "returns", "redated")
ZONES = ("America/New_York", "America/Chicago", "America/Phoenix", "America/Los_Angeles")
NURSES = tuple((name, f"nurse-{place}") for place, name in enumerate(("Ortiz", "Lund", "Adeyemi")))
SURGEON = "Dr. Ana Quill"
STARTS = (time(7, 30), time(7, 30), time(13, 0), None)  # the last: entered later by the clinic
_AGREED = ("paper", "class", "")  # the last: asked by the first message
_HABITS = ("smoker", "drinks_alcohol", "breathing_machine", "pets")


@dataclass(slots=True)
class Person:
    """One invented patient. `way` is how they behave; `ill_on` the day of their alarm, if any."""

    place: int
    way: str
    language: str
    zone: str
    surgery_on: date
    starts_at: time | None
    ill_on: int | None
    facts: dict[str, FactValue] = field(default_factory=dict)
    written: int = 0

    @property
    def address(self) -> str:
        """Made up; goes nowhere."""
        return f"phone-{self.place}"

    @property
    def coach_address(self) -> str:
        """Of the support person, whom every third patient has."""
        return f"coach-{self.place}"

    @property
    def holds(self) -> tuple[MedicineHold, ...]:
        """Every fifth takes something that a prescriber stops six days ahead."""
        last = self.surgery_on - timedelta(days=6)
        stopped = MedicineHold("warfarin", last, "Dr. Ana Quill", "Last one in the evening.")
        return (stopped,) if self.place % 5 == 0 else ()

    def wish(self) -> Enrolment:
        """As the clinic enrols them."""
        joint, side = ("hip", "knee")[self.place % 2], ("left", "right")[self.place % 3 % 2]
        surgery = Surgery(joint, side, self.surgery_on, self.zone, self.starts_at)
        name = f"Patient Number{self.place}"
        return Enrolment(
            f"S-{self.place}", name, CHANNEL, self.address, surgery, SURGEON,
            language=self.language, facts=self.facts, holds=self.holds, coach=self._coach(),
            dawn_agreed=self.place % 4 == 1, agreed=_AGREED[self.place % 4 % 3],
        )  # fmt: skip

    def _coach(self) -> CoachWish | None:
        if self.place % 3:
            return None
        level = tuple(CopyLevel)[(self.place // 3 + 1) % 3]
        return CoachWish(f"Coach Number{self.place}", CHANNEL, self.coach_address, level)


def invent(place: int, start: datetime, days: int, dice: Dice) -> Person:
    """One patient, by the dice; the surgery lies within the run."""
    lead = dice.randrange(min(7, days), max(days - 2, 8))
    way = WAYS[place % len(WAYS)]
    ill = way == "ill" or (way not in ("stops", "silent") and dice.random() < 0.3)
    habits: dict[str, FactValue] = {name: True for name in _HABITS if dice.random() < 0.25}
    return Person(
        place=place,
        way=way,
        language="es" if dice.random() < 0.3 else "en",
        zone=dice.choice(ZONES),
        surgery_on=(start + timedelta(days=lead)).date(),
        starts_at=STARTS[place % len(STARTS)],
        ill_on=dice.randrange(2, max(days - 2, 3)) if ill else None,
        facts={"age": 55 + place % 35, **habits},
    )


def wait_minutes(person: Person, dice: Dice) -> int:
    """How long they take to answer."""
    if person.way == "late":
        return dice.randrange(60, 20 * 60)
    return dice.randrange(1, 30)


def answer(person: Person, got: Outgoing, dice: Dice) -> tuple[str, ...]:
    """What they write back to a message: nothing, one text, or several in a row."""
    if not got.choices or (person.way == "silent" and dice.random() < 0.8):
        return ()
    if person.way == "wrong" and dice.random() < 0.4:
        return (dice.choice(ODD),)
    told = got.choices[0] if dice.random() < 0.8 else dice.choice(got.choices)
    if person.way == "bursts":
        return (told, dice.choice(ODD), "ok")[: dice.randrange(1, 4)]
    return (told if dice.random() < 0.7 else str(got.choices.index(told) + 1),)


def coach_answer(got: Outgoing, dice: Dice) -> tuple[str, ...]:
    """What a support person writes back: most join, some help, one or the other leaves."""
    if got.key.startswith("invite."):
        return ("yes",) if dice.random() < 0.8 else ()
    if dice.random() < 0.02:
        return ("STOP",)
    return (got.choices[0],) if got.choices and dice.random() < 0.5 else ()
