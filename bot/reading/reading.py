"""What a reply was understood to mean: the one value that the reader hands to the dialogue."""

from dataclasses import dataclass
from enum import StrEnum


class Asked(StrEnum):
    """What kind of question was open when the reply came."""

    SYMPTOM_CHECK = "symptom_check"
    WASH = "wash"
    YES_NO = "yes_no"
    MEDICINE_STOP = "medicine_stop"
    TEMPERATURE = "temperature"
    CHOICE = "choice"
    NONE = "none"


class Act(StrEnum):
    """What the writer is doing with this message."""

    ALL_CLEAR = "all_clear"
    SYMPTOM = "symptom"
    EMERGENCY = "emergency"
    SELF_HARM = "self_harm"
    DONE = "done"
    NOT_DONE = "not_done"
    AFFIRM = "affirm"
    DENY = "deny"
    QUESTION = "question"
    OPT_OUT = "opt_out"
    OPT_IN = "opt_in"
    HELP = "help"
    WRONG_NUMBER = "wrong_number"
    RESCHEDULE = "reschedule"
    EXPOSURE = "exposure"
    NUMBER = "number"
    CHOICE = "choice"
    UNCLEAR = "unclear"


class Symptom(StrEnum):
    """Symptoms that the reader can recognise."""

    FEVER = "fever"
    COUGH = "cough"
    RASH = "rash"
    UNWELL = "unwell"
    BREATHING = "breathing"
    CHEST_PAIN = "chest_pain"
    VOMITING = "vomiting"
    DIARRHEA = "diarrhea"
    SORE_THROAT = "sore_throat"
    CONGESTION = "congestion"
    URINARY = "urinary"
    SKIN_WOUND = "skin_wound"
    DENTAL = "dental"
    FALL = "fall"
    LEG_SWELLING = "leg_swelling"


@dataclass(frozen=True, slots=True)
class Temperature:
    """A body temperature as typed. Compare it in the unit typed, never after converting."""

    value: float
    unit: str  # "C" or "F"

    @property
    def celsius(self) -> float:
        """The value in degrees Celsius, rounded to two decimals (C = (F - 32) x 5 / 9)."""
        return self.value if self.unit == "C" else round((self.value - 32) * 5 / 9, 2)


@dataclass(frozen=True, slots=True)
class Reading:
    """One message, understood.

    `act` is the foremost meaning; `also` holds further acts found in the same message, so that
    "STOP, I have chest pain" both ends the messages and raises the alarm. `because` quotes the
    words that made the reading. `alert` means a careful nurse would want to know today.
    """

    act: Act
    symptoms: tuple[Symptom, ...] = ()
    temperature: Temperature | None = None
    choices: tuple[int, ...] = ()
    alert: bool = False
    because: tuple[str, ...] = ()
    also: tuple[Act, ...] = ()

    def says(self, act: Act) -> bool:
        """True when the message does `act`, foremost or beside something else."""
        return act == self.act or act in self.also
