"""How a text travels as SMS: what it is folded to, its alphabet, and how many parts it takes.

Source: 3GPP TS 23.038 section 6.2.1 (alphabet, extension table) and TS 23.040 section 9.2.3.24.1
(6-octet header of a part in a long message): 140 octets carry 160 septets or 70 UCS-2 units; with
the header 153 or 67.
"""

import unicodedata
from dataclasses import dataclass
from enum import StrEnum

GSM_BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
GSM_EXTENSION = frozenset("\f^{}\\[~]|€")  # two septets each, never cut in half

# Word processors and phones put these in for plain signs; one of them would turn a message of 160
# characters into one of 70.
_PLAIN = {
    "\u2018": "'", "\u2019": "'", "\u201a": "'", "\u201b": "'", "\u2032": "'", "\u00b4": "'",
    "\u201c": '"', "\u201d": '"', "\u201e": '"', "\u201f": '"', "\u2033": '"',
    "\u00ab": '"', "\u00bb": '"', "\u2039": "'", "\u203a": "'",
    "\u2010": "-", "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-", "\u2015": "-",
    "\u2212": "-", "\u00ad": "", "\u2026": "...", "\u2022": "-", "\u00b7": "-", "\u2044": "/",
    "\u00a0": " ", "\u2002": " ", "\u2003": " ", "\u2007": " ", "\u2009": " ", "\u202f": " ",
    "\u200b": "", "\ufeff": "", "\u2060": "", "\t": " ", "\u2028": "\n", "\u2029": "\n",
}  # fmt: skip
_PLAIN_TABLE = str.maketrans(_PLAIN)


class Accents(StrEnum):
    """What becomes of letters such as á and í, which are not in the GSM alphabet."""

    KEEP = "keep"  # correct spelling; the message holds 70 characters a part
    FOLD = "fold"  # á becomes a: 160 a part; é, ñ, ü, ¿ and ¡ are in the alphabet and stay


class Alphabet(StrEnum):
    """The two codings that a phone network uses for text."""

    GSM7 = "gsm7"
    UCS2 = "ucs2"


@dataclass(frozen=True, slots=True)
class Segments:
    """What a text costs. `units` are septets (GSM-7) or 16-bit units (UCS-2), without headers."""

    alphabet: Alphabet
    units: int
    parts: int


def fold(text: str, accents: Accents = Accents.KEEP) -> str:
    """The text with typographic signs made plain and, if asked, foreign accents taken off.

    Only letters outside the GSM alphabet lose their accent, and only where the bare letter is in
    it: nothing is dropped. Line ends become a single line feed.
    """
    plain = unicodedata.normalize("NFC", text).replace("\r\n", "\n").translate(_PLAIN_TABLE)
    if accents is Accents.KEEP:
        return plain
    return "".join(_bare(character) for character in plain)


def _bare(character: str) -> str:
    if character in GSM_BASIC or character in GSM_EXTENSION:
        return character
    base = unicodedata.normalize("NFD", character)[0]
    return base if base in GSM_BASIC else character


def alphabet_of(text: str) -> Alphabet:
    """GSM-7 if every character is in its table or the extension table, else UCS-2."""
    fits = all(character in GSM_BASIC or character in GSM_EXTENSION for character in text)
    return Alphabet.GSM7 if fits else Alphabet.UCS2


def count(text: str) -> Segments:
    """How many parts the text takes as it stands (call `fold` first to see what will be sent)."""
    alphabet = alphabet_of(text)
    units = sum(_cost(character, alphabet) for character in text)
    return Segments(alphabet, units, len(split(text)))


def split(text: str) -> tuple[str, ...]:
    """The text cut into the parts that are sent; no character that takes two units is halved."""
    alphabet = alphabet_of(text)
    single, part = (160, 153) if alphabet is Alphabet.GSM7 else (70, 67)
    costs = [_cost(character, alphabet) for character in text]
    if sum(costs) <= single:
        return (text,)
    pieces, start, used = [], 0, 0
    for place, cost in enumerate(costs):
        if used + cost > part:
            pieces.append(text[start:place])
            start, used = place, 0
        used += cost
    return (*pieces, text[start:])


def _cost(character: str, alphabet: Alphabet) -> int:
    """Septets in GSM-7, 16-bit units in UCS-2."""
    wide = character in GSM_EXTENSION if alphabet is Alphabet.GSM7 else ord(character) > 0xFFFF
    return 2 if wide else 1


def sms_text(text: str, choices: tuple[str, ...] = (), accents: Accents = Accents.KEEP) -> str:
    """The text as it goes out by SMS: folded, choices as a numbered list to answer by number."""
    numbered = (f"{number} {label}" for number, label in enumerate(choices, start=1))
    return fold("\n".join((text, *numbered)), accents)
