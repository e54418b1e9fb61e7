"""The words the reader knows, compiled once so that a reply costs microseconds."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from bot.reading.matching import Matcher
from bot.reading.phrases import (
    GAP,
    GAP_STOP,
    GAP_STOPS,
    Element,
    Node,
    Phrase,
    Word,
    apart_by_negation,
)
from bot.reading.spelling import SHORTEST, Spelling, collapse_repeats, plain_forms

ANY_MEDICINE = "medicine"  # the word of the phrases that any medicine's name may stand for
LONGEST_TYPED = 80  # letters; more is a held key or noise, not a word


class Lexicon:
    """Every phrase, spelling and sign the reader knows. Built once, then only looked up."""

    def __init__(
        self,
        phrases: Sequence[Phrase],
        *,
        emoji: Mapping[str, str],
        numbers: Mapping[str, float],
        common_words: frozenset[str],
        same: Mapping[str, str] | None = None,
        is_medicine: Callable[[str], bool] = lambda _: False,
    ) -> None:
        """`same`: what a short form stands for, "q" for "que".

        `is_medicine`: a name for which it is true stands wherever "medicine" may.
        """
        self.phrases = tuple(phrases)
        self.emoji = {ord(sign): f" {words} " for sign, words in emoji.items()}
        self.numbers = {**_run_together(numbers), **numbers}
        self.matcher = Matcher()
        self._root = Node()
        self._exact: dict[str, set[str]] = {}
        self._prefixes: dict[str, set[str]] = {}
        self._slots: set[str] = set()
        for phrase in self.phrases:
            self._add(phrase)
        self._common = common_words
        self._same = dict(same or {})
        self._is_medicine = is_medicine
        self._cuts = sorted({len(prefix) for prefix in self._prefixes})
        self.spelling = Spelling(
            targets=_spelling_targets(self.phrases),
            known=self._common | self._exact.keys() | self.numbers.keys(),
            ordinary=self._exact,
        )
        self.word = lru_cache(maxsize=100_000)(self._word)
        self.words_of = lru_cache(maxsize=100_000)(self._words_of)

    def _add(self, phrase: Phrase) -> None:
        for said, denies in apart_by_negation(phrase.text):
            lead = next((i for i, (_, optional) in enumerate(said) if not optional), len(said))
            for at in range(
                lead, -1, -1
            ):  # what may be left out at the start is a start of its own
                self._grow(said[at:], phrase.concept, denies)

    def _grow(self, said: Sequence[Element], concept: str, denies: bool) -> None:
        """Adds one way to say a phrase; its first word is said."""
        node = self._root
        for at, (slot, optional) in enumerate(said):
            onward = self._step(node, slot)
            if optional and at:
                join = Node()
                node.ahead.append(join)
                onward.ahead.append(join)
                onward = join
            node = onward
        if concept not in node.concepts:
            node.concepts += (concept,)
        node.negative = node.negative or denies

    def _step(self, node: Node, slot: str) -> Node:
        if slot == GAP:
            node.gap = node.gap or Node()
            return node.gap
        if slot not in self._slots:
            self._list_words_of(slot)
        found = node.after.get(slot)
        if found is None:
            found = node.after[slot] = Node()
        return found

    def _list_words_of(self, slot: str) -> None:
        self._slots.add(slot)
        for choice in slot.split("|"):
            table = self._prefixes if choice.endswith("*") else self._exact
            table.setdefault(choice.rstrip("*"), set()).add(slot)

    def _word(self, text: str) -> Word:
        slots = set(self._exact.get(text, ()))
        if text.endswith("in"):  # "coughin" fills the places of "coughing" too
            slots |= self._exact.get(text + "g", set())
        for cut in self._cuts:
            slots |= self._prefixes.get(text[:cut], set())
        if text in GAP_STOPS:
            slots.add(GAP_STOP)
        after = self._root.after
        starts = tuple(after[slot] for slot in sorted(slots) if slot in after)
        return Word(text, frozenset(slots), starts)

    def _knows(self, text: str) -> bool:
        return (
            text in self._exact
            or text in self.numbers
            or any(text[:cut] in self._prefixes for cut in self._cuts)
        )

    def _words_of(self, token: str) -> tuple[Word, ...]:
        """The known words behind one typed token: itself, as meant, or two run together."""
        token = token.strip("'")
        if token in self._same:
            return tuple(self.word(part) for part in self._same[token].split())
        if self._knows(token) or not token.isalpha() or token in self._common:
            return (self.word(token),)
        if self._is_medicine(token):
            return (replace(self.word(ANY_MEDICINE), text=token),)
        return self._meant(token)

    def _meant(self, token: str) -> tuple[Word, ...]:
        """The words behind a token that is no known word."""
        if token.endswith("in") and self._knows(token + "g"):
            return (self.word(token),)
        one = token.removesuffix("s") if len(token) > SHORTEST else token
        for candidate in (*plain_forms(token), one):
            if self._knows(candidate):
                return (self.word(candidate),)
        short = collapse_repeats(token) if len(token) <= LONGEST_TYPED else ()
        for candidate in short:
            if self._knows(candidate):
                return (self.word(candidate),)
        spelled = self.spelling.mend(short[0] if short else token)
        return tuple(self.word(part) for part in spelled)


def _run_together(numbers: Mapping[str, float]) -> dict[str, float]:
    """ "ninetyeight" and "treintayocho", typed as one word."""
    tens = [(word, value) for word, value in numbers.items() if 20 <= value <= 90]
    ones = [(word, value) for word, value in numbers.items() if 1 <= value <= 9]
    joins = ("", "i", "y")
    return {t + j + o: a + b for t, a in tens if not a % 10 for o, b in ones for j in joins}


def _spelling_targets(phrases: Sequence[Phrase]) -> frozenset[str]:
    """Words worth recognising when misspelt: those that raise an alarm alone, and those listed."""
    words: set[str] = set()
    for phrase in phrases:
        alarm = phrase.concept.startswith(("symptom.", "emergency.", "self_harm"))
        if phrase.concept.startswith("spell.") or (alarm and " " not in phrase.text):
            words.update(choice.rstrip("*") for choice in phrase.text.split("|"))
    return frozenset(word for word in words if len(word) >= 4)
