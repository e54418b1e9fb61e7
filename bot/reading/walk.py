"""The state of the walk over a reply: which scopes are open, and what has been mentioned."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set

LOOK_AHEAD = 40  # events


@dataclass(slots=True)
class Mention:
    """A symptom, emergency or fever in the reply, with what the words around it do to it."""

    concept: str
    start: int
    end: int
    words: str
    denied: bool = False
    gone: bool = False
    past: bool = False
    recent: bool = False
    still: bool = False
    supposed: bool = False
    others: bool = False
    lasting: bool = False  # worth a call even when "gone now"
    negative: bool = False  # built on a "no" of its own: "can't breathe"
    clause: int = 0

    @property
    def stated(self) -> bool:
        """True when it is said to be so, whenever that was."""
        return not (self.denied or self.supposed)

    @property
    def holds(self) -> bool:
        """True when the writer says it is so, now or very lately."""
        if not self.stated:
            return False
        return self.still or not (self.past or self.gone) or (self.recent and not self.past)


@dataclass(slots=True)
class Walk:
    """The scopes open at one point of the walk."""

    words: Sequence[Word]
    events: Sequence[Match]
    mentions: list[Mention] = field(default_factory=list)
    hints: list[Mention] = field(default_factory=list)  # bodies and distress, see net.py
    no: int = 0  # 0 none, 1 open, 2 open and outlives one "I have" ("I don't think I have")
    no_end: int = 0
    nos: int = 0  # how often "no" was said in this sentence: "no cough, no chills, fever 101"
    last_no: int = 0  # where the last "no" of this sentence ended, be its reach over or not
    thought: bool = False  # the "no" is of the "I don't think" kind
    masked_until: int = 0  # words up to here only look like a negation ("no doubt")
    listed: bool = False  # the "no" has already denied something
    divided: bool = False  # a comma or "and" since then
    supposed: bool = False
    others: bool = False
    helper: bool = False  # the writer is not the patient: "this is her daughter"
    helper_end: int = 0  # where the writer was named: the "daughter" of "this is Ruth's daughter"
    cared_for: bool = False  # a spouse or parent was named: whose temperature a writer takes
    parent: bool = False  # a mother or father was named, by a writer who said no more of who writes
    speaks_of_self: bool | None = None  # None: not yet asked
    pets: bool = False
    dead: bool = False  # of someone who died, up to the next "I"
    story: bool = False  # of what was read or watched, up to the next "I" or "my"
    story_end: int = 0  # where the words that opened it end
    caught: bool = False  # "caught it from my grandson": the illness is the patient's own
    owned: bool = False  # "I have one": what was only asked about is there
    other_end: int = 0
    antecedent: bool = False  # someone else was named, so "he" is not the patient
    clause: int = 0
    clause_starts: list[int] = field(default_factory=lambda: [0])
    at: int = 0
    times: list[tuple[str, int, int]] = field(default_factory=list)


def new_clause(walk: Walk, event: Match) -> None:
    walk.clause += 1
    walk.clause_starts.append(event.end if event.concept in ("stop", "mod.but") else event.start)


def or_ahead(walk: Walk) -> bool:
    """True inside a list that an "or" closes: "no fever, a cough or chills"."""
    for later in walk.events[walk.at + 1 : walk.at + 1 + LOOK_AHEAD]:
        if later.concept in ("stop", "mod.but"):
            break
        if later.concept == "mod.or":
            return True
    return False


def is_relative(walk: Walk, event: Match) -> bool:
    """True for the "tenia" of "la tos que tenia fue en enero" and "the cough I had"."""
    if not walk.mentions or walk.words[event.end - 1].text not in _HAD:
        return False
    between = [w.text for w in walk.words[walk.mentions[-1].end : event.start]]
    relative = between in (["que"], ["that"], ["which"])
    return relative or (not between and walk.words[event.start].text == "i")


_HAD = word_set("had tenia tuve traia")
