"""Decides, for each thing a reply mentions, whether it is denied, past, supposed or someone else's.

One walk from left to right over the matches. What opens a scope (a "no", an "if", "my husband")
holds until something closes it: the end of the sentence, "but", or a new "I have". Wherever two
readings are possible the one that raises the alarm is taken.
"""

from collections.abc import Callable, Sequence

from bot.reading import denial, people, things, time_words
from bot.reading.ability import is_able
from bot.reading.asking import suppose_questions
from bot.reading.denial import is_denied
from bot.reading.matching import Match
from bot.reading.near_misses import suppose_near_misses
from bot.reading.phrases import Word
from bot.reading.reach import NEGATION_REACH
from bot.reading.stories import told_after_story
from bot.reading.supposed import is_supposed
from bot.reading.time_words import place_times
from bot.reading.tokens import COMMA, STOP
from bot.reading.walk import Mention, Walk, new_clause

SAME_BREATH = 5  # words: "is a pain in my chest normal?" tells of a pain


def settle(words: Sequence[Word], events: Sequence[Match]) -> Walk:
    """The mentions and hints in `events`, each with its scope."""
    walk = Walk(words, events)
    for walk.at, event in enumerate(events):
        handler = _HANDLERS.get(event.concept)
        if handler is not None:
            handler(walk, event)
        elif event.concept.startswith(("symptom.", "emergency.", "self_harm", "fever_reading")):
            _mention(walk, event)
    if walk.times:
        place_times(walk)
    if not (walk.mentions or walk.hints):
        return walk
    suppose_near_misses(walk)
    if not walk.owned:
        suppose_questions(words, (*walk.mentions, *walk.hints))
    return walk


def separators(words: Sequence[Word]) -> list[Match]:
    """Punctuation as events of the walk."""
    return [
        Match(i, i + 1, "comma" if w is COMMA else "stop")
        for i, w in enumerate(words)
        if w.separates
    ]


def _stop(walk: Walk, event: Match) -> None:
    walk.no, walk.nos, walk.last_no, walk.thought = 0, 0, 0, False
    walk.story = walk.dead = False
    walk.supposed = walk.others = walk.pets = walk.caught = walk.listed = walk.divided = False
    new_clause(walk, event)


def _but(walk: Walk, event: Match) -> None:
    if _closes_a_list(walk, event):
        walk.mentions[-1].denied = True
        return
    walk.no = walk.last_no = 0
    walk.supposed = False
    walk.listed = walk.divided = False
    new_clause(walk, event)


def _closes_a_list(walk: Walk, event: Match) -> bool:
    """True for the last word of "fiebre nunca, heridas menos"."""
    ahead = walk.words[event.end] if event.end < len(walk.words) else STOP
    if walk.words[event.start].text != "menos" or not ahead.separates or not walk.mentions[1:]:
        return False
    return walk.mentions[-2].denied and walk.mentions[-1].end == event.start


def _exposed(walk: Walk, event: Match) -> None:
    _mention(walk, event)
    walk.mentions[-1].others = True
    people.other(walk, event)


def _story(walk: Walk, event: Match) -> None:
    walk.story, walk.story_end = True, event.end


def _dead(walk: Walk, event: Match) -> None:
    """ "My late husband": what follows, up to the next "I", is told of the dead."""
    walk.story, walk.dead, walk.story_end = True, True, event.end


def _suppose(walk: Walk, event: Match) -> None:
    walk.supposed = True


def _suppose_at_start(walk: Walk, event: Match) -> None:
    ahead = walk.words[event.end : event.end + SAME_BREATH]
    if event.start == 0 or walk.words[event.start - 1].separates:
        walk.supposed = all(w.text not in ("my", "mi") for w in ahead)


def _doubt(walk: Walk, event: Match) -> None:
    walk.supposed = False
    walk.no = 0


def _mention(walk: Walk, event: Match) -> None:
    walk.mentions.append(
        Mention(
            concept=event.concept,
            start=event.start,
            end=event.end,
            words=" ".join(w.text for w in walk.words[event.start : event.end]),
            denied=is_denied(walk, event) or is_able(walk.words, event),
            supposed=is_supposed(walk, event),
            others=_is_of_others(walk, event),
            lasting=event.negative or event.concept.startswith(_LASTING),
            negative=event.negative,
            clause=walk.clause,
        )
    )


