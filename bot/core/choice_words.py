"""Choices understood in words: "booked for Thursday" where "I have a date" is offered.

Three things name a choice: the further words that the talk lists for it, its key, and its label.
Only one choice may be named, and never through a negation, a "but", or a condition: "not booked"
and "booked, but they cancelled" name nothing.
"""

import unicodedata
from collections.abc import Iterable, Iterator
from functools import lru_cache

from bot.core.flow import Flow, State
from bot.core.protocol import Priority
from bot.reading.phrases import word_set
from bot.reading.reading import Act, Asked

LONGEST = 10  # words; a longer message says more than a choice (our choice)
_ACTS = frozenset(act.value for act in Act)
_TURNS = word_set(
    "not no never nor dont didnt cant cannot couldnt havent hasnt hadnt isnt wasnt wont wouldnt "
    "without but except if unless until nobody none neither "
    "nunca tampoco ni sin pero aunque menos nadie ninguno ninguna"
)
_IDLE = word_set(
    "a an the i im ive me my we it its is am are was be to of in on at for and or so do did done "
    "have has had got get this that there here some something one all yes no ok other any will "
    "thing things can need please "
    "un una el la los las yo lo le se es soy esta estoy de del en a al y o que con por para si "
    "tengo tiene he ha hay todo toda ya algo otra otro mi me puedo"
)
_ASKED_WITH_CARE = frozenset({Asked.SYMPTOM_CHECK, Asked.MEDICINE_STOP, Asked.TEMPERATURE})


def named_choice(flow: Flow, state: State, said: str) -> str | None:
    """The one choice that these words name; None for none, for two, and in doubt.

    `said` is plain text (no case, accents or signs). Safety questions know only their synonyms.
    """
    words = said.split()
    if not words or len(words) > LONGEST or not state.choices:
        return None
    by_phrase = _best(words, [(key, list(_phrases(flow, state, key))) for key in state.choices])
    if by_phrase is not None:
        return by_phrase
    if not _is_plain_matter(flow, state) or _TURNS & set(words):
        return None
    return _by_label(flow, state, words)


def _is_plain_matter(flow: Flow, state: State) -> bool:
    careful = state.asked in _ASKED_WITH_CARE or state.asked is Asked.WASH
    return flow.priority is not Priority.SAFETY and not careful


def _phrases(flow: Flow, state: State, key: str) -> Iterator[list[str]]:
    for phrases in flow.words.get(key, {}).values():
        yield from (phrase.split() for phrase in phrases)
    if _is_plain_matter(flow, state) and key not in _ACTS and key.replace("_", " ") not in _IDLE:
        yield key.split("_")


def _best(words: list[str], named: Iterable[tuple[str, list[list[str]]]]) -> str | None:
    """The choice with the longest phrase in the words, if no other choice stands beside it."""
    spans = [
        (at, at + len(phrase), key)
        for key, phrases in named
        for phrase in phrases
        for at in range(len(words) - len(phrase) + 1)
        if words[at : at + len(phrase)] == phrase
    ]
    if not spans:
        return None
    start, end, key = max(spans, key=lambda span: span[1] - span[0])
    beside = any(k != key and not (start <= s and e <= end) for s, e, k in spans)
    turned = _TURNS & {*words[:start], *words[end:]}
    return None if beside or turned else key


def _by_label(flow: Flow, state: State, words: list[str]) -> str | None:
    """The choice whose label holds every telling word that was written, if it is the only one."""
    labels = {key: _telling(flow.labels.get(key, {}).values()) for key in state.choices}
    said = {word for word in words if word not in _IDLE}
    hits = [key for key, telling in labels.items() if said & telling]
    return hits[0] if len(hits) == 1 and said <= labels[hits[0]] else None


def _telling(labels: Iterable[str]) -> set[str]:
    return {w for text in labels for w in plain(text).split() if w not in _IDLE | _TURNS}


@lru_cache(maxsize=4096)
def plain(text: str) -> str:
    """Text without case, accents, or signs around it, for comparing with a label."""
    folded = unicodedata.normalize("NFKD", text.casefold().replace("'", "").replace("\u2019", ""))
    letters = "".join(c if c.isalnum() else " " for c in folded if not unicodedata.combining(c))
    return " ".join(letters.split())
