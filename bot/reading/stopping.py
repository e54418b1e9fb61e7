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


def _is_denied(reply: Understood, at: int) -> bool:
    if reply.words[at].text not in _STOPPING:
        return False
    while at and reply.words[at - 1].text in _BETWEEN:
        at -= 1
    return at > 0 and reply.words[at - 1].text in _NOT
