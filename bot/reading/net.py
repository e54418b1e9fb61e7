"""The net under the phrases: replies that no phrase knows, yet that speak of a body in distress.

A missed alarm is worse than a call too many. So a reply to "any symptoms?" that names a body part
or an unknown feeling, or any reply that joins a distress with a body, is an alarm whose detail a
nurse asks for.
"""

from dataclasses import replace

from bot.reading.phrases import word_set
from bot.reading.reading import Act, Asked, Reading, Symptom
from bot.reading.understood import Understood
from bot.reading.walk import Mention

_LEFT_ALONE = frozenset({Act.OPT_OUT, Act.OPT_IN, Act.WRONG_NUMBER, Act.RESCHEDULE, Act.CHOICE})
_OPEN = frozenset({Act.UNCLEAR, Act.AFFIRM})
_ANSWERS = frozenset({Act.NUMBER, Act.AFFIRM, Act.DONE, Act.DENY, Act.ALL_CLEAR})
_SELF = word_set(
    "i im ive my me myself mi me estoy tengo ando siento traigo she he her his hes shes"
)
_COUNTS = word_set("twice double doble")


def caught_in_net(reply: Understood, reading: Reading) -> Reading:
    """`reading`, or an alarm when the reply hints at one that no phrase told."""
    if reading.alert or reading.act in _LEFT_ALONE or not reply.hints:
        return reading
    distress = _named(reply, "unsure.distress")
    if reply.asked is Asked.WASH:
        distress = [h for h in distress if h.words not in _COUNTS]  # "bathed twice"
    body = _named(reply, "unsure.body")
    if not _hints_enough(reply, reading, distress, body):
        return reading
    told = (*body, *distress) or _named(reply, "unsure.feeling")
    because = tuple(dict.fromkeys(h.words for h in told))
    also = () if reading.act is Act.UNCLEAR else (reading.act, *reading.also)
    return replace(
        reading,
        act=Act.SYMPTOM,
        symptoms=(Symptom.UNWELL,),
        choices=(),
        alert=True,
        because=because,
        also=also,
    )


def _named(reply: Understood, concept: str) -> list[Mention]:
    return [h for h in reply.hints if h.concept == concept and h.holds]


def _hints_enough(
    reply: Understood, reading: Reading, distress: list[Mention], body: list[Mention]
) -> bool:
    usual = any(h.concept == "unsure.joint" for h in reply.hints)
    if reading.act is Act.QUESTION:
        return bool(distress and body and reply.says("mod.self"))
    if reply.asked is Asked.SYMPTOM_CHECK:
        if reading.act in _OPEN:
            over = reply.says("mod.gone", "mod.past")
            told = body or _named(reply, "unsure.feeling")  # "feeling draggy": some ill we lack
            return bool((told and not over) or (distress and not usual))
        contrasted = [h for h in (*body, *distress) if _after_contrast(reply, h)]
        return bool(contrasted and not usual) or bool(distress and body and not usual)
    if not usual and reading.act in _ANSWERS and _turns_to_a_body(reply, body):
        return True
    if usual or not distress or reading.act in (Act.NOT_DONE, Act.NUMBER):
        return False
    hurt = any(h.words not in _COUNTS for h in distress)  # "bathed twice" hurts nobody
    if body:
        return hurt or reading.act is not Act.DONE
    return hurt and not _SELF.isdisjoint(reply.whole.split())


def _turns_to_a_body(reply: Understood, body: list[Mention]) -> bool:
    """True for the throat of "98.6 but my throat is killing me"."""
    return any(_after_contrast(reply, h, _YET) for h in body)


def _after_contrast(reply: Understood, hint: Mention, words: frozenset[str] = frozenset()) -> bool:
    """True for the throat of "all fine except my throat"; `words`: only these make a contrast."""
    turns = (m for m in reply.matches if m.concept == "mod.but" and m.end <= hint.start)
    return any(not words or reply.words[m.start].text in words for m in turns)


_YET = word_set("but though although however pero aunque")


def tells_of_a_slip(reply: Understood) -> bool:
    """True for "forgot and took my blood thinner", told though nobody asked."""
    if not reply.says("act.still_taking") or not reply.says("unsure.medicine"):
        return False
    return not _SLIPS.isdisjoint(reply.whole.split())


_SLIPS = word_set(
    "still forgot oops accident accidentally mistake keep kept supposed todavia sigo olvido aun "
    "messed screwed goofed olvidado querer error held although"
)
