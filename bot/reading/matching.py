"""Finds every phrase of the lexicon in a list of words."""

from collections.abc import Sequence
from dataclasses import dataclass

from bot.reading.lexicon import GAP_WORDS, Node, Word
from bot.reading.tokens import separates


@dataclass(frozen=True, slots=True)
class Match:
    """A phrase found: words[start:end] say `concept`."""

    start: int
    end: int
    concept: str
    solid: bool = True  # nothing stood between the phrase's words
    negative: bool = False  # built on a negation of its own


def find_matches(words: Sequence[Word]) -> list[Match]:
    """All phrases, by position; one inside a longer unbroken one is dropped ("no" in "no doubt")."""
    found: list[Match] = []
    for at, word in enumerate(words):
        for node in word.starts:
            _walk(words, at, node, found)
    if len(found) > 1:
        found.sort(key=_by_place)
        found = _outermost(found)
    return found


def _by_place(match: Match) -> tuple[int, int]:
    return match.start, -match.end


def _walk(words: Sequence[Word], at: int, node: Node, found: list[Match]) -> None:
    stack = [(node, at + 1, True)]
    while stack:
        node, place, solid = stack.pop()
        for concept in node.concepts:
            found.append(Match(at, place, concept, solid, node.negative))
        if node.after and place < len(words):
            stack.extend((n, place + 1, solid) for n in _next(node, words[place]))
        if node.gap:
            stack.extend(_over_gap(node.gap, words, place))


def _next(node: Node, word: Word) -> list[Node]:
    after = node.after
    if len(after) < len(word.slots):
        return [after[slot] for slot in after if slot in word.slots]
    return [after[slot] for slot in word.slots if slot in after]


def _over_gap(node: Node, words: Sequence[Word], place: int) -> list[tuple[Node, int, bool]]:
    steps = []
    for skipped in range(GAP_WORDS + 1):
        if place + skipped >= len(words) or separates(words[place + skipped]):
            break
        for after in _next(node, words[place + skipped]):
            steps.append((after, place + skipped + 1, skipped == 0))
    return steps


def _outermost(found: list[Match]) -> list[Match]:
    kept: list[Match] = []
    cover_start = cover_end = -1
    for match in found:
        same = match.start == cover_start and match.end == cover_end
        if match.end <= cover_end and not same:
            continue
        if kept and kept[-1] == match:
            continue
        kept.append(match)
        if match.solid and match.end > cover_end:
            cover_start, cover_end = match.start, match.end
    return kept
