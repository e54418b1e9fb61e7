"""Which of the temperatures in a reply is the patient's, and the one of now.

"98.4 now, 98.7 last night" is 98.4. That a fever was there last night raises its alarm elsewhere.
Where no word tells which is of now it is the highest.
"""

from collections.abc import Sequence

from bot.reading.phrases import Word, word_set
from bot.reading.reading import Temperature
from bot.reading.temperature import Measured
from bot.reading.walk import Mention

_NOW = word_set(
    "now today tonight currently hoy ahora ahorita ahoritita actual latest second segunda then "
    "luego despues over"
)
_THEN = word_set(
    "last yesterday ayer anoche antier anteayer antenoche ago earlier antes before monday tuesday "
    "wednesday thursday friday saturday sunday mon tue tues thu thurs fri lunes "
    "martes miercoles jueves viernes sabado domingo pasado pasada first primera rato"
)


def own_temperature(
    words: Sequence[Word], measured: Sequence[Measured], mentions: Sequence[Mention]
) -> Temperature | None:
    """The patient's temperature, or None. `mentions` tell whose each reading is."""
    stated = [m for m in measured if m.temperature and m.bound != "under"]
    foreign = {m.start for m in mentions if _is_reading(m) and (m.others or m.supposed)}
    own = [m for m in stated if m.start not in foreign]
    stated = own if own or _fevers(stated, mentions) else stated  # a helper writes
    denied = {m.start for m in mentions if m.concept == "fever_reading" and m.denied}
    stated = [m for m in stated if m.start not in denied] or stated
    if len(stated) > 1:
        stated = _of_now(words, stated)
    temperatures = [m.temperature for m in stated if m.temperature]
    return max(temperatures, key=lambda t: t.celsius, default=None)


def _is_reading(mention: Mention) -> bool:
    return mention.concept in ("reading", "fever_reading")


def _fevers(stated: Sequence[Measured], mentions: Sequence[Mention]) -> bool:
    places = {m.start for m in stated}
    return any(m.concept == "fever_reading" and m.start in places for m in mentions)


def _of_now(words: Sequence[Word], stated: list[Measured]) -> list[Measured]:
    """Those said to be of now; else those not said to be of an earlier day."""
    first = stated[0].start
    before = any(w.text in _NOW | _THEN for w in words[:first])  # "Mon 98.1, today 98.2"
    times = [_time_words(words, stated, at, before=before) for at in range(len(stated))]
    now = [m for m, said in zip(stated, times, strict=True) if said & _NOW and not said & _THEN]
    if now:
        return now[-1:]
    return [m for m, said in zip(stated, times, strict=True) if not said & _THEN] or stated


def _time_words(
    words: Sequence[Word], stated: Sequence[Measured], at: int, *, before: bool
) -> set[str]:
    """The words between this reading and the one before it, or the one after it."""
    start, end = stated[at].start, stated[at].end
    earlier = stated[at - 1].end if at else 0
    later = stated[at + 1].start if at + 1 < len(stated) else len(words)
    if before:
        return {w.text for w in words[earlier:start]}
    back = _turn(words, earlier, start) if at else 0
    ahead = _turn(words, end, later) if later < len(words) else later
    return {w.text for w in (*words[back:start], *words[end:ahead])}


def _turn(words: Sequence[Word], begin: int, end: int) -> int:
    """Where, between two readings, what is said of the first ends."""
    turns = (i for i in range(begin, end) if words[i].separates or words[i].text in _AND)
    return next(turns, end)


_AND = word_set("and y but pero then")
