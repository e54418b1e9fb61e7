"""Tells what a number counts or measures other than a body: pills, a pulse, a price, a room."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from bot.reading.numbers import Number
from bot.reading.phrases import Word, word_set

_OTHER_AFTER = word_set(
    "mg mcg ml pills pill tablets tablet pounds pound lbs lb kilos kg years year yrs yr yo old am "
    "pm days day hours hour hrs minutes minute min mins times time miles mile percent dollars "
    "dollar bucks of out weeks week months month steps people feet inches oz ounces cups glasses "
    "anos dias horas hora minutos veces millas por ciento dolares semanas meses pastillas libras "
    "personas pasos vasos th st nd rd bpm points puntos de "
    "messages message texts mensajes mensaje llamadas calls cents"
) | {"%"}
_OTHER_BEFORE = word_set(
    "room bus age aged at # page route apt apartment suite pain pressure bp pulse rate oxygen "
    "sats sugar glucose weight weigh weighs channel highway hwy interstate exit cuarto habitacion "
    "autobus edad dolor presion pulso oxigeno azucar peso pagina ruta born january february march "
    "april may june july august september october november december enero febrero marzo abril "
    "mayo junio julio agosto septiembre octubre noviembre diciembre took tome by before after "
    "chapter psalm salmo capitulo flight code codigo estacion station verse versiculo "
    "oven horno van llevo lived turned turns lives vivio cumplio cumple cumpli dollars "
    "bill cost costs total copay paid rent price cuenta pague costo "
    "until till las number numero street calle"
)
_OF_A_JOINT = word_set("flexion extension bend bends bending flex rom flexing dobla doblo")
WHEN_TAKEN = word_set("at by before after till until took tome")
_OTHER_MEASURES = word_set(
    "glucosa frecuencia saturacion fc spo "
    "pressure bp pulse rate oxygen sats sat sugar glucose weight weigh weighs presion pulso "
    "oxigeno azucar peso outside afuera paid cost costs costo pague precio price "
    "room cuarto"
)
_SAID_AFTER = word_set(
    "degrees degree grados f c today tonight now this again still oral help hoy ahora ayuda please "
    "justos exactos pelado pelao pelados clavados clavado cerrados flat even exactly exact exacto "
    "exactamente llamenme"
)
_GOES_ON = word_set(
    "and but with n so i im my no y pero con since on at when last for feel feeling chills cough "
    "just right de desde en cuando que tengo me sin se toda todo this or o she he hes shes "
    "yesterday anoche ayer esta orally oral under all is"
)
_AT_AGE = frozenset({"since i was", "when i was", "since he was", "since she was"})
_WARM = word_set("jacuzzi alberca piscina tina pool tub sauna oven horno")
_MEASURED_AT = word_set("oido frente axila boca lengua recto fiebre temperatura calentura los las")
_POINTLESS = ((340, 420), (940, 1076))  # 386 is 38.6 C, 986 is 98.6 F


def with_point(words: Sequence[Word], number: Number, *, cued: bool) -> Number:
    """`number`, or 38.6 for a "386" typed where a temperature is told."""
    typed = words[number.start].text
    if not cued or number.end - number.start > 1 or number.decimal or not typed.isdigit():
        return number
    if any(low <= number.value <= high for low, high in _POINTLESS):
        return replace(number, value=number.value / 10, decimal=True)
    return number


def never_of_a_body(words: Sequence[Word], number: Number, before: Sequence[str]) -> bool:
    """True for "knee flexion 100 degrees", "$39.99" and what is only asked about."""
    if (
        not _OF_A_JOINT.isdisjoint(before)
        or not _WARM.isdisjoint(before)
        or list(before[-1:]) == ["dollars"]
        or " ".join(before[-3:]) in _AT_AGE
        or _is_year(words, number, before)
    ):
        return True
    return is_asked_about(words, number)


def _is_year(words: Sequence[Word], number: Number, before: Sequence[str]) -> bool:
    """True for the 98 of "had pneumonia in 98" and of "en el 98 me operaron"."""
    after = words[number.end].text if number.end < len(words) else ""
    if number.decimal or number.spoken or not 20 <= number.value <= 99 or after in _NO_YEAR:
        return False
    near = ["", "", *before][-2:]
    if near in (["en", "el"], ["desde", "el"]):
        return True
    return near[1] in ("in", "en") and near[0] not in _READS and number.value > HOTTEST


HOTTEST = 42  # degrees Celsius; "esta en 37" is a temperature
_NO_YEAR = word_set("degrees degree grados grado f c point punto s range con coma")
_READS = word_set("esta anda estoy quedo sigue bajo subio marca salio is was im its at amanecio")


def is_asked_about(words: Sequence[Word], number: Number) -> bool:
    """True for the 101 of "how high is too high, 101?" and "es fiebre a partir de 38?"."""
    begin = _sentence_start(words, number.start)
    if begin == number.start:
        return False  # "101, is that too high?"
    before = {w.text for w in words[begin : number.start]}
    rest = [w for w in words[number.end : number.end + LONGEST_QUESTION]]
    end = next((i for i, w in enumerate(rest) if w.separates and w.text != ","), len(rest))
    said = before | {w.text for w in rest[:end]}
    asked = end < len(rest) and rest[end].text == "?"
    if not before.isdisjoint(_CLAIMS):
        return False
    if not asked:
        return False
    where = words[begin].text in ("is", "es") and not said.isdisjoint(_WHERE)
    return where or not before.isdisjoint(_LIMITS)


LONGEST_QUESTION = 14  # words
_CLAIMS = word_set(
    "my mine i have got had me mi tengo tuve estoy marca marco salio dio amaneci amanecio his her"
)
_LIMITS = word_set(
    "cuanta llamo call considered considera cuenta counts count partir considerado much mucho "
    "demasiado cutoff limit limite too"
)
_WHERE = word_set("where when cuando desde")


def _sentence_start(words: Sequence[Word], at: int) -> int:
    lowest = max(0, at - LONGEST_QUESTION)
    while at > lowest and not (words[at - 1].separates and words[at - 1].text != ","):
        at -= 1
    return at


def stands_alone(words: Sequence[Word], number: Number) -> bool:
    """True for the number of "ciento dos! llamenme" and "a hundred and two just now, ..."."""
    if not number.spoken:
        return False
    end = number.end
    while end < len(words) and words[end].text in _SAID_AFTER | _JUST:
        end += 1
    opens = number.start == 0 or words[number.start - 1].text in (".", "?")
    closes = end == len(words) or words[end].separates
    last = end == len(words) and words[number.start - 1].separates
    return closes and (opens or last)


_JUST = word_set("just right este esta morning manana")


def _is_no_unit(number: Number, after: str, ahead: str) -> bool:
    """True for the words behind "36.4 yo", "39,1 de oido" and "36 y medio por favor"."""
    if after == "de":
        return number.decimal or ahead in _MEASURED_AT
    return (after == "yo" and number.decimal) or (after == "por" and ahead != "ciento")


def other_quantity(
    words: Sequence[Word], number: Number, before: list[str], *, strict: bool
) -> bool:
    after = words[number.end].text if number.end < len(words) else ""
    ahead = words[number.end + 1].text if number.end + 1 < len(words) else ""
    pressure = after in ("over", "sobre") and ahead[:1].isdigit()
    measure = after in _OTHER_AFTER and not _is_no_unit(number, after, ahead)
    if measure or pressure:
        return True
    if any(w in _OTHER_MEASURES for w in before[-4:]):
        return True
    return strict and any(w in _OTHER_BEFORE for w in before[-3:])


def counts(words: Sequence[Word], number: Number) -> bool:
    """True for the 40 of "like 40 grit sandpaper": a whole number with a noun behind it."""
    if number.decimal or number.end >= len(words):
        return False
    after = words[number.end]
    return not after.separates and after.text not in _SAID_AFTER | _GOES_ON


def is_bare(words: Sequence[Word], number: Number) -> bool:
    """True when the reply is little more than the number."""
    if len(words) > number.end - number.start + 4:
        return False
    rest = [w for w in (*words[: number.start], *words[number.end :]) if not w.separates]
    counted = any(not w.separates and w.text not in _SAID_AFTER for w in words[number.end :])
    return len(rest) <= 1 and not counted


def told_by_measuring(words: Sequence[Word], number: Number) -> bool:
    """True for the 101 of "just checked myself, 101, thought you should know"."""
    opens = number.start > 1 and words[number.start - 1].separates
    after = words[number.end].text if number.end < len(words) else ""
    closes = number.end == len(words) or words[number.end].separates or after in _SAID_AGAIN
    back = [w.text for w in words[max(0, number.start - LONGEST_MEASURING) : number.start]]
    pairs = set(pairwise(back))
    return opens and closes and not pairs.isdisjoint(_MEASURED)


LONGEST_MEASURING = 8  # words
_SAID_AGAIN = word_set("both again twice las the")
_MEASURED = frozenset(
    tuple(pair.split())
    for pair in (
        "checked myself", "took it", "tested myself", "checked twice", "took mine", "de tomar",
        "de medir", "acabo medir", "me medi", "me tome", "took myself", "checked again",
    )
)  # fmt: skip
