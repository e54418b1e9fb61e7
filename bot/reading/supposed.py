"""Tells what is only imagined, read about, meant in jest or a pet's from what is there."""

from bot.reading import things
from bot.reading.figures import is_figure
from bot.reading.matching import Match
from bot.reading.stories import told_after_story
from bot.reading.walk import Walk


def is_supposed(walk: Walk, event: Match) -> bool:
    """True for what is only imagined, read about, or a pet's."""
    in_story = walk.story and not told_after_story(walk, event)
    if in_story or _of_a_pet(walk, event) or things.are_meant(walk.words, event):
        return True
    if is_figure(walk.words, event):
        return True
    if event.concept == "fever_reading" and not _hangs_on_if(walk, event):
        return False
    return walk.supposed and not _claimed(walk, event)


def _hangs_on_if(walk: Walk, event: Match) -> bool:
    """True for the 38 of "if I have 38", not of "I checked just in case and it was 38"."""
    texts = [w.text for w in walk.words[max(0, event.start - LONGEST_IF) : event.start]]
    ifs = (at for at, text in enumerate(texts) if text in _IF)
    return any(at == 0 or texts[at - 1] not in _BEFORE_NO_IF for at in ifs)


LONGEST_IF = 10  # words
_IF = frozenset({"if", "si", "unless", "should", "cuando", "what", "que"})
_BEFORE_NO_IF = frozenset({"por", "see", "ver", "as", "como", "lo", "know", "saber"})


def _of_a_pet(walk: Walk, event: Match) -> bool:
    """True for the cough of "my dog has a cough"; its bite and a fall over it are the patient's."""
    bitten = event.concept in ("symptom.skin_wound", "symptom.fall")
    return walk.pets and not bitten and not event.concept.startswith("emergency.")


def _claimed(walk: Walk, event: Match) -> bool:
    """True for the cough of "should I worry about my cough?": it is there, whatever is asked."""
    if event.end - event.start > 1 or event.start == 0:
        return False
    return walk.words[event.start - 1].text in ("my", "this", "mi", "esta", "este")
