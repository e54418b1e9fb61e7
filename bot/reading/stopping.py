"""Tells a medicine that was not stopped from one that was: "no dejo la aspirina"."""

from bot.reading.phrases import word_set
from bot.reading.understood import Understood

_STOPPING = word_set(
    "gave given giving stopped stop quit discontinued threw dejo deje dejado abandone abandono "
    "corte corto largue largo solte solto bote boto suspendi suspendio interrumpi interrumpio "
    "quito quite pare paro"
)
_NOT = word_set(
    "no not never nunca havent hasnt hadnt didnt wont cant couldnt dont aint jamas tampoco"
)
_BETWEEN = word_set("la lo las los me se le yet he ha yo i")


def is_not_stopped(reply: Understood) -> bool:
    """True when each stopping that is told has a "no" before it; a blood thinner goes on."""
    told = [m for m in reply.matches if m.concept == "act.stopped"]
    return bool(told) and all(_is_denied(reply, m.start) for m in told)


def told_the_last(reply: Understood) -> bool:
    """True for "la ultima me la tome el dia quince, desde entonces ni una"."""
    texts = reply.whole.split()
    last = not _LAST.isdisjoint(texts) and _NOW.isdisjoint(texts)
    since = next((i for i, t in enumerate(texts) if t in ("since", "desde")), None)
    if not last or since is None:
        return False
    near = texts[max(0, since - 3) : since + 4]
    return not _NONE.isdisjoint(near) and texts[-1] not in ("diario", "daily")


_LAST = word_set("last ultima ultimo")
_NOW = word_set("today hoy ahora still sigo todavia this tomo take taking hour hora")
_NONE = word_set("none nothing one ni ninguna nada not")


def _is_denied(reply: Understood, at: int) -> bool:
    if reply.words[at].text not in _STOPPING:
        return False
    while at and reply.words[at - 1].text in _BETWEEN:
        at -= 1
    return at > 0 and reply.words[at - 1].text in _NOT
