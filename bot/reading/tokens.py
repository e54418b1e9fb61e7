"""Cuts a reply into plain tokens: lower case, no accents, no control signs, emoji as words."""

import re
import unicodedata

from bot.reading.lexicon import Lexicon, Word

_APOSTROPHES = re.compile("['’‘`´ʼ]")
_TOKEN = re.compile(r"\d+(?:[.,:/]\d+)*|[^\W\d_]+|[.!?;\n,:()%#]|(?<=\s)-+(?=\s)")
_HARD = frozenset(".!?;\n")
_SOFT = frozenset(",:()-")
STOP = Word(".", frozenset(), ())
COMMA = Word(",", frozenset(), ())
QUESTION = Word("?", frozenset(), ())


def plain(text: str, lexicon: Lexicon) -> str:
    """`text` in lower case, compatibility forms folded, accents and invisible signs dropped."""
    if text.isascii():
        return text.lower().replace("'", "").replace("`", "")
    text = _APOSTROPHES.sub("", text).replace("°", " degrees ").replace("º", " degrees ")
    text = unicodedata.normalize("NFKD", text.translate(lexicon.emoji)).casefold()
    return "".join(c for c in text if unicodedata.category(c) not in _DROPPED or c == "\n")


_DROPPED = frozenset({"Mn", "Cf", "Cc", "Co", "Cs"})


def tokens(text: str, lexicon: Lexicon) -> list[Word]:
    """The words of a plain text, with `.` `,` `?` kept as words that only separate."""
    found: list[Word] = []
    for token in _TOKEN.findall(text):
        if token == "?":
            found.append(QUESTION)
        elif token in _HARD:
            found.append(STOP)
        elif token in _SOFT or token[0] == "-":
            found.append(COMMA)
        else:
            found.extend(lexicon.words_of(token))
    return found


def separates(word: Word) -> bool:
    """True for a token that ends or divides a clause."""
    return word is STOP or word is COMMA or word is QUESTION
