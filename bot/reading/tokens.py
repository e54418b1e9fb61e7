"""Cuts a reply into plain tokens: lower case, no accents, no control signs, emoji as words."""

import re
import unicodedata

from bot.reading.dictation import written_as_signs
from bot.reading.lexicon import Lexicon
from bot.reading.phrases import Word

_APOSTROPHES = re.compile("['’‘`´ʼ]")
_TOKEN = re.compile(r"\d+(?:[.,:/]\d+)*|[^\W\d_]+|[.!?¿¡;\n,:()%#]|(?<=\s)-+(?=\s)")
_HARD = frozenset(".!?¿¡;\n")
_SOFT = frozenset(",:()-")
_SEPARATES = frozenset({"|"})  # a slot that no phrase has, so that no phrase goes on here
STOP = Word(".", _SEPARATES, (), separates=True)
COMMA = Word(",", _SEPARATES, (), separates=True)
QUESTION = Word("?", _SEPARATES, (), separates=True)


def plain(text: str, lexicon: Lexicon) -> str:
    """`text` in lower case, compatibility forms folded, accents and invisible signs dropped."""
    if "TIA" in text and not text.isupper():
        text = _TIA.sub("mini stroke", text)
    if text.isascii():
        return _joined(text.lower())
    text = _DEGREE_POINT.sub(".", _APOSTROPHES.sub("'", text))
    for sign, words in _SIGNS:
        text = text.replace(sign, words)
    text = unicodedata.normalize("NFKD", text.translate(lexicon.emoji)).casefold()
    return _joined("".join(c for c in text if unicodedata.category(c) not in _DROPPED or c == "\n"))


def _joined(text: str) -> str:
    """Contractions as one word without their apostrophe: "can not", "can't" -> "cannot", "cant"."""
    if "'" in text:
        text = _SHORT_YEAR.sub(_with_century, _DECIMAL_MARK.sub(".", text))
        text = text.replace("'ll ", " will ").replace("'", "")
    if "$" in text:
        text = text.replace("$", " dollars ")
    if "/" in text or "+" in text:
        text = _SHORTHAND.sub(_written_out, text)
    if "o2" in text or "o 2" in text:
        text = _OXYGEN.sub("oxygen", text)
    if _DIGIT.search(text):
        text = _LETTERS_FOR_DIGITS.sub(lambda found: found[0].translate(_AS_DIGITS), text)
        text = _SPACED_POINT.sub(r"\1.\2", text)
    text = _SPELLED_OUT.sub(_run_together, text)
    return _NOT.sub(_contract, text) if " not" in text else text


def _run_together(found: re.Match[str]) -> str:
    return found[0].replace(" ", "")


def _with_century(found: re.Match[str]) -> str:
    return ("19" if found[1] > "3" else "20") + found[1]


def _written_out(found: re.Match[str]) -> str:
    return f" {_NURSES_SIGNS[found[1]]} "


_TIA = re.compile(r"\bTIA\b")  # in small letters it is an aunt, "tía"
_NURSES_SIGNS = {  # how nurses shorten; common practice, no source
    "w/o": "without", "w/": "with", "c/o": "has", "s/p": "after", "h/o": "history of",
    "n/v/d": "nausea vomiting diarrhea", "n/v": "nausea vomiting", "r/o": "possible", "+": ". has",
}  # fmt: skip
_SHORTHAND = re.compile(r"(?<!\S)(w/o|w/|c/o|s/p|h/o|n/v/d|n/v|r/o|\+)(?=\s|[a-z])")
_SIGNS = (("·", "."), ("°", " degrees "), ("º", " degrees "), ("½", " 1/2 "))
_DEGREE_POINT = re.compile(r"(?<=\d\d)[°º](?=\d)")  # 36º9
_OXYGEN = re.compile(r"\b(?:sp)?o ?2\b")
_DECIMAL_MARK = re.compile(r"(?<=\d)'(?=\d)")  # 38'2
_SHORT_YEAR = re.compile(r"(?<!\S)'([0-9])(?=\d\b)")  # '98, '15
_AS_DIGITS = str.maketrans("oil", "011")
_LETTERS_FOR_DIGITS = re.compile(r"(?<![\w.])(?=[oil.,]*\d)[1il9][\doil]{2}(?:[.,][\do])?(?!\w)")
_SPACED_POINT = re.compile(r"\b(9\d|10\d|3[5-9]|4[01])(?: \.|\. | \. |\.\.+|[:;/*])(\d)\b")  # 98 .7
_DIGIT = re.compile(r"\d")
_SPELLED_OUT = re.compile(r"\b(?:[a-z] ){3,}[a-z]\b")  # f e v e r


def _contract(found: re.Match[str]) -> str:
    return _CONTRACTED[found[1]]


_CONTRACTED = {
    "can": "cannot",
    "do": "dont",
    "did": "didnt",
    "does": "doesnt",
    "have": "havent",
    "has": "hasnt",
    "had": "hadnt",
    "is": "isnt",
    "are": "arent",
    "was": "wasnt",
    "will": "wont",
    "could": "couldnt",
    "would": "wouldnt",
}
_NOT = re.compile(rf"\b({'|'.join(_CONTRACTED)}) not\b")


_DROPPED = frozenset({"Mn", "Cf", "Cc", "Co", "Cs"})


def tokens(text: str, lexicon: Lexicon) -> list[Word]:
    """The words of a plain text, with `.` `,` `?` kept as words that only separate."""
    found: list[Word] = []
    for sign in written_as_signs(_TOKEN.findall(text), lexicon.numbers):
        if sign.isalpha():  # nearly every one
            found.extend(lexicon.words_of(sign))
        elif sign == "?":
            _separate(found, QUESTION)
        elif sign in "¿¡" and found and found[-1] is COMMA:
            continue  # "si me resfrio, ¿se suspende?" is one sentence
        elif sign in _HARD:
            _separate(found, STOP)
        elif sign in _SOFT or sign[0] == "-":
            _separate(found, COMMA)
        else:
            found.extend(lexicon.words_of(sign))
    return found


def _separate(found: list[Word], sign: Word) -> None:
    """Adds a separator; of several in a row the strongest stays, a question mark above all."""
    if not found or not found[-1].separates:
        found.append(sign)
    elif found[-1] is not QUESTION and sign is not COMMA:
        found[-1] = sign
