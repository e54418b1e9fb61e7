"""Two negations that make a yes, and the turned-round sentences that are a no."""

from bot.reading.matching import Match
from bot.reading.phrases import word_set
from bot.reading.walk import Walk

LONG_OPENING = 14  # words


def undoes(walk: Walk, event: Match) -> bool:
    """True for the second "no" of "it's not like she doesn't" and "not a day that I haven't"."""
    if walk.words[event.start].text in _WITHOUT and _cannot(walk, event):
        return True  # "can't get through a sentence without coughing"
    if not walk.last_no or (walk.mentions[-1:] and walk.mentions[-1].start >= walk.last_no - 1):
        return False
    between = [w.text for w in walk.words[walk.last_no : event.start]]
    if between == ["que"]:
        return False  # "que no, que no tengo"
    if walk.words[walk.last_no - 1].text in _PLAIN_NO and _SUCH_AS.isdisjoint(between):
        return False
    if walk.words[event.start].text in _WITHOUT:
        return len(between) <= 1 or not _LINKS.isdisjoint(between)  # "haven't been without a cough"
    return bool(between) and not _LINKS.isdisjoint(between)


def _cannot(walk: Walk, event: Match) -> bool:
    back = [w.text for w in walk.words[max(0, event.start - LONG_OPENING) : event.start]]
    clause = back[max((i + 1 for i, t in enumerate(back) if t in ".?,"), default=0) :]
    modal = "puedo" in clause and "no" in clause
    return modal or not _CANNOT.isdisjoint(clause)


_WITHOUT = word_set("without sin")
_CANNOT = word_set("cant cannot couldnt hardly barely")
_SUCH_AS = frozenset({"que", "dia", "noche"})
_PLAIN_NO = word_set("no nope nah neg negative")
_LINKS = word_set(
    "that like say saying said says day night hour minute mean claim pretend tell when remember "
    "recall que decir digo lie dia noche hora rato"
)


def is_inverted(walk: Walk, event: Match) -> bool:
    """True for the "have I had" of "not since 1990 have I had a cough", and of "nor do I have"."""
    if not event.start or walk.words[event.start].text != "i":
        return False
    back = [w.text for w in walk.words[max(0, event.start - LONG_OPENING) : event.start]]
    if back[-1] not in _AUXILIARIES:
        return False
    sentence = back[max((i + 1 for i, t in enumerate(back) if t in ".?"), default=0) :]
    return sentence[0] in _NEVER or (sentence[0] == "not" and sentence[1] in _NOT_ONCE)


_AUXILIARIES = word_set("have had did do am was")
_NEVER = word_set("never nor neither")
_NOT_ONCE = word_set("since once in a for even ever lately this until")
