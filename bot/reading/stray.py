"""Answer words that are no answer where they stand: the "done" of "drive into it and be done".

An answer taken by accident hides an alarm that no phrase knows, so in doubt it is no answer.
"""

from collections.abc import Sequence

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set
from bot.reading.tokens import STOP

_ANSWERS = frozenset(
    f"act.{name}" for name in ("no", "done", "not_done", "all_good", "stopped", "yes_short")
)
_USED_TO = word_set("used was")
_LITTLE_WHILES = word_set("rato ratito ratico momento momentito minuto")
_PACES = word_set("hace cada")  # "hace ratito", "a cada ratito"
_TURNS = word_set("puso puse pone pongo veo ve tiene salio")  # "se puso bien pale"
_TO_BE = word_set("be get being")
_LET_ME = word_set("le que reviso veo pregunto busco miro checo averiguo ver me")


def without_strays(words: Sequence[Word], matches: list[Match]) -> list[Match]:
    """`matches` without the answers that are none."""
    return [m for m in matches if m.concept not in _ANSWERS or not _is_stray(words, m)]


def _is_stray(words: Sequence[Word], match: Match) -> bool:
    first, last = words[match.start].text, words[match.end - 1].text
    before = words[match.start - 1].text if match.start else ""
    after = words[match.end] if match.end < len(words) else STOP
    if match.concept == "act.no":
        goes_on = first == "que" and before and not after.separates  # "tos que no cede"
        never = first == "never" and after.text in _USED_TO
        return never or bool(goes_on and before not in _SAYS)
    if match.concept == "act.yes_short":
        return first == last == "y" and not after.separates  # "oiga y puedo manejar"
    if match.concept == "act.not_done":
        return last in _LITTLE_WHILES and before in _PACES
    if match.concept == "act.done":
        return first == "done" and before in _TO_BE
    if match.concept == "act.all_good":
        return first == last == "bien" and before in _TURNS and not after.separates
    return first == last == "deje" and match.start == 0 and after.text in _LET_ME


_SAYS = word_set("dice digo dijo creo pues diria dicen claro")
