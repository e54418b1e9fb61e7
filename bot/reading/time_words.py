"""Decides what "last month", "since Monday" and "gone now" speak of."""

from bisect import bisect_right
from collections.abc import Sequence

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set
from bot.reading.reach import FILLERS
from bot.reading.walk import Mention, Walk

SHORT_CLAUSE = 4  # words
MOST_DATED = 60  # mentions; more is no reply
LIST_LENGTH = 8  # mentions


def note_time(walk: Walk, event: Match) -> None:
    before = walk.words[event.start - 1].text if event.start else ""
    if before in _WELL and event.concept == "mod.recent":
        return  # the "now" of "nothing now" and "gone three weeks now"
    if walk.words[event.start].text == "back" and before in _OF_MY_BACK:
        return  # "sore in back when I walk"
    if is_count(walk.words, event.end):
        return  # "in 60 minutes"
    back = {w.text for w in walk.words[max(0, event.start - 3) : event.start]}
    if walk.words[event.end - 1].text in _RETURNED and back & _NEVER:
        return  # "no me ha vuelto"
    walk.times.append((event.concept.removeprefix("mod."), walk.clause, event.end))


def is_count(words: Sequence[Word], end: int) -> bool:
    """True for the 60 of "in 60 minutes", which is no year."""
    if not words[end - 1].text[:1].isdigit() or len(words[end - 1].text) > 2:
        return False
    return end < len(words) and words[end].text in _COUNTED


_COUNTED = word_set(
    "minutes minute mins min hours hour hrs days day weeks week months minutos horas dias semanas "
    "degrees degree range percent grados point punto f c s something"
)
_TURNED = word_set("red hot green yellow black purple blue bad septic sour puffy hard numb to into")
_RETURNED = word_set("back vuelto volvio regreso reaparecio returned vuelta")
_NEVER = word_set("no not never nunca hasnt hasn havent didnt")


def note_past_if_had(walk: Walk, event: Match) -> None:
    """ "In March" and "hace dos meses" are past only beside "had" or "tuve".

    "Desde hace dos meses" and "hace dos meses que tengo" tell of what goes on.
    """
    before = walk.words[event.start - 1].text if event.start else ""
    ahead = [w.text for w in walk.words[event.end : event.end + 3]]
    goes_on = before in _SINCE or (ahead[:1] == ["que"] and _HAD.isdisjoint(ahead))
    if not goes_on and any(w.text in _HAD or w.text.endswith(_THEY_DID) for w in walk.words):
        walk.times.append(("past", walk.clause, event.end))


_SINCE = word_set("desde since from")
_THEY_DID = ("aron", "ieron")
_USED_TO = ("aba", "aban", "ian")  # "de joven me daban ronchas"
_OF_MY_BACK = word_set("in my the lower upper mid his her")


def note_gone(walk: Walk, event: Match) -> None:
    """Undoes the mentions before it: those of this clause, else of the clause before."""
    if event.end < len(walk.words) and walk.words[event.end].text in _TURNED:
        return  # "the scratch has gone red"
    near = walk.mentions[-LIST_LENGTH:]
    here = [m for m in near if m.clause == walk.clause] or near[-1:]
    for mention in here:
        if mention.start <= event.start < mention.end or _is_left_over(walk, mention):
            continue  # "my voice is gone", "all but the cough is gone"
        mention.gone = mention.gone or not mention.lasting
    walk.no = 0


_WELL = word_set(
    "nothing none no fine good ok okay well clear great weeks months years gone over bien nada "
    "ninguno mejor semanas meses anos"
)


def _is_left_over(walk: Walk, mention: Mention) -> bool:
    before = [w.text for w in walk.words[max(0, mention.start - 4) : mention.start]]
    return not _ALL.isdisjoint(before) and not _BUT.isdisjoint(before)


_ALL = word_set("everything all rest todo todos")
_BUT = word_set("but except besides save menos excepto")
_HAD = word_set(
    "had was were got caught tested came did fell tuve tuvo tenia dio pase paso sufri padeci fue "
    "estuve cai cayo curo tropece resbale quebre rompi opere enferme vomite"
)


