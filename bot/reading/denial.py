"""Decides what a "no" denies: where it opens, how far it reaches and what closes it."""

from bot.reading.answered_last import closes_the_answer
from bot.reading.double_negation import is_inverted, undoes
from bot.reading.matching import Match
from bot.reading.people import is_left_out
from bot.reading.phrases import word_set
from bot.reading.reach import LISTED_WITH, reaches
from bot.reading.tokens import COMMA, QUESTION, STOP
from bot.reading.walk import Walk, is_relative, new_clause, or_ahead

DIRE = ("emergency.", "self_harm")
_NOR = word_set("ni nor tampoco")
_NO_AGAIN = word_set("nada jamas nunca nothing none never")  # "no quiero despertar jamas"


def pseudo(walk: Walk, event: Match) -> None:
    walk.masked_until = event.end


def comma(walk: Walk, event: Match) -> None:
    if walk.no and walk.no_end == event.start and not walk.listed:
        walk.no = 0  # "No, ..." answers; it does not deny what follows
    divide(walk, event)


def divide(walk: Walk, event: Match) -> None:
    """A comma or "and". A "no" that denied something else ends here: "no ride, and a cough"."""
    if _is_he(walk, event):
        return
    walk.last_no = 0
    closes = walk.no and not walk.listed and event.start >= walk.no_end
    if closes and walk.words[event.start - 1].text not in LISTED_WITH and not or_ahead(walk):
        walk.no = 0
    walk.divided = True


def _is_he(walk: Walk, event: Match) -> bool:
    """True for the "e" of "no e tenido fiebre", heard for "he"."""
    ahead = walk.words[event.end].text if event.end < len(walk.words) else ""
    return walk.words[event.start].text == "e" and ahead.endswith(_PARTICIPLES)


_PARTICIPLES = ("ido", "ado", "dio")


def or_(walk: Walk, event: Match) -> None:
    walk.divided = False
    walk.no_end = event.end


def negate_item(walk: Walk, event: Match) -> None:
    """The second "nothing" of "no cough, nothing itching, nothing new"; else it is an answer."""
    item = walk.events[walk.at + 1 : walk.at + 10]
    ends = [e.end for e in item if e.start == event.end and e.concept.startswith("symptom.")]
    listed = event.start > 0 and walk.words[event.start - 1] is COMMA
    if listed and any(end == len(walk.words) or walk.words[end].separates for end in ends):
        negate(walk, event)


def negate(walk: Walk, event: Match) -> None:
    if _answers_mention(walk, event):
        again = walk.words[event.start].text in _NO_AGAIN
        for mention in walk.mentions[-4:]:
            answered = mention.end >= walk.mentions[-1].start
            spared = mention.concept.startswith(_SPARED) and event.end - event.start > 1
            here = answered and not spared and not (again and mention.negative)
            mention.denied = mention.denied or here
        return
    if event.start < walk.masked_until:
        return
    again = walk.no == 2 or (walk.thought and event.concept == "mod.neg")
    if (again and walk.words[event.start].text not in _NOR) or undoes(walk, event):
        walk.no, walk.thought = 0, False  # "I wouldn't say I have no cough"
        walk.last_no = 0
        return
    walk.last_no = event.end
    walk.thought = event.concept == "mod.neg_think"
    walk.no = 2 if event.concept == "mod.neg_think" else 1
    walk.no_end = event.end
    walk.nos += 1
    walk.listed = walk.divided = False


def _answers_mention(walk: Walk, event: Match) -> bool:
    """True for the "no" of "fever: no" and "fever no cough no"."""
    last_end = max((m.end for m in walk.mentions[-4:]), default=event.start + 1)
    if event.start < last_end:
        return False
    between = walk.words[last_end : event.start]
    ahead = [w for w in walk.words[event.end : event.end + 2] if w.text not in _POLITE]
    following = ahead[0] if ahead else STOP
    if not between and (following.separates or following.text in _GOES_ON):
        return walk.words[event.start].text in _BARE_NO
    if closes_the_answer(walk, event, between):
        return True
    if event.end - event.start > 1:
        return False
    if not between:
        return _filled_in_like_a_form(walk)
    asked = between[-1] is QUESTION or between[-1] is COMMA
    return following.separates and asked and len(between) <= 2 and between[0] is not STOP