def _hint(walk: Walk, event: Match) -> None:
    """A body part or distress. It is judged by the scopes open, and changes none."""
    near = event.start - walk.no_end <= NEGATION_REACH
    masked = event.start < walk.masked_until
    if walk.no and near and not masked and event.concept == "unsure.distress":
        for body in walk.hints[-2:]:  # the legs of "las piernas no se me hincharon"
            body.denied = body.denied or body.clause == walk.clause
    walk.hints.append(
        Mention(
            concept=event.concept,
            start=event.start,
            end=event.end,
            words=" ".join(w.text for w in walk.words[event.start : event.end]),
            denied=bool(walk.no) and near and not masked,
            supposed=walk.supposed
            or (walk.story and not told_after_story(walk, event))
            or walk.pets
            or things.of_nobody(walk.words, event),
            others=walk.others and not people.is_taken_for_patient(walk, event),
            clause=walk.clause,
        )
    )


_HAS = frozenset({"has", "hes", "shes", "tiene", "tienen"})
_LASTING = (
    "self_harm",
    "emergency.",
    "fever_reading",
    "symptom.fever",
    "symptom.fall",
    "symptom.vomiting",
    "symptom.diarrhea",
    "symptom.urinary",
)


def _own(walk: Walk, event: Match) -> None:
    """ "Can they operate with a cold? I have one." """
    if walk.no:
        return  # "I don't have one"
    walk.owned = bool(walk.mentions)
    for mention in walk.mentions[-8:]:
        mention.supposed = False


def _joke(walk: Walk, event: Match) -> None:
    """ "My ribs hurt from laughing": no illness."""
    for mention in (*walk.mentions[-2:], *walk.hints[-3:]):
        near = mention.clause == walk.clause and event.start - mention.end <= SAME_BREATH
        mention.supposed = mention.supposed or (near and mention.concept != "self_harm")


def _is_of_others(walk: Walk, event: Match) -> bool:
    """True for the covid of "my neighbor has covid", and of "my neighbor I ride with has covid"."""
    if walk.caught or _says_my(walk, event) or people.is_taken_for_patient(walk, event):
        return False
    if people.is_caught(walk, event):
        return True
    back = [w.text for w in walk.words[max(0, event.start - 3) : event.start + 1]]
    return walk.others or (walk.antecedent and not _HAS.isdisjoint(back))


def _says_my(walk: Walk, event: Match) -> bool:
    """True for "someone sitting on my chest": the chest is the writer's."""
    return any(w.text in ("my", "mi") for w in walk.words[event.start : event.end])


_HANDLERS: dict[str, Callable[[Walk, Match], None]] = {
    "unsure.body": _hint,
    "reading": _hint,
    "unsure.distress": _hint,
    "unsure.joint": _hint,
    "unsure.feeling": _hint,
    "stop": _stop,
    "comma": denial.comma,
    "mod.but": _but,
    "mod.and": denial.divide,
    "mod.or": denial.or_,
    "mod.neg": denial.negate,
    "mod.neg_think": denial.negate,
    "mod.neg_item": denial.negate_item,
    "mod.yes": denial.affirm,
    "mod.until": denial.until,
    "mod.restart": denial.restart,
    "mod.restart_verb": denial.restart_verb,
    "mod.weak_restart": denial.weak_restart,
    "mod.other_verb": denial.lose_negation,
    "mod.other": people.other,
    "mod.writer": people.tells_as_helper,
    "mod.pronoun": people.pronoun,
    "mod.pet": people.pet,
    "mod.gave_me": people.gave,
    "mod.caught_from": people.caught_from,
    "mod.self": people.speaks,
    "mod.says": people.speaks,
    "mod.story": _story,
    "mod.dead": _dead,
    "mod.suppose": _suppose,
    "mod.doubt": _doubt,
    "mod.joke": _joke,
    "mod.owns": _own,
    "mod.pseudo": denial.pseudo,
    "mod.suppose_start": _suppose_at_start,
    "mod.gone": time_words.note_gone,
    "mod.past_if_had": time_words.note_past_if_had,
    "mod.past": time_words.note_time,
    "mod.recent": time_words.note_time,
    "mod.still": time_words.note_time,
    "mod.exposed": _exposed,
}
