"""Invented patients and nurses: what they do when a phone rings."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from bot.channels.base import Outgoing
from bot.core.protocol import Surgery
from bot.service.enrolment import Enrolment
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


@dataclass(slots=True)
class Person:
    """One invented patient. `way` is how they behave."""

    place: int
    way: str
    language: str
    zone: str
    surgery_on: date
    written: int = 0
    ill_on: datetime | None = None

    @property
    def address(self) -> str:
        """Made up; goes nowhere."""
        return f"phone-{self.place}"

    def wish(self) -> Enrolment:
        """As the clinic enrols them."""
        joint, side = ("hip", "knee")[self.place % 2], ("left", "right")[self.place % 3 % 2]
        surgery = Surgery(joint, side, self.surgery_on, self.zone, time(7, 30))
        name = f"Patient Number{self.place}"
        return Enrolment(
            f"S-{self.place}", name, CHANNEL, self.address, surgery, SURGEON,
            language=self.language, facts={"age": 55 + self.place % 35},
        )  # fmt: skip


def invent(place: int, start: datetime, days: int, dice: Dice) -> Person:
    """One patient, by the dice; the surgery lies within the run."""
    lead = dice.randrange(min(7, days), max(days - 2, 8))
    return Person(
        place=place,
        way=WAYS[place % len(WAYS)],
        language="es" if dice.random() < 0.3 else "en",
        zone=dice.choice(ZONES),
        surgery_on=(start + timedelta(days=lead)).date(),
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
