"""The words the reader knows, compiled once so that a reply costs microseconds.

A phrase is written the way an educator would say it, one a line:

    chest ... hurt*        `...` lets up to three other words stand between
    short of breath|air    `|` separates words that may stand in the same place
    feel [so|really] sick  `[ ]` may be left out
    cough*                 `*` stands for any ending
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product

from bot.reading.spelling import Spelling, collapse_repeats

GAP = "..."
GAP_WORDS = 3
_ELEMENT = re.compile(r"\[[^\]]*\]|\S+")
_WORD = re.compile(r"[^\W_]+\*?\Z")


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
    concepts: tuple[str, ...] = ()
    negative: bool = False  # the phrase itself is built on a negation ("can't breathe")


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a reply as the lexicon sees it."""

    text: str
    slots: frozenset[str]  # places in phrases that this word can fill
    starts: tuple[Node, ...]  # phrases that this word can begin


class Lexicon:
    """Every phrase, spelling and sign the reader knows. Built once, then only looked up."""

    def __init__(
        self,
        phrases: Sequence[Phrase],
        *,
        emoji: Mapping[str, str],
        numbers: Mapping[str, float],
        common_words: frozenset[str],
    ) -> None:
        self.phrases = tuple(phrases)
        self.emoji = {ord(sign): f" {words} " for sign, words in emoji.items()}
        self.numbers = dict(numbers)
        self._root = Node()
        self._exact: dict[str, set[str]] = {}
        self._prefixes: dict[str, set[str]] = {}
        for phrase in self.phrases:
            self._add(phrase)
        self.spelling = Spelling(
            targets=_spelling_targets(self.phrases),
            known=common_words | self._exact.keys() | self.numbers.keys(),
        )
        self.word = lru_cache(maxsize=100_000)(self._word)
        self.words_of = lru_cache(maxsize=100_000)(self._words_of)

    def _add(self, phrase: Phrase) -> None:
        for slots in parse_phrase(phrase.text):
            node = self._root
            for slot in slots:
                node = self._step(node, slot)
            if phrase.concept not in node.concepts:
                node.concepts += (phrase.concept,)
            node.negative = node.negative or bool(NEGATIVE_WORDS & set("|".join(slots).split("|")))

    def _step(self, node: Node, slot: str) -> Node:
        if slot == GAP:
            node.gap = node.gap or Node()
            return node.gap
        for choice in slot.split("|"):
            table = self._prefixes if choice.endswith("*") else self._exact
            table.setdefault(choice.rstrip("*"), set()).add(slot)
        return node.after.setdefault(slot, Node())

    def _word(self, text: str) -> Word:
        slots = set(self._exact.get(text, ()))
        for cut in range(2, len(text) + 1):
            slots |= self._prefixes.get(text[:cut], set())
        after = self._root.after
        starts = tuple(after[slot] for slot in sorted(slots) if slot in after)
        return Word(text, frozenset(slots), starts)

    def _knows(self, text: str) -> bool:
        return (
            text in self._exact
            or text in self.numbers
            or any(text[:cut] in self._prefixes for cut in range(2, len(text) + 1))
        )

    def _words_of(self, token: str) -> tuple[Word, ...]:
        """The known words behind one typed token: itself, its right spelling, or two run together."""
        token = token.strip("'")
        if self._knows(token) or not token.isalpha():
            return (self.word(token),)
        short = collapse_repeats(token)
        for candidate in short:
            if self._knows(candidate):
                return (self.word(candidate),)
        spelled = self.spelling.mend(short[0] if short else token)
        return tuple(self.word(part) for part in spelled)


NEGATIVE_WORDS = frozenset(
    "no not dont cant cannot couldnt cnt wont didnt doesnt isnt wasnt havent hasnt aint nothing "
    "never without hardly barely sin ni nada nunca tampoco ningun ninguna".split()
)


def parse_phrase(text: str) -> Iterator[tuple[str, ...]]:
    """Every sequence of slots that `text` allows. Raises PhraseFault with how to mend it."""
    options: list[tuple[str, ...]] = []
    for element in _ELEMENT.findall(text):
        optional = element.startswith("[") and element.endswith("]")
        slot = element.strip("[]") if optional else element
        _check_slot(slot, text)
        options.append((slot, "") if optional else (slot,))
    sequences = [tuple(s for s in chosen if s) for chosen in product(*options)]
    if not options or any(not s or s[0] == GAP or s[-1] == GAP for s in sequences):
        raise PhraseFault(f"'{text}' needs a word at both ends. Write e.g. 'chest ... hurt*'.")
    yield from sequences


def _check_slot(slot: str, text: str) -> None:
    if slot == GAP:
        return
    for choice in slot.split("|"):
        if not _WORD.match(choice) or (choice.endswith("*") and len(choice) < 3):
            raise PhraseFault(
                f"'{choice}' in '{text}' is not a word. Use lower-case letters without accents or "
                "apostrophes, `|` between words, and at least two letters before `*`."
            )


def _spelling_targets(phrases: Sequence[Phrase]) -> frozenset[str]:
    """Words worth recognising when misspelt: those of alarms and of the usual answers."""
    words: set[str] = set()
    for phrase in phrases:
        if phrase.concept.startswith(("symptom.", "emergency.", "self_harm", "spell.")):
            for slots in parse_phrase(phrase.text):
                words.update(c.rstrip("*") for slot in slots for c in slot.split("|") if c != GAP)
    return frozenset(word for word in words if len(word) >= 4)
