"""Leaves out what a more telling mention already says: the "infected" of "my cut is infected"."""

from collections.abc import Sequence

from bot.reading.phrases import word_set
from bot.reading.walk import Mention

MOST_COMPARED = 40  # mentions: time must grow in line with the text
_VAGUE = word_set(
    "infected infection infections infectada infectado infeccion swollen swelling swells swelled "
    "swole hinchada hinchado hinchazon hincho inflamada inflamado pus oozing draining sore a un "
    "una bleeding sangra sangrando red roja rojo hot caliente abscess absceso worse got burns "
    "itchy puffy tender materia"
)
_SAID_BY = {
    "symptom.vomiting": word_set("nausea nauseous nauseated queasy ill nauseas asco"),
    "symptom.fever": word_set(
        "feel feels feeling felt feverish hot warm really very shivery shaking under blankets and 3"
    ),
}


def telling(mentions: Sequence[Mention]) -> list[Mention]:
    """`mentions` without those that only repeat vaguely what another of them tells."""
    if len(mentions) > MOST_COMPARED:
        return list(mentions)
    return [m for m in mentions if not any(_tells(other, m) for other in mentions)]


def _tells(other: Mention, vague: Mention) -> bool:
    if other.concept == vague.concept or not vague.concept.startswith("symptom."):
        return False
    said = set(vague.words.split())
    if vague.concept == "symptom.unwell" and said <= _SAID_BY.get(other.concept, frozenset()):
        return True
    inside = other.start <= vague.start and vague.end <= other.end
    return inside and said <= _VAGUE and vague.end - vague.start < other.end - other.start
