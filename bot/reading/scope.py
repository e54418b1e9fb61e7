"""Decides, for each thing a reply mentions, whether it is denied, past, supposed or someone else's.

One walk from left to right over the matches. What opens a scope (a "no", an "if", "my husband")
holds until something closes it: the end of the sentence, "but", or a new "I have". Wherever two
readings are possible the one that raises the alarm is taken.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set
from bot.reading.tokens import COMMA, QUESTION, STOP

NEGATION_REACH = 7  # words between a "no" and what it denies
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
    clause: int = 0

    @property
    def holds(self) -> bool:
        """True when the writer says it is so, now or very lately."""
        if self.denied or self.supposed:
            return False
        return self.still or not (self.past or self.gone) or (self.recent and not self.past)


@dataclass(slots=True)
class Walk:
    """The scopes open at one point of the walk."""

    words: Sequence[Word]
    events: Sequence[Match]
    mentions: list[Mention] = field(default_factory=list)
    no: int = 0  # 0 none, 1 open, 2 open and outlives one "I have" ("I don't think I have")
    no_end: int = 0
    thought: bool = False  # the "no" is of the "I don't think" kind
    masked_until: int = 0  # words up to here only look like a negation ("no doubt")
    listed: bool = False  # the "no" has already denied something
    divided: bool = False  # a comma or "and" since then
    supposed: bool = False
    others: bool = False
    pets: bool = False
    caught: bool = False  # "caught it from my grandson": the illness is the patient's own
    other_end: int = 0
    antecedent: bool = False  # someone else was named, so "he" is not the patient
    clause: int = 0
    clause_starts: list[int] = field(default_factory=lambda: [0])
    at: int = 0
    times: list[tuple[str, int, int]] = field(default_factory=list)


def settle(words: Sequence[Word], events: Sequence[Match]) -> list[Mention]:
    """The mentions in `events`, each with its scope."""
    walk = Walk(words, events)
    for walk.at, event in enumerate(events):
        handler = _HANDLERS.get(event.concept)
        if handler is not None:
            handler(walk, event)
        elif event.concept.startswith(("symptom.", "emergency.", "self_harm", "fever_reading")):
            _mention(walk, event)
    if walk.times:
        _place_times(walk)
    return walk.mentions


def separators(words: Sequence[Word]) -> list[Match]:
    """Punctuation as events of the walk."""
    kinds = {id(STOP): "stop", id(COMMA): "comma", id(QUESTION): "stop"}
    return [Match(i, i + 1, kinds[id(w)]) for i, w in enumerate(words) if id(w) in kinds]


def _pseudo(walk: Walk, event: Match) -> None:
    walk.masked_until = event.end


def _new_clause(walk: Walk, event: Match) -> None:
    walk.clause += 1
    walk.clause_starts.append(event.start)


def _stop(walk: Walk, event: Match) -> None:
    walk.no, walk.thought = 0, False
    walk.supposed = walk.others = walk.pets = walk.caught = walk.listed = walk.divided = False
    _new_clause(walk, event)


def _but(walk: Walk, event: Match) -> None:
    walk.no = 0
    walk.supposed = False
    walk.listed = walk.divided = False
    _new_clause(walk, event)


def _comma(walk: Walk, event: Match) -> None:
    if walk.no and walk.no_end == event.start and not walk.listed:
        walk.no = 0  # "No, ..." answers; it does not deny what follows
    _divide(walk, event)


def _divide(walk: Walk, event: Match) -> None:
    """A comma or "and". A "no" that has denied something else stops here: "no ride, and a cough"."""
    if walk.no and not walk.listed and event.start > walk.no_end and not _or_ahead(walk):
        if walk.words[event.start - 1].text not in _LISTED_WITH:
            walk.no = 0
    walk.divided = True


def _or(walk: Walk, event: Match) -> None:
    walk.divided = False
    walk.no_end = event.end


def _neg(walk: Walk, event: Match) -> None:
    if _answers_mention(walk, event):
        for mention in walk.mentions[-4:]:
            mention.denied = mention.denied or mention.end >= walk.mentions[-1].start
        return
    if event.start < walk.masked_until:
        return
    if walk.no == 2 or (walk.thought and event.concept == "mod.neg"):
        walk.no, walk.thought = 0, False  # "I wouldn't say I have no cough"
        return
    walk.thought = event.concept == "mod.neg_think"
    walk.no = 2 if event.concept == "mod.neg_think" else 1
    walk.no_end = event.end
    walk.listed = walk.divided = False


def _answers_mention(walk: Walk, event: Match) -> bool:
    """True for the "no" of "fever: no" and "fever no cough no"."""
    last_end = max((m.end for m in walk.mentions[-4:]), default=event.start + 1)
    if event.end - event.start > 1 or event.start < last_end:
        return False
    between = walk.words[last_end : event.start]
    following = walk.words[event.end] if event.end < len(walk.words) else STOP
    if not between:
        return following.separates or _filled_in_like_a_form(walk)
    asked = between[-1] is QUESTION or between[-1] is COMMA
    return following.separates and asked and len(between) <= 2 and between[0] is not STOP


def _filled_in_like_a_form(walk: Walk) -> bool:
    last, first = walk.events[-1], walk.events[0]
    if last.end != len(walk.words):
        return False
    return last.concept in ("mod.neg", "mod.yes") and not first.concept.startswith("mod.")


def _yes(walk: Walk, event: Match) -> None:
    if walk.mentions and walk.mentions[-1].end == event.start:
        walk.mentions[-1].denied = False
    elif walk.mentions and walk.mentions[-1].end == event.start - 1 and _asked_before(walk, event):
        walk.mentions[-1].denied = False
    walk.no = 0


def _asked_before(walk: Walk, event: Match) -> bool:
    return walk.words[event.start - 1] in (COMMA, QUESTION)


def _restart(walk: Walk, event: Match) -> None:
    walk.no = 1 if walk.no == 2 else 0
    if walk.divided:
        walk.supposed = False
    _new_clause(walk, event)
    walk.others = walk.pets = False


def _restart_verb(walk: Walk, event: Match) -> None:
    """A verb that carries its "I" ("tengo") starts afresh, unless the "no" stands right before."""
    if not walk.no or event.start > walk.no_end:
        _restart(walk, event)
    walk.no_end = max(walk.no_end, event.end)


def _weak_restart(walk: Walk, event: Match) -> None:
    if walk.divided and not _or_ahead(walk):
        walk.no = 0


def _lose_negation(walk: Walk, event: Match) -> None:
    walk.no = 0


def _other(walk: Walk, event: Match) -> None:
    walk.others = walk.antecedent = True
    walk.other_end = event.end
    if walk.divided:
        walk.no = 0


def _pet(walk: Walk, event: Match) -> None:
    walk.pets = True


def _gave(walk: Walk, event: Match) -> None:
    walk.caught = True


def _caught_from(walk: Walk, event: Match) -> None:
    walk.caught = walk.caught or not walk.others  # "my wife caught a cold" is hers


def _exposed(walk: Walk, event: Match) -> None:
    _mention(walk, event)
    walk.mentions[-1].others = True
    _other(walk, event)


def _pronoun(walk: Walk, event: Match) -> None:
    walk.others = walk.antecedent
    if walk.divided:
        walk.no = 0


def _self(walk: Walk, event: Match) -> None:
    if event.start >= walk.other_end:
        walk.others = False


def _suppose(walk: Walk, event: Match) -> None:
    walk.supposed = True


def _suppose_at_start(walk: Walk, event: Match) -> None:
    if event.start == 0 or walk.words[event.start - 1].separates:
        walk.supposed = True


def _doubt(walk: Walk, event: Match) -> None:
    walk.supposed = False
    walk.no = 0


def _time(walk: Walk, event: Match) -> None:
    walk.times.append((event.concept.removeprefix("mod."), walk.clause, event.end))


def _past_if_had(walk: Walk, event: Match) -> None:
    """ "In March" and "hace dos meses" are past only beside "had" or "tuve"."""
    if any(w.text in _HAD for w in walk.words):
        walk.times.append(("past", walk.clause, event.end))


def _gone(walk: Walk, event: Match) -> None:
    """Undoes the mentions before it: those of this clause, else of the clause before."""
    near = walk.mentions[-LIST_LENGTH:]
    here = [m for m in near if m.clause == walk.clause] or near[-1:]
    for mention in here:
        mention.gone = mention.gone or not mention.lasting
    walk.no = 0


LIST_LENGTH = 8  # mentions
_HAD = word_set(
    "had was were got caught tested came did tuve tuvo tenia dio pase sufri padeci fue estuve"
)


def _place_times(walk: Walk) -> None:
    """Gives each "last month" and "today" to the mentions it speaks of.

    These are the mentions of its own clause. A clause that says little else ("That was last
    month.") speaks of the clause before it, or of the next one when it opens the reply.
    """
    by_clause: dict[int, list[Mention]] = {}
    for mention in walk.mentions:
        by_clause.setdefault(mention.clause, []).append(mention)
    clauses = sorted(by_clause)
    for name, clause, end in walk.times:
        if clause in by_clause:
            _mark([m for m in by_clause[clause] if not _escapes(walk, m, name, end)], name)
        elif clauses and _clause_length(walk, clause) <= SHORT_CLAUSE:
            before = bisect_right(clauses, clause)
            _mark(by_clause[clauses[max(before - 1, 0)]], name)


SHORT_CLAUSE = 4  # words


def _clause_length(walk: Walk, clause: int) -> int:
    ends = [*walk.clause_starts[clause + 1 : clause + 2], len(walk.words)]
    return ends[0] - walk.clause_starts[clause]


def _escapes(walk: Walk, mention: Mention, name: str, end: int) -> bool:
    """True for "in hospital last year coughing all night": more than "had" stands between."""
    between = walk.words[end : mention.start]
    return name == "past" and any(w.text not in _FILLERS | _HAD for w in between)


def _mark(mentions: list[Mention], name: str) -> None:
    for mention in mentions:
        setattr(mention, name, True)


def _mention(walk: Walk, event: Match) -> None:
    walk.mentions.append(
        Mention(
            concept=event.concept,
            start=event.start,
            end=event.end,
            words=" ".join(w.text for w in walk.words[event.start : event.end]),
            denied=_is_denied(walk, event),
            supposed=(walk.supposed and not _claimed(walk, event)) or _of_a_pet(walk, event),
            others=walk.others and not walk.caught and not _says_my(walk, event),
            lasting=event.negative or event.concept.startswith(_LASTING),
            clause=walk.clause,
        )
    )


_LASTING = ("self_harm", "emergency.", "fever_reading", "symptom.fever", "symptom.fall")


def _says_my(walk: Walk, event: Match) -> bool:
    """True for "someone sitting on my chest": the chest is the writer's."""
    return any(w.text in ("my", "mi") for w in walk.words[event.start : event.end])


def _of_a_pet(walk: Walk, event: Match) -> bool:
    """True for the cough of "my dog has a cough"; its bite and a fall over it are the patient's."""
    bitten = event.concept in ("symptom.skin_wound", "symptom.fall")
    return walk.pets and not bitten and not event.concept.startswith("emergency.")


def _claimed(walk: Walk, event: Match) -> bool:
    """True for the cough of "should I worry about my cough?": it is there, whatever is asked."""
    if event.end - event.start > 1 or event.start == 0:
        return False
    return walk.words[event.start - 1].text in ("my", "this", "mi", "esta", "este")


def _is_denied(walk: Walk, event: Match) -> bool:
    if event.negative:
        walk.no, walk.masked_until = 0, event.end
        return False
    if not walk.no:
        return False
    if not _reaches(walk, event) or (walk.divided and walk.listed and _stands_alone(walk, event)):
        walk.no = 0
        return False
    walk.no_end = max(walk.no_end, event.end)
    walk.listed, walk.divided = True, False
    return True


def _reaches(walk: Walk, event: Match) -> bool:
    """True when nothing but fillers stands between the "no" and what it denies."""
    between = walk.words[walk.no_end : event.start]
    if len(between) > NEGATION_REACH:
        return False
    strange = any(not w.separates and w.text not in _FILLERS for w in between)
    return not strange


_LISTED_WITH = word_set(
    "pain pains problem problems issue issues symptom symptoms discomfort swelling redness soreness "
    "aches complaints trouble changes drainage allergies sickness illness tenderness dolor dolores "
    "molestia molestias sintoma sintomas problemas hinchazon alergias nada nothing none sickness"
)
_FILLERS = _LISTED_WITH | word_set(
    "any a an the of real really much more had have has been having feel feeling felt seen notice "
    "noticed noticing got get getting gotten experienced experiencing see sign signs kind type sort "
    "bad severe high new recent other active at all to my in single bit little slight slightest hint "
    "trace evidence even ever either like such running run developed develop developing showing show "
    "with from for current currently right now today yet still whatsoever actual and or nor also "
    "obvious visible unusual major serious strange acute sudden significant known anymore i do does here is are house home family "
    "wet dry productive mild slight small big large deep open fresh red sore hot cold low flu covid "
    "else wrong been come comes down ill sick pedal nasal oral skin leg leg itchy dental urinary watery "
    "bloody persistent frequent "
    "tengo he ha tenido sentido presentado presento ningun ninguna tipo de clase algun alguna muy tan "
    "la el los las un una unos unas en mi me ni o y haya hay siento sufro padezco mucho mucha problema "
    "para con por signos senales"
)


def _stands_alone(walk: Walk, event: Match) -> bool:
    """True for "coughing" in "no fever, coughing": a verb of its own, unless an "or" follows."""
    verb = walk.words[event.end - 1].text.endswith(("ing", "endo", "ando"))
    return verb and not _or_ahead(walk)


def _or_ahead(walk: Walk) -> bool:
    """True inside a list that an "or" closes: "no fever, a cough or chills"."""
    for later in walk.events[walk.at + 1 : walk.at + 1 + LOOK_AHEAD]:
        if later.concept in ("stop", "mod.but"):
            break
        if later.concept == "mod.or":
            return True
    return False


_HANDLERS: dict[str, Callable[[Walk, Match], None]] = {
    "stop": _stop,
    "comma": _comma,
    "mod.but": _but,
    "mod.and": _divide,
    "mod.or": _or,
    "mod.neg": _neg,
    "mod.neg_think": _neg,
    "mod.yes": _yes,
    "mod.restart": _restart,
    "mod.restart_verb": _restart_verb,
    "mod.weak_restart": _weak_restart,
    "mod.other_verb": _lose_negation,
    "mod.other": _other,
    "mod.pronoun": _pronoun,
    "mod.pet": _pet,
    "mod.gave_me": _gave,
    "mod.caught_from": _caught_from,
    "mod.self": _self,
    "mod.says": _self,
    "mod.suppose": _suppose,
    "mod.doubt": _doubt,
    "mod.pseudo": _pseudo,
    "mod.suppose_start": _suppose_at_start,
    "mod.gone": _gone,
    "mod.past_if_had": _past_if_had,
    "mod.past": _time,
    "mod.recent": _time,
    "mod.still": _time,
    "mod.exposed": _exposed,
}
