"""Tells the signs that a dictating phone wrote out as words: "comma", "punto", "question mark".

Such a word is a sign only where it cannot be a word of the sentence: the comma of "no fever comma",
not the point of "98 punto 6" nor the coma of "in a coma".
"""

from collections.abc import Mapping, Sequence

from bot.reading.phrases import word_set

_SIGNS = {
    "comma": ",", "coma": ",", "semicolon": ";", "period": ".", "punto": ".",
    "exclamation": ".", "exclamacion": ".", "admiracion": ".", "question": "?",
    "interrogacion": "?", "newline": ".",
}  # fmt: skip
_TAILS = word_set("mark point marks")  # "question mark"
_HEADS = word_set("signo signos de punto full")  # "signo de interrogacion"
_NEED_TAIL = word_set("question exclamation")
_NEED_HEAD = word_set("interrogacion exclamacion admiracion")
_WORD_AFTER = {  # the sign is a word of the sentence after these
    "coma": word_set("en un una el la del al que se lo a in into diabetic diabetico this her his"),
    "punto": word_set("en a al un el del este ese de los que cada algun mi"),
    "period": word_set(
        "my a the your her this that of each every long short trial grace same time wait waiting "
        "free recovery late last heavy"
    ),
}
_WORD_BEFORE = {
    "punto": word_set("de que donde com"),
    "period": word_set("of started is was pains cramps came ended blood"),
}
_NUMBER = word_set(
    "cero uno dos tres cuatro cinco seis siete ocho nueve un zero one two three four five six "
    "seven eight nine oh o"
)
_SEND = word_set("send enviar envia")


def written_as_signs(words: Sequence[str], named: Mapping[str, float]) -> list[str]:
    """`words` with each dictated sign as the sign itself; `named`: words that are numbers."""
    if _SIGNS.keys().isdisjoint(words):
        return list(words)
    found: list[str] = []
    for at, word in enumerate(words):
        if word in _SIGNS and _is_sign(words, at, named):
            _drop_heads(found, word)
            found.append(_SIGNS[word])
        elif not _is_tail(words, at) and not _sends(words, at):
            found.append(word)
    return found


def _is_sign(words: Sequence[str], at: int, named: Mapping[str, float]) -> bool:
    word = words[at]
    before = words[at - 1] if at else ""
    after = words[at + 1] if at + 1 < len(words) else ""
    if word in _NEED_TAIL:
        return after in _TAILS
    if word in _NEED_HEAD:
        return before == "de" and at > 1 and words[at - 2] in _HEADS
    if (before[:1].isdigit() or before in named) and (after[:1].isdigit() or after in _NUMBER):
        return False  # "treinta y seis coma ocho"
    if word == "coma" and before == "no":
        return at == 1 or words[at - 2] not in ("que", "si")  # not "que no coma nada"
    return before not in _WORD_AFTER.get(word, ()) and after not in _WORD_BEFORE.get(word, ())


def _drop_heads(found: list[str], word: str) -> None:
    """Takes back the "signo de" of "signo de interrogacion"."""
    while word in _NEED_HEAD and found and found[-1] in _HEADS:
        found.pop()


def _is_tail(words: Sequence[str], at: int) -> bool:
    """True for the "mark" of "question mark"."""
    return at > 0 and words[at] in _TAILS and words[at - 1] in _NEED_TAIL


def _sends(words: Sequence[str], at: int) -> bool:
    """True for the "send" that ends a dictated message: an order to the phone."""
    return at > 0 and at + 1 == len(words) and words[at] in _SEND and words[at - 1] in _SIGNS
