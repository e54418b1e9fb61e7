"""Tells a number that its writer took back: "101.0 sorry typo 100.1", "no es 39, es 36.7"."""

from collections.abc import Sequence

from bot.reading.phrases import Word, word_set

LONGEST_MENDING = 12  # words between a wrong reading and the right one
_MENDS = word_set(
    "sorry typo oops ooops whoops correction mean meant wait misread mistake mistyped scratch "
    "perdon digo corrijo correccion equivoque error espere espera reves"
)
_WRONG = word_set("wrong mal upside backwards reves")
_SAW = word_set("vi lei read saw looked mire fije holding agarre tome typed puse escribi")
_IS = word_set("es era son fue is was")
_ISNT = word_set("isnt wasnt not")
_ROUGHLY = word_set("almost nearly about casi")  # "casi treinta y nueve, 38,9 exacto"


def is_mended(words: Sequence[Word], span: tuple[int, int], later: int) -> bool:
    """True for the first of "101.0 sorry typo 100.1": its span, and where the next one starts."""
    if _is_not(words, span[0]):
        return True
    between = [w.text for w in words[span[1] : later]]
    if len(between) > LONGEST_MENDING:
        return False
    wrong = not _WRONG.isdisjoint(between) and not _SAW.isdisjoint(between)
    return wrong or not _MENDS.isdisjoint(between)


def _is_not(words: Sequence[Word], at: int) -> bool:
    """True for the first of "no es 39, es 36.7" and of "almost 39, 38.9"."""
    back = ["", *(w.text for w in words[max(0, at - 2) : at])]
    return back[-1] in _ISNT | _ROUGHLY or (back[-2:-1] in (["no"], ["not"]) and back[-1] in _IS)


def is_rejected(words: Sequence[Word], at: int) -> bool:
    """True for the last of "102.1 and not 98.1" and "38 en vez de 37"."""
    back = [w.text for w in words[max(0, at - 3) : at]]
    return back[-2:] in (["and", "not"], ["y", "no"], ["instead", "of"]) or back == _EN_VEZ_DE


_EN_VEZ_DE = ["en", "vez", "de"]
