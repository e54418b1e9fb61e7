"""The phrases of the lexicon: how they are written and how they are laid out as a tree.

A phrase is written the way an educator would say it, one a line:

    chest ... hurt*        `...` lets up to five other words stand between
    short of breath|air    `|` separates words that may stand in the same place
    feel [so|really] sick  `[ ]` may be left out
    cough*                 `*` stands for any ending
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product

GAP = "..."
GAP_WORDS = 5  # words that `...` may pass over
_ELEMENT = re.compile(r"\[[^\]]*\]|\S+")
_WORD = re.compile(r"[^\W_A-Z]+\*?\Z")


def word_set(text: str) -> frozenset[str]:
    """The words of `text`, written as one line to keep tables readable."""
    return frozenset(text.split())


class PhraseFault(ValueError):
    """A phrase that cannot be read. The message says how to mend it."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """One way to say one concept, e.g. ("symptom.fever", "burning up")."""

    concept: str
    text: str
    line: int = 0
    file: str = ""


@dataclass(slots=True, eq=False)
class Node:
    """A place in the phrase tree: where the next word may lead, and what ends here."""

    after: dict[str, "Node"] = field(default_factory=dict)
    gap: "Node | None" = None
    ahead: list["Node"] = field(
        default_factory=list
    )  # reached without a word: what may be left out
    concepts: tuple[str, ...] = ()
    negative: bool = False  # the phrase itself is built on a negation ("can't breathe")


@dataclass(frozen=True, slots=True, eq=False)
class Word:
    """One word of a reply as the lexicon sees it."""

    text: str
    slots: frozenset[str]  # places in phrases that this word can fill
    starts: tuple[Node, ...]  # phrases that this word can begin
    separates: bool = False  # punctuation: no phrase goes across


NEGATIVE_WORDS = word_set(
    "no not dont cant cannot couldnt cnt wont didnt doesnt isnt wasnt havent hasnt aint nothing "
    "never without hardly barely sin ni nada nunca tampoco ningun ninguna"
)

GAP_STOP = "~"  # a slot that no phrase has: words with it are never passed over by `...`
GAP_STOPS = word_set(
    "no not dont isnt arent aint wasnt doesnt didnt havent hasnt never sin ni nunca tampoco but "
    "pero except excepto aunque however"
)


Element = tuple[str, bool]  # a slot, and whether it may be left out


def elements(text: str) -> list[Element]:
    """The slots of a phrase in order. Raises PhraseFault with how to mend it."""
    found: list[Element] = []
    for element in _ELEMENT.findall(text):
        optional = element.startswith("[") and element.endswith("]")
        slot = element.strip("[]") if optional else element
        _check_slot(slot, text)
        found.append((slot, optional))
    first = next((slot for slot, optional in found if not optional), GAP)
    last = next((slot for slot, optional in reversed(found) if not optional), GAP)
    if GAP in (first, last) or GAP in (found[0][0], found[-1][0]):
        raise PhraseFault(f"'{text}' needs a word at both ends. Write e.g. 'chest ... hurt*'.")
    return found


def _check_slot(slot: str, text: str) -> None:
    bad = _no_word_in(slot)
    if bad is not None:
        raise PhraseFault(
            f"'{bad}' in '{text}' is not a word. Use lower-case letters without accents or "
            "apostrophes, `|` between words, and at least two letters before `*`."
        )


@lru_cache(maxsize=8192)
def _no_word_in(slot: str) -> str | None:
    """The first choice of a slot that is no word."""
    for choice in slot.split("|") if slot != GAP else ():
        if not _WORD.match(choice) or (choice.endswith("*") and len(choice) < 3):
            return choice
    return None


def apart_by_negation(text: str) -> Iterator[tuple[list[Element], bool]]:
    """The ways to say a phrase, "cant" told apart from "trouble", and whether each denies.

    "Can't breathe" is built on its negation, "trouble breathing" is not: only the second can be
    denied by a "no" before it.
    """
    for way in product(*(_ways(slot, optional) for slot, optional in elements(text))):
        yield [element for element, _ in way if element[0]], any(denies for _, denies in way)


@lru_cache(maxsize=16384)
def _ways(slot: str, optional: bool) -> tuple[tuple[Element, bool], ...]:
    """A slot without its negations, and with nothing but them."""
    denying, plain = _by_negation(slot)
    ways = [((plain, optional), False)] if plain or optional else []
    return (*ways, ((denying, False), True)) if denying else tuple(ways)


@lru_cache(maxsize=8192)
def _by_negation(slot: str) -> tuple[str, str]:
    choices = slot.split("|")
    denying = [choice for choice in choices if choice in NEGATIVE_WORDS]
    if not denying:
        return "", slot
    return "|".join(denying), "|".join(c for c in choices if c not in NEGATIVE_WORDS)
