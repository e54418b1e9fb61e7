"""Takes back an answer that a long reply gives by one word out of place.

"I drank from the wrong bottle and ..." is no wrong number, and the "how" of a story asks nothing.
A long reply that says neither its answer first nor anything else that is understood is unclear: it
is asked again, which loses a minute where a wrong answer loses an alarm.
"""

from dataclasses import replace

from bot.reading.reading import Act, Reading
from bot.reading.tokens import QUESTION
from bot.reading.understood import Understood

LONGEST_SURE = 12  # words; a longer reply must give its answer by more than one word
OPENING = 3  # words that may stand before the answer: "well nurse, no ..."
_DOUBTED = frozenset({Act.DENY, Act.DONE, Act.NOT_DONE, Act.WRONG_NUMBER, Act.QUESTION})
_ANSWERS = ("act.no", "act.all_good", "act.done", "act.not_done", "act.stopped", "mod.neg")


def without_accident(reply: Understood, reading: Reading) -> Reading:
    """`reading`, or unclear when a stray word of a long story made it."""
    if reading.alert or len(reply.content) <= LONGEST_SURE or not _is_accident(reply, reading):
        return reading
    return replace(reading, act=Act.UNCLEAR, because=(reply.whole[:80],))


def _is_accident(reply: Understood, reading: Reading) -> bool:
    known = reply.mentions or reply.temperature is not None or reply.says("mod.past", "mod.gone")
    if known or QUESTION in reply.words:
        return False
    if reading.act is Act.ALL_CLEAR:  # of nothing but a distress that is denied
        return reading.because == (reply.whole,) and not reply.says(*_ANSWERS)
    if reading.act not in _DOUBTED or _opens_with_answer(reply):
        return False
    return sum(len(quoted.split()) for quoted in reading.because) == 1


def _opens_with_answer(reply: Understood) -> bool:
    return any(m.start < OPENING and m.concept in _ANSWERS for m in reply.matches)
