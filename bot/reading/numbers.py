"""Reads numbers out of words: digits, "a hundred and one point two", "treinta y ocho y medio"."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bot.reading.phrases import Word, word_set

_POINT = word_set("point points punto coma comma con dot pt decimal poin ponto period")
_JOIN = word_set("and an n y i oh o")
_AFTER_READING = word_set(
    "f c degrees degree grados fahrenheit this tonight today so now again pm am help"
)
_DEGREES = word_set("degrees grados degree grado deg")
_TENTHS = word_set(  # the lines of a glass thermometer are tenths
    "tenths tenth decimas decima decimos decimo decimitas lineas linea lineitas rayas rayitas raya "
    "rayita lines line ticks notches marks"
)
_HALF = frozenset({"half", "medio", "media", "1/2"})
_ARTICLE = frozenset({"a", "un", "una"})
_HUNDRED = frozenset({"hundred", "cien", "ciento"})


@dataclass(frozen=True, slots=True)
class Number:
    """A number in words[start:end]. `decimal` when tenths were stated."""

    start: int
    end: int
    value: float
    decimal: bool
    spoken: bool = False


def find_numbers(words: Sequence[Word], named: Mapping[str, float]) -> list[Number]:
    """Every number in the reply, left to right. `named` gives the value of a number word."""
    found: list[Number] = []
    at = 0
    while at < len(words):
        text = words[at].text
        number = None
        if text[:1].isdigit():
            number = _one_oh(words, at) or _digits(words, at)
        elif text in named or text in _ARTICLE:
            number = _one_oh(words, at) or _digit_by_digit(words, at) or _spoken(words, at, named)
        if number is not None:
            found.append(number)
        at = number.end if number is not None else at + 1
    return found


def _digits(words: Sequence[Word], at: int) -> Number | None:
    text = words[at].text
    if ":" in text or "/" in text:
        return None
    if text.count(".") + text.count(",") > 1 or not text.isascii():
        return None
    whole, _, tenths = text.replace(",", ".").partition(".")
    if tenths and len(tenths) > 2:
        return Number(at, at + 1, float(whole + tenths), False)
    if tenths:
        return Number(at, at + 1, float(f"{whole}.{tenths}"), True)
    number = _with_tenths(words, at + 1, Number(at, at + 1, float(whole), False))
    return number if number.decimal else _apart(words, number)


def _apart(words: Sequence[Word], number: Number) -> Number:
    """ "98 6" and "98 and 6": the point lost, when nothing follows that could be counted."""
    if not (90 <= number.value <= 107 or 35 <= number.value <= 41):
        return number
    place = number.end
    joined = place < len(words) and words[place].text in _JOIN | _DEGREES
    place += 1 if joined else 0
    digit = _tenth(words[place].text) if place < len(words) else None
    after = words[place + 1] if place + 1 < len(words) else None
    lone = after is None or after.separates or after.text in _AFTER_READING
    if digit is None or not lone:
        return number
    if number.value == 100 and joined and words[place - 1].text not in _DEGREES:
        return Number(number.start, place + 1, 100.0 + digit, False)  # "100 and 1"
    return Number(number.start, place + 1, number.value + digit / 10, True)


def _with_tenths(words: Sequence[Word], place: int, number: Number) -> Number:
    """Adds "point 4", "y medio", "and a half" that may follow a whole number."""
    begin = place
    ahead = [w.text for w in words[place : place + 5]] + [""] * 5
    if ahead[0] in _DEGREES and (ahead[1] in _JOIN | _POINT or ahead[2] in _TENTHS):
        ahead, place = ahead[1:], place + 1  # "99 grados y medio", "38 grados 3 decimas"
    if ahead[0] in _JOIN and ahead[1] in _POINT:  # "one hundred and point five"
        ahead, place = ahead[1:], place + 1
    if ahead[0] in _JOIN | _POINT and ahead[2] in _TENTHS:
        ahead, place = ahead[1:], place + 1
    if ahead[1] in _TENTHS and (digit := _some_tenths(ahead[0])) is not None:
        return Number(number.start, place + 2, number.value + digit / 10, True, number.spoken)
    if ahead[0] in _POINT and (digit := _tenth(ahead[1])) is not None:
        return Number(number.start, place + 2, number.value + digit / 10, True, number.spoken)
    if ahead[0] in _POINT and ahead[1] in _HEARD and place == begin:
        tenths = _HEARD[ahead[1]] / 10
        return Number(number.start, place + 2, number.value + tenths, True, number.spoken)
    joined = 1 if ahead[0] in _JOIN else 0
    joined += 1 if ahead[joined] in _ARTICLE else 0
    if ahead[joined] in _HALF and (joined or ahead[0] == "1/2"):
        return Number(number.start, place + joined + 1, number.value + 0.5, True, number.spoken)
    return number


_HEARD = {"for": 4, "fore": 4, "to": 2, "too": 2, "tree": 3, "ate": 8, "won": 1, "nein": 9}


_ONES = {
    w: i
    for i, pair in enumerate(
        [
            "zero/oh/cero",
            "one/uno",
            "two/dos",
            "three/tres/tre",
            "four/cuatro/quatro",
            "five/cinco/sinco",
            "six/seis/sei/ceis/seiz/seys",
            "seven/siete/siet/ciete",
            "eight/ocho/hocho",
            "nine/nueve/nuebe",
        ]
    )
    for w in pair.split("/")
} | {"o": 0, "un": 1}


def _tenth(word: str) -> int | None:
    if len(word) == 1 and word.isdigit():
        return int(word)
    return _ONES.get(word)


def _some_tenths(word: str) -> int | None:
    return 1 if word in _ARTICLE else _tenth(word)


def _one_oh(words: Sequence[Word], at: int) -> Number | None:
    """ "one oh one" is 101."""
    if words[at].text not in ("one", "uno", "1"):
        return None
    said = [w.text for w in words[at : at + 3]]
    if len(said) == 3 and said[1] in ("oh", "o", "zero", "0", "cero"):
        digit = _tenth(said[2])
        if digit is not None:
            number = Number(at, at + 3, 100.0 + digit, False, True)
            return _with_lone_tenth(words, _with_tenths(words, at + 3, number))
    return None


def _with_lone_tenth(words: Sequence[Word], number: Number) -> Number:
    """ "one oh one three" is 101.3, when no more is said."""
    place = number.end
    digit = _ONES.get(words[place].text) if place < len(words) and not number.decimal else None
    after = words[place + 1] if place + 1 < len(words) else None
    if digit is None or not (after is None or after.separates):
        return number
    return Number(number.start, place + 1, number.value + digit / 10, True, True)


def _digit_by_digit(words: Sequence[Word], at: int) -> Number | None:
    """ "nine eight point six" is 98.6."""
    said = [w.text for w in words[at : at + 4]] + [""] * 4
    tens, ones = _ONES.get(said[0]), _ONES.get(said[1])
    if not tens or ones is None or said[2] not in _POINT or said[2] in ("con", "coma"):
        return None
    return _with_tenths(words, at + 2, Number(at, at + 2, 10.0 * tens + ones, False, True))


def _spoken(words: Sequence[Word], at: int, named: Mapping[str, float]) -> Number | None:
    first = words[at].text
    hundred_ahead = at + 1 < len(words) and words[at + 1].text in _HUNDRED
    if first not in named and not (first in _ARTICLE and hundred_ahead):
        return None
    place = at + 1 if first in _ARTICLE and hundred_ahead else at
    total, tens = 0.0, False
    while place < len(words) and not (total and _are_tenths(words, place)):
        value = named.get(words[place].text, _lone_digit(words[place].text, total))
        grown = _grow(total, value) if value is not None else None
        if value is None or grown is None:
            if place == at or not _joins(words, place, named):
                break
        else:
            total, tens = grown, tens or value >= 10
        place += 1
    return _close(words, at, place, total, named, tens)


def _are_tenths(words: Sequence[Word], place: int) -> bool:
    """True for the "ocho" of "cien ocho decimas"."""
    return place + 1 < len(words) and words[place + 1].text in _TENTHS


def _lone_digit(text: str, total: float) -> float | None:
    """The 2 of "ciento 2", the 1 of "ciento un grados"."""
    if total == 100 and text == "un":
        return 1.0
    return float(text) if total >= 100 and len(text) == 1 and text.isdigit() else None


def _grow(total: float, value: float) -> float | None:
    """The number with one more word: 90 and 8 make 98; 98 and 6 do not make a number."""
    if value == 100:
        return 100 * (total or 1)
    rest = total % 100
    if rest and (rest % 10 or value >= 10 or rest < 20):
        return None
    return total + value


def _joins(words: Sequence[Word], place: int, named: Mapping[str, float]) -> bool:
    tenths = place + 2 < len(words) and words[place + 2].text in _TENTHS  # "and seven tenths"
    return words[place].text in _JOIN and not tenths and _continues(words, place, named)


def _continues(words: Sequence[Word], place: int, named: Mapping[str, float]) -> bool:
    return place + 1 < len(words) and words[place + 1].text in named


def _close(
    words: Sequence[Word],
    at: int,
    place: int,
    total: float,
    named: Mapping[str, float],
    spoken_tens: bool,
) -> Number:
    """Ends a spoken number; "ninety eight six" and "thirty eight five" carry their tenths bare."""
    number = Number(at, place, total, False, True)
    with_tenths = _with_tenths(words, place, number)
    if with_tenths is not number or not spoken_tens or place >= len(words):
        return with_tenths
    last = place + 1 == len(words) or words[place + 1].separates
    digit = _tenth(words[place].text) if last else _ONES.get(words[place].text)
    if digit is not None and 30 <= total <= 110 and total % 10:
        return Number(at, place + 1, total + digit / 10, True, True)
    return number