_POLITE = word_set("maam sir sirree senor senora")
_SPARED = ("self_harm", "emergency.")  # "can't breathe no more" denies nothing
_BARE_NO = word_set(
    "no not none nope nah negative neg ni nada ninguna ninguno tampoco denied denies nunca jamas "
    "cero zero"
)
_GOES_ON = word_set("pero but y and aunque though sino solo only just tampoco either yet")


def _filled_in_like_a_form(walk: Walk) -> bool:
    last, first = walk.events[-1], walk.events[0]
    if last.end != len(walk.words):
        return False
    return last.concept in ("mod.neg", "mod.yes") and not first.concept.startswith("mod.")


def affirm(walk: Walk, event: Match) -> None:
    last = walk.mentions[-1] if walk.mentions else None
    asked = walk.words[event.start - 1] in (COMMA, QUESTION)
    if last is not None and last.end == event.start - (1 if asked else 0):
        last.denied = False
    walk.no = 0


def restart(walk: Walk, event: Match) -> None:
    if walk.mentions and event.end <= walk.mentions[-1].end:
        return  # the "my" of "broke my leg"
    if walk.words[event.start].text in ("yo", "me") and is_left_out(walk, event):
        return
    if is_relative(walk, event):
        return
    if is_inverted(walk, event):
        walk.no, walk.no_end, walk.listed = 1, event.end, False
        return
    walk.no = 1 if walk.no == 2 else 0
    if walk.divided:
        walk.supposed = False
    new_clause(walk, event)
    walk.others = walk.pets = False


def restart_verb(walk: Walk, event: Match) -> None:
    """A verb that carries its "I" ("tengo") starts afresh, unless the "no" stands right before."""
    if not walk.no or event.start > walk.no_end:
        restart(walk, event)
    walk.no_end = max(walk.no_end, event.end)


def weak_restart(walk: Walk, event: Match) -> None:
    if walk.divided and not or_ahead(walk):
        walk.no = 0


def until(walk: Walk, event: Match) -> None:
    """ "I never had a fever until today": what was denied is there now."""
    for mention in walk.mentions[-8:]:
        if mention.clause == walk.clause:
            mention.denied = False
    walk.no = 0


def lose_negation(walk: Walk, event: Match) -> None:
    walk.no = 0


def is_denied(walk: Walk, event: Match) -> bool:
    if event.negative:
        walk.no, walk.masked_until = 0, event.end
        return False
    if not walk.no or _is_lost_ability(walk, event):
        return False
    if walk.listed and event.end <= walk.no_end:
        return True  # inside what is denied already
    next_item = walk.divided and walk.listed
    alone = next_item and (_stands_alone(walk, event) or _goes_on_still(walk, event))
    if alone or _tells(walk, event) or not reaches(walk, event):
        walk.no = 0
        return False
    walk.no_end = max(walk.no_end, event.end)
    walk.listed, walk.divided = True, False
    return True


def _is_lost_ability(walk: Walk, event: Match) -> bool:
    """True for the "puedo tragar" of "ni puedo tragar": an ability denied is the alarm itself."""
    return walk.words[event.start].text in ("puedo", "can") and walk.no_end == event.start


def _tells(walk: Walk, event: Match) -> bool:
    """True for the "chest feels tight" of "no cough chest feels tight": a sentence of its own."""
    again = not walk.listed or event.start < walk.no_end  # one span may say several things
    if again or not event.concept.startswith(DIRE) or or_ahead(walk):
        return False
    return any(w.text in _TELLING_VERBS for w in walk.words[event.start : event.end])


_TELLING_VERBS = word_set(
    "feels feel felt is are was hurts passed fainted collapsed fell hit took burns aches wants "
    "want duele siento siente aprieta desmaye cayo cai pegue tome quiero quiere"
)


def _goes_on_still(walk: Walk, event: Match) -> bool:
    """True for the last of "no more fever, throat still raw"."""
    said = [w.text for w in walk.words[max(0, event.start - 1) : event.end]]
    return not _STILL.isdisjoint(said)


_STILL = word_set("still todavia aun sigue sigo now ahora")


def _stands_alone(walk: Walk, event: Match) -> bool:
    """True for "coughing" in "no fever, coughing" and for the last of "no x, no y, z".

    An "or" ahead makes it one more item of a list.
    """
    if event.concept == "fever_reading":
        return True
    verb = walk.words[event.end - 1].text.endswith(("ing", "endo", "ando"))
    return (verb or walk.nos > 1) and not or_ahead(walk)