def place_times(walk: Walk) -> None:
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
            told = [m for m in by_clause[clause] if not _escapes(walk, m, name, end)]
            _mark(_without_later(walk, told, name, end), name)
        elif clauses:
            before = bisect_right(clauses, clause)
            spoken_of = by_clause[clauses[max(before - 1, 0)]]
            if _leads_into(walk, end, later := by_clause[clauses[min(before, len(clauses) - 1)]]):
                _mark(later, name)
            elif _clause_length(walk, clause) <= SHORT_CLAUSE or _is_object(
                walk, spoken_of, clause
            ):
                _mark(_without_later(walk, spoken_of, name, end), name)
    if len(walk.hints) + len(walk.mentions) <= MOST_DATED:
        _date_hints(walk)


def _without_later(walk: Walk, mentions: list[Mention], name: str, end: int) -> list[Mention]:
    """Without the second fall of "years ago I fell and today I fell": "today" stands nearer."""
    if name != "past" or len(walk.times) > MOST_DATED:
        return mentions
    mentions = [m for m in mentions if not _has_its_own_day(walk, m, end)]
    later = [at for other, _, at in walk.times if other in ("recent", "still") and at > end]
    return [m for m in mentions if not any(end < at <= m.start for at in later)]


def _has_its_own_day(walk: Walk, mention: Mention, end: int) -> bool:
    """True for the fall of "ayer me cai y hace un ano tambien", and of "I have a cough and ..."."""
    joined = any(w.text in _JOINS for w in walk.words[mention.end : end])
    near = range(mention.start - 1, mention.start + 2)
    dated = any(name == "recent" and at in near for name, _, at in walk.times)
    back = [w.text for w in walk.words[max(0, mention.start - 3) : mention.start]]
    return joined and (dated or not _IS_THERE.isdisjoint(back))


def _leads_into(walk: Walk, end: int, mentions: list[Mention]) -> bool:
    """True for the year of "ahora no, el ano pasado si tuve una caida", told before its verb."""
    start = mentions[0].start
    between = [w.text for w in walk.words[end:start]]
    return end < start and bool(between) and between[0] in _INDEED and set(between) <= _I_HAD


_I_HAD = word_set("si yes did claro indeed i had have tuve me dio a una un the he tenido")


def _is_object(walk: Walk, mentions: list[Mention], clause: int) -> bool:
    """True for the pneumonia of "neumonia me dio en el 2008", told before its verb."""
    begin = walk.clause_starts[clause]
    between = [w.text for w in walk.words[mentions[-1].end : begin]]
    return mentions[-1].end <= begin and set(between) <= _PRONOUNS


_JOINS = word_set("y and like como tambien too")
_IS_THERE = word_set("tengo estoy ando traigo have im ive")


_PRONOUNS = word_set("la lo las los ya that which esa eso")


def _date_hints(walk: Walk) -> None:
    """What lies inside a thing of the past, or in its clause behind "de chiquita", is past too."""
    over = [m for m in walk.mentions if not m.holds]
    for hint in walk.hints:
        inside = any(m.start <= hint.start and hint.end <= m.end for m in over)
        dated = any(
            name == "past" and clause == hint.clause and not _escapes(walk, hint, name, end)
            for name, clause, end in walk.times
        )
        beside = any(m.past and m.clause == hint.clause and m.end <= hint.start for m in over)
        hint.past = hint.past or inside or dated or beside


def _clause_length(walk: Walk, clause: int) -> int:
    ends = [*walk.clause_starts[clause + 1 : clause + 2], len(walk.words)]
    return sum(not w.separates for w in walk.words[walk.clause_starts[clause] : ends[0]])


def _escapes(walk: Walk, mention: Mention, name: str, end: int) -> bool:
    """True for "in hospital last year chest pain": the past time belongs to what stands before."""
    if name != "past" or mention.start < end:
        return False
    between = walk.words[end : mention.start]
    light = FILLERS | _HAD | _INDEED
    if any(w.text not in light and not w.text.endswith(_USED_TO) for w in between):
        return True
    leads_on = walk.words[end - 1].text in _LEADS_ON
    return not leads_on and end - walk.clause_starts[mention.clause] > SHORT_CLAUSE


_INDEED = word_set("si yes did claro indeed")  # "el ano pasado si tuve una caida"
_LEADS_ON = word_set("of have get be from de")


def _mark(mentions: list[Mention], name: str) -> None:
    for mention in mentions:
        setattr(mention, name, True)
