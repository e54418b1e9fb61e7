"""Finds a body temperature in a reply and says whether it is a fever.

A reading is compared in the unit typed. Converting, rounding and then comparing would lift
100.3 F (37.94 C) to 38 C, and drop 100.0 F (37.78 C) below 37.8 C.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from bot.reading.mending import is_mended, is_rejected
from bot.reading.numbers import Number
from bot.reading.phrases import Word, word_set
from bot.reading.quantities import (
    WHEN_TAKEN,
    counts,
    is_bare,
    never_of_a_body,
    other_quantity,
    stands_alone,
    told_by_measuring,
    with_point,
)
from bot.reading.reading import Asked, Temperature

# Outside these a reading is asked again: our choice, from physiology.
CELSIUS = (34.0, 42.0)
FAHRENHEIT = (93.2, 107.6)
COLD = 35.0  # degrees Celsius; below it a number is the weather's unless a temperature was asked
LOOK_BEHIND = 6  # words before a number that can tell what it measures


@dataclass(frozen=True, slots=True)
class Thresholds:
    """From where a temperature is a fever. Default: 38.0 C or 100.4 F, at or above.

    Source: CDC, definitions of signs and symptoms for reportable illness (from memory).
    """

    fever_c: float = 38.0
    fever_f: float = 100.4

    def is_fever(self, temperature: Temperature) -> bool:
        """True at or above the threshold of the unit typed."""
        limit = self.fever_c if temperature.unit == "C" else self.fever_f
        return temperature.value >= limit


@dataclass(frozen=True, slots=True)
class Measured:
    """A temperature found in words[start:end], or a number that cannot be one."""

    start: int
    end: int
    temperature: Temperature | None
    typed: str
    bound: str = ""  # "over" or "under" when the number is a limit, not a reading


_CUES = word_set(
    "temp temps tmp temperature temperatures temperatura fever fiebre calentura thermometer "
    "termometro reading fevers fevered aparato aparatito pistola pistolita marca marco marcaba"
)
_I_STAND = word_set("estoy ando amaneci sigo esta anda amanecio sigue estuve")
_UNITS = {
    "f": "F", "fahrenheit": "F", "farenheit": "F", "fahrenhiet": "F", "farenheight": "F",
    "c": "C", "celsius": "C", "centigrade": "C", "centigrados": "C", "celcius": "C",
}  # fmt: skip
_DEGREES = frozenset(["degrees", "degree", "deg", "degs", "grados", "grado"])
_OVER = word_set("over above exceeds mas arriba sobre exceeding past")
_DENIES = word_set("no not never nunca didnt doesnt hasnt havent isnt wasnt wont hadnt")
_REACHES = word_set("reach reached reaches hit hits llega llego pasa paso pasado went gone go goes")
_UNDER = frozenset(["under", "below", "less", "menos", "debajo", "abajo"])


def find_temperatures(
    words: Sequence[Word], numbers: Sequence[Number], asked: Asked
) -> list[Measured]:
    """Every temperature in the reply, left to right."""
    found = [_measure(words, number, asked, len(numbers)) for number in numbers]
    kept = [m for m in found if m is not None]
    kept = [m for m in kept if m is kept[0] or not is_rejected(words, m.start)]
    later = [*kept[1:], None] if kept else []
    return [
        m
        for m, n in zip(kept, later, strict=True)
        if n is None or n.temperature is None or not is_mended(words, (m.start, m.end), n.start)
    ]


def _measure(words: Sequence[Word], number: Number, asked: Asked, count: int) -> Measured | None:
    unit, end = _unit_after(words, number.end)
    before = _before(words, number.start)
    after = [w.text for w in words[end : end + 2]]
    cued = bool(unit) or end > number.end or _is_cued(before, after)
    number = with_point(words, number, cued=cued or asked is Asked.TEMPERATURE)
    value = number.value
    plausible = unit_of(value)
    clear = plausible and number.decimal and asked in (Asked.TEMPERATURE, Asked.SYMPTOM_CHECK)
    if never_of_a_body(words, number, before):
        return None
    if asked is Asked.TEMPERATURE and plausible:
        before = [w for w in before if w not in WHEN_TAKEN]
    if not cued and other_quantity(words, number, before, strict=not clear):
        return None
    if not cued and not (plausible and _fits(words, number, asked)):
        return _implausible(words, number) if asked is Asked.TEMPERATURE and count == 1 else None
    if plausible == "C" and value < COLD and not (asked is Asked.TEMPERATURE or _told(before)):
        return None  # "34 degrees this morning and windy"
    if plausible is None or (unit and unit != plausible):
        return _implausible(words, number) if cued and value > 20 else None
    bound = _bound(set(before[-2:]), set(before[-4:]))
    return Measured(number.start, end, Temperature(value, plausible), _text(words, number), bound)


def _is_cued(before: list[str], after: list[str]) -> bool:
    """True beside "fever" or a thermometer, and in "estoy con 39"."""
    if after == ["sale", "en"]:
        return True  # "385 sale en el aparato"
    if before[-1:] == ["con"] and before[-2:-1] and before[-2] in _I_STAND:
        return True
    return any(w in _CUES for w in (*before, *after))


def _fits(words: Sequence[Word], number: Number, asked: Asked) -> bool:
    """True when a plausible number without any word for a temperature is taken for one."""
    return (
        number.decimal
        or asked is Asked.TEMPERATURE
        or (asked is Asked.SYMPTOM_CHECK and not counts(words, number))
        or is_bare(words, number)
        or told_by_measuring(words, number)
        or stands_alone(words, number)
    )


def _told(before: list[str]) -> bool:
    return any(w in _CUES for w in before)


def _bound(near: set[str], before: set[str]) -> str:
    """ "over" for "over 100", "under" for "under 100" and for "never got above 100"."""
    if near & _UNDER or (before & _DENIES and before & (_REACHES | _OVER)):
        return "under"
    return "over" if near & _OVER else ""


def unit_of(value: float) -> str | None:
    """The unit a value is plausible in, or None."""
    if CELSIUS[0] <= value <= CELSIUS[1]:
        return "C"
    return "F" if FAHRENHEIT[0] <= value <= FAHRENHEIT[1] else None


def _implausible(words: Sequence[Word], number: Number) -> Measured:
    return Measured(number.start, number.end, None, _text(words, number))


def _text(words: Sequence[Word], number: Number) -> str:
    return " ".join(w.text for w in words[number.start : number.end])


def _unit_after(words: Sequence[Word], place: int) -> tuple[str, int]:
    """The unit named after a number, and where it ends; "degrees" alone names none."""
    end = place
    if end < len(words) and words[end].text in _DEGREES:
        end += 1
    if end < len(words) and words[end].text in _UNITS:
        return _UNITS[words[end].text], end + 1
    return "", end


def _before(words: Sequence[Word], place: int) -> list[str]:
    return [w.text for w in words[max(0, place - LOOK_BEHIND) : place]]
