"""Finds a body temperature in a reply and says whether it is a fever.

A reading is compared in the unit typed. Converting, rounding and then comparing would lift
100.3 F (37.94 C) to 38 C, and drop 100.0 F (37.78 C) below 37.8 C.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from bot.reading.numbers import Number
from bot.reading.phrases import Word, word_set
from bot.reading.reading import Asked, Temperature

# Outside these a reading is asked again: our choice, from physiology.
CELSIUS = (34.0, 42.0)
FAHRENHEIT = (93.2, 107.6)
COLD = 35.0  # degrees Celsius; below it a number is the weather's unless a temperature was asked
LONGEST_MENDING = 12  # words between a wrong reading and the right one
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
    "termometro reading fevers fevered"
)
_UNITS = {
    "f": "F", "fahrenheit": "F", "farenheit": "F", "fahrenhiet": "F", "farenheight": "F",
    "c": "C", "celsius": "C", "centigrade": "C", "centigrados": "C", "celcius": "C",
}  # fmt: skip
_DEGREES = frozenset(["degrees", "degree", "deg", "degs", "grados", "grado"])
_OTHER_AFTER = word_set(
    "mg mcg ml pills pill tablets tablet pounds pound lbs lb kilos kg years year yrs yr yo old am "
    "pm days day hours hour hrs minutes minute min mins times time miles mile percent dollars "
    "dollar bucks of out weeks week months month steps people feet inches oz ounces cups glasses "
    "anos dias horas hora minutos veces millas por ciento dolares semanas meses pastillas libras "
    "personas pasos vasos th st nd rd bpm points puntos de"
) | {"%"}
_OTHER_BEFORE = word_set(
    "room bus age aged at # page route apt apartment suite pain pressure bp pulse rate oxygen "
    "sats sugar glucose weight weigh weighs channel highway hwy interstate exit cuarto habitacion "
    "autobus edad dolor presion pulso oxigeno azucar peso pagina ruta born january february march "
    "april may june july august september october november december enero febrero marzo abril "
    "mayo junio julio agosto septiembre octubre noviembre diciembre took tome by before after "
    "chapter psalm salmo capitulo flight code codigo estacion station verse versiculo "
    "lived turned turns lives vivio cumplio cumple cumpli dollars "
    "bill cost costs total copay paid rent price cuenta pague costo "
    "until till las number numero street calle"
)
_OF_A_JOINT = word_set("flexion extension bend bends bending flex rom flexing dobla doblo")
_WHEN_TAKEN = word_set("at by before after till until took tome")
_OTHER_MEASURES = word_set(
    "glucosa frecuencia saturacion fc spo "
    "pressure bp pulse rate oxygen sats sat sugar glucose weight weigh weighs presion pulso "
    "oxigeno azucar peso outside afuera"
)
_SAID_AFTER = word_set(
    "degrees degree grados f c today tonight now this again still oral help hoy ahora ayuda please"
)
_MENDS = word_set(
    "sorry typo oops ooops whoops correction mean meant wait misread mistake mistyped scratch "
    "perdon digo corrijo correccion equivoque error espere espera"
)
_WRONG = word_set("wrong mal upside backwards reves")
_SAW = word_set("vi lei read saw looked mire fije holding agarre tome typed puse escribi")
_IS = word_set("es era son fue is was")
_ISNT = word_set("isnt wasnt not")
_ROUGHLY = word_set("almost nearly about casi")  # "casi treinta y nueve, 38,9 exacto"
_GOES_ON = word_set(
    "and but with n so i im my no y pero con since on at when last for feel feeling chills cough "
    "just right de desde en cuando que tengo me sin se toda todo this or o she he hes shes "
    "yesterday anoche ayer esta orally oral under all is"
)
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
    later = [*kept[1:], None] if kept else []
    return [m for m, n in zip(kept, later, strict=True) if not _mended(words, m, n)]


def _mended(words: Sequence[Word], measured: Measured, later: Measured | None) -> bool:
    """True for the first of "101.0 sorry typo 100.1"."""
    if later is None or later.temperature is None:
        return False
    if _is_not(words, measured):
        return True
    between = [w.text for w in words[measured.end : later.start]]
    if len(between) > LONGEST_MENDING:
        return False
    wrong = not _WRONG.isdisjoint(between) and not _SAW.isdisjoint(between)
    return wrong or not _MENDS.isdisjoint(between)


def _is_not(words: Sequence[Word], measured: Measured) -> bool:
    """True for the first of "no es 39, es 36.7" and of "almost 39, 38.9"."""
    two, one = [*([""] * 2), *(w.text for w in words[max(0, measured.start - 2) : measured.start])][
        -2:
    ]
    return one in _ISNT | _ROUGHLY or (two in ("no", "not") and one in _IS)


def _measure(words: Sequence[Word], number: Number, asked: Asked, count: int) -> Measured | None:
    unit, end = _unit_after(words, number.end)
    before = _before(words, number.start)
    if not _OF_A_JOINT.isdisjoint(before) or before[-1:] == ["dollars"]:
        return None  # "knee flexion 100 degrees", "$39.99"
    after = [w.text for w in words[end : end + 2]]
    cued = bool(unit) or end > number.end or any(w in _CUES for w in (*before, *after))
    value = number.value
    plausible = unit_of(value)
    clear = plausible and number.decimal and asked in (Asked.TEMPERATURE, Asked.SYMPTOM_CHECK)
    if asked is Asked.TEMPERATURE and plausible:
        before = [w for w in before if w not in _WHEN_TAKEN]
    if not cued and _other_quantity(words, number, before, strict=not clear):
        return None
    fits = plausible is not None and (
        number.decimal
        or asked is Asked.TEMPERATURE
        or (asked is Asked.SYMPTOM_CHECK and not _counts(words, number))
        or _bare(words, number)
    )
    if not cued and not fits:
        return _implausible(words, number) if asked is Asked.TEMPERATURE and count == 1 else None
    if plausible == "C" and value < COLD and not (asked is Asked.TEMPERATURE or _told(before)):
        return None  # "34 degrees this morning and windy"
    if plausible is None or (unit and unit != plausible):
        return _implausible(words, number) if cued and value > 20 else None
    bound = _bound(set(before[-2:]), set(before[-4:]))
    return Measured(number.start, end, Temperature(value, plausible), _text(words, number), bound)


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


def _other_quantity(
    words: Sequence[Word], number: Number, before: list[str], *, strict: bool
) -> bool:
    after = words[number.end].text if number.end < len(words) else ""
    ahead = words[number.end + 1].text if number.end + 1 < len(words) else ""
    pressure = after in ("over", "sobre") and ahead[:1].isdigit()
    if (after in _OTHER_AFTER and not (after == "yo" and number.decimal)) or pressure:
        return True
    if any(w in _OTHER_MEASURES for w in before[-4:]):
        return True
    return strict and any(w in _OTHER_BEFORE for w in before[-3:])


def _counts(words: Sequence[Word], number: Number) -> bool:
    """True for the 40 of "like 40 grit sandpaper": a whole number with a noun behind it."""
    if number.decimal or number.end >= len(words):
        return False
    after = words[number.end]
    return not after.separates and after.text not in _SAID_AFTER | _GOES_ON


def _bare(words: Sequence[Word], number: Number) -> bool:
    """True when the reply is little more than the number."""
    if len(words) > number.end - number.start + 4:
        return False
    rest = [w for w in (*words[: number.start], *words[number.end :]) if not w.separates]
    counted = any(not w.separates and w.text not in _SAID_AFTER for w in words[number.end :])
    return len(rest) <= 1 and not counted
