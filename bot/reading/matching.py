"""Finds every phrase of the lexicon in a list of words.

The phrase tree is walked as a set of places at once, and each set met is remembered with where
each kind of word leads from it. So after the first replies a word costs one look-up.
"""

from collections.abc import Sequence
from typing import NamedTuple

from bot.reading.phrases import GAP_STOP, GAP_WORDS, Node, Word

HARMLESS = 3  # the layer of harmless phrases
MOST_REMEMBERED = 300_000  # steps; then the memory is started afresh


class Match(NamedTuple):
    """A phrase found: words[start:end] say `concept`."""

    start: int
    end: int
    concept: str
    solid: bool = True  # nothing stood between the phrase's words
    negative: bool = False  # built on a negation of its own
    layer: int = 2  # 0 answers, 1 modifiers that hide nothing, 2 meanings, 3 harmless phrases


class Place(NamedTuple):
    """One place in the phrase tree. `skips` counts the words a gap may still pass over."""

    node: Node
    solid: bool = True
    skips: int = -1  # -1: not in a gap


class Front:
    """All places reached together, and what is said there."""

    __slots__ = ("leads", "places", "says")

    def __init__(self, places: tuple[Place, ...]) -> None:
        self.places = places
        self.leads: dict[frozenset[str], Front | None] = {}
        ends = [
            (concept, place.solid, place.node.negative, _layer(concept))
            for place in places
            if place.skips < 0
            for concept in place.node.concepts
        ]
        self.says = tuple(sorted(set(ends)))  # sets of words have no order of their own


class Matcher:
    """Finds phrases; remembers the steps it has taken."""

    def __init__(self) -> None:
        self._fronts: dict[frozenset[Place], Front] = {}
        self._begin: dict[frozenset[str], Front] = {}
        self._steps = 0

    def find(self, words: Sequence[Word]) -> list[Match]:
        """All phrases by place, without those inside a longer one ("no" in "no doubt")."""
        found: list[Match] = []
        begin, last = self._begin, len(words)
        for at, word in enumerate(words):
            if not word.starts:
                continue
            front = begin.get(word.slots) or self._first(word)
            place = at + 1
            while True:
                for concept, solid, negative, layer in front.says:
                    found.append(Match(at, place, concept, solid, negative, layer))
                if place >= last:
                    break
                slots = words[place].slots
                ahead = (
                    front.leads[slots] if slots in front.leads else self._lead(front, words[place])
                )
                if ahead is None:
                    break
                front = ahead
                place += 1
        if len(found) > 1:
            found.sort(key=_by_place)
            return _without_overlaid(_outermost(found))
        return found

    def _first(self, word: Word) -> Front:
        front = self._front(tuple(p for node in word.starts for p in _arrive(node, True)))
        self._begin[word.slots] = front
        return front

    def _front(self, places: tuple[Place, ...]) -> Front:
        key = frozenset(places)
        if key not in self._fronts:
            self._fronts[key] = Front(places)
        return self._fronts[key]

    def _lead(self, front: Front, word: Word) -> Front | None:
        places = tuple(dict.fromkeys(p for place in front.places for p in _step(place, word)))
        ahead = self._front(places) if places else None
        if self._steps >= MOST_REMEMBERED:
            self._steps = 0
            self._fronts.clear()
            self._begin.clear()
        self._steps += 1
        front.leads[word.slots] = ahead
        return ahead


def _arrive(node: Node, solid: bool, skips: int = -1) -> list[Place]:
    """Every place reached with `node`: itself, its gap, and beyond what may be left out."""
    places = [Place(node, solid, skips)]
    if node.gap is not None:
        places += _arrive(node.gap, solid, GAP_WORDS)
    for onward in node.ahead:
        places += _arrive(onward, solid, skips)
    return places


def _step(place: Place, word: Word) -> list[Place]:
    if word.separates:
        return []
    after, slots = place.node.after, word.slots
    if len(after) < len(slots):
        nodes = [after[slot] for slot in after if slot in slots]
    else:
        nodes = [after[slot] for slot in slots if slot in after]
    ahead = [p for node in nodes for p in _arrive(node, place.solid)]
    if place.skips > 0 and GAP_STOP not in slots:
        ahead.append(Place(place.node, False, place.skips - 1))
    return ahead


def _by_place(match: Match) -> tuple[int, int]:
    return match[0], -match[1]


def _layer(concept: str) -> int:
    if concept.startswith(("act.", "whole.")):
        return 0
    if concept.startswith("harmless."):
        return 3
    if concept.startswith("unsure."):
        return 1
    return 1 if concept in _HIDE_NOTHING else 2


_HIDE_NOTHING = frozenset(
    f"mod.{name}"
    for name in (
        "restart",
        "restart_verb",
        "dead",
        "weak_restart",
        "self",
        "other",
        "pronoun",
        "says",
        "recent",
        "past_if_had",
        "still",
        "but",
        "and",
        "or",
        "gave_me",
        "caught_from",
        "other_verb",
        "asks_fever",
        "suppose_start",
        "until",
        "joke",
        "owns",
    )
)


def _outermost(found: list[Match]) -> list[Match]:
    """Drops what lies inside a longer phrase. An answer phrase hides only other answers."""
    kept: list[Match] = []
    cover = answer_cover = (-1, -1)
    for match in found:
        span = match[:2]
        inside = match.end <= cover[1] and span != cover
        if inside and not _stays(match, cover):
            continue
        if match.layer == 0:
            if match.end <= answer_cover[1] and span != answer_cover:
                continue
            if match.solid and match.end > answer_cover[1]:
                answer_cover = span
        elif _covers(match) and match.end > cover[1]:
            cover = span
        kept.append(match)
    return kept


def _stays(match: Match, cover: tuple[int, int]) -> bool:
    """True for the "I'm" of "I'm sick", which still ends the reach of an earlier "no"."""
    opens = match.start == cover[0] and match.concept in ("mod.restart", "mod.restart_verb")
    return opens or match.concept.startswith(_NEVER_HIDDEN)


def _without_overlaid(found: list[Match]) -> list[Match]:
    """Drops the "have cold" of "have cold hands": its end belongs to a harmless phrase.

    Never an emergency, nor "can't breathe" before a harmless "breathe well", nor the fall of
    "fell off the wall".
    """
    harmless = [m for m in found if m.layer == 3]
    if not harmless:
        return found
    starts = {m.start: m.end for m in harmless}
    spans = {m[:2] for m in harmless}
    found = [m for m in found if m.layer != 2 or m[:2] not in spans]
    found = [m for m in found if m.concept not in _OF_THINGS or not _begun(m, harmless)]
    return [
        m
        for m in found
        if not m.concept.startswith(("symptom.", "self_harm"))
        or m.concept == "symptom.fall"
        or (m.negative and m.concept != "self_harm")
        or not any(starts.get(i, 0) > m.end for i in range(m.start + 1, m.end))
    ]


_OF_THINGS = ("symptom.fall", "symptom.skin_wound")


def _begun(match: Match, harmless: list[Match]) -> bool:
    """True for the "fell in the sink" of "my phone fell in the sink"."""
    return any(h.start <= match.start < h.end for h in harmless)


_NEVER_HIDDEN = ("whole.", "act.question", "unsure.joint")


def _covers(match: Match) -> bool:
    return match.layer == 3 or (match.layer == 2 and match.solid)
