"""Tells a fever that is none: "fiebre solo la del carnaval", "only fever here is football fever".

Only in a reply that says besides that all is well; what may be of a body, a day or a person is no
figure of speech.
"""

from collections.abc import Sequence
from itertools import pairwise, takewhile

from bot.reading.matching import Match
from bot.reading.phrases import Word, word_set

_FIGURED = frozenset({"symptom.fever", "symptom.cough", "symptom.rash", "symptom.unwell"})
_ONLY = word_set("only unica unico solo nomas sola just")
_THE_ONE = frozenset(
    [(a, b) for a in ("la", "el", "las") for b in ("del", "de", "que")]
    + [("the", "one"), ("the", "kind"), ("for", "the"), ("of", "the")]
)
_IS = word_set("is es here es around i got have ive")
_WELL = word_set(
    "bien sano sana nada fine good ok okay well nothing no ningun sin great none sintomas healthy"
)
_REAL = word_set(
    "noches tardes mananas "
    "noche anoche ayer manana hoy siempre dia dias tarde lunes martes miercoles jueves viernes "
    "sabado domingo semana madrugada mes ano antier grados covid gripe gripa virus mi mis me yo "
    "tengo traigo traia tuve siento da dio nieta nieto nietos esposo esposa hijo hija mama papa "
    "garganta pecho night last yesterday today morning day week evening weekend now degrees i had "
    "have my flu cold still wont since it he she his her started grandson husband wife always "
    "usual desde cuando pierna rodilla herida piel other before"
)
LONGEST = 8  # words of a figure
FAR = 20  # words on each side
_KINDS = word_set(
    "spring cabin gold football baseball hockey soccer basketball lottery series playoff playoffs "
    "world season fishing hunting election holiday christmas travel"
)


def is_figure(words: Sequence[Word], event: Match) -> bool:
    """True for the fever of a feast or a game, in a reply that says all is well."""
    if event.concept not in _FIGURED or event.end - event.start > 2:
        return False
    told = [w.text for w in takewhile(_goes_on, words[event.end : event.end + LONGEST])]
    back = [w.text for w in words[max(0, event.start - 2) : event.start]]
    end = event.end + len(told)
    around = (*words[max(0, event.start - FAR) : event.start], *words[end : end + FAR])
    rest = {w.text for w in around}
    if rest.isdisjoint(_WELL) or any(t in _REAL or t[:1].isdigit() for t in told[1:]):
        return False
    only = not _ONLY.isdisjoint(back) or not _ONLY.isdisjoint(told[:1])
    named = not _KINDS.isdisjoint(told) or not _KINDS.isdisjoint(back[-1:])
    of_what = any(pair in _THE_ONE for pair in pairwise(told))
    return (only and (named or of_what)) or (of_what and tuple(told[:2]) in _THE_ONE)


def _goes_on(word: Word) -> bool:
    return not word.separates
