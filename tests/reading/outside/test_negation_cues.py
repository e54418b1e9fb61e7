"""Negation and its end, by the cue lists of negspacy 1.1.0 (English and Spanish, clinical).

negspacy carries cues but no annotated text; no package on PyPI was found that carries an open
negation test set. So each cue that a patient or nurse could write is put before a symptom.
"""

import runpy

import pytest
from peer_packages import needed

from bot.content.lexicon import load_lexicon
from bot.reading.reader import read
from bot.reading.reading import Asked

pytestmark = pytest.mark.peers

# Cues that do not deny a symptom in a message to a nurse, or that belong to a chart only.
NOT_A_DENIAL = {
    "doubt": "a doubt is asked about, not taken as a no",
    "versus": "a differential diagnosis",
    "symptoms atypical": "chart language",
    "evaluate for": "an order, not a finding",
    "no cause of": "the symptom is there, its cause is not known",
    "rule out": "an order, not a finding",
    "rule him out": "an order",
    "rule her out": "an order",
    "rule patient out": "an order",
    "rule the patient out": "an order",
    "ruled him out": "chart language",
    "ruled her out": "chart language",
    "ruled patient out": "chart language",
    "ruled the patient out": "chart language",
    "rules out": "chart language",
    "r/o": "an order",
    "ro": "an order",
    "fails to reveal": "chart language",
    "not demonstrate": "half a phrase",
    "declined": "refusing is not denying: declined fever makes no sense",
    "cannot": "'cannot cough' is not the lack of a cough",
    "can't": "as above",
    "cant": "as above",
    "couldn't": "as above",
    "couldnt": "as above",
    "wasn't": "past",
    "wasnt": "past",
    "weren't": "past",
    "werent": "past",
    "aren't": "needs a plural subject",
    "arent": "as above",
    "didn't": "needs a verb",
    "didnt": "as above",
    "don't": "needs a verb",
    "dont": "as above",
    "doesn't": "needs a verb",
    "doesnt": "as above",
}
NEEDS_A_VERB = ("don't have", "dont have", "doesn't have", "doesnt have", "didn't have")
# Words after which a denial no longer holds, in a message to a nurse.
ENDS = ("but", "except", "however", "although", "apart from", "aside from", "though", "yet")
ENDS_ES = ("pero", "excepto", "aunque", "sin embargo")
# The Spanish list is long and mostly chart language; these are what a message can hold.
DENIALS_ES = (
    "no",
    "no tengo",
    "sin",
    "niega",
    "ausencia de",
    "libre de",
    "negativo para",
    "nunca tuve",
    "sin signos de",
    "sin quejas de",
    "no me quejo de",
)

LEXICON = load_lexicon()


def cues(language: str) -> dict[str, list[str]]:
    place = needed("negspacy").locate_file("negspacy/termsets.py")
    return runpy.run_path(str(place))["LANGUAGES"][language]


CUES = cues("en_clinical")
CUES_ES = cues("es_clinical")


def alert(text: str, language: str) -> bool:
    return read(text, Asked.SYMPTOM_CHECK, LEXICON, language=language).alert


def test_an_english_cue_before_a_symptom_denies_it():
    used = [cue for cue in CUES["preceding_negations"] if cue not in NOT_A_DENIAL]
    assert len(used) >= 20
    texts = [f"{cue} fever" for cue in (*used, *NEEDS_A_VERB)]
    assert [text for text in texts if alert(text, "en")] == []


def test_a_symptom_after_the_end_of_a_denial_counts():
    assert set(ENDS) <= set(CUES["termination"])
    texts = [f"no cough {end} I have a fever" for end in ENDS]
    assert [text for text in texts if not alert(text, "en")] == []


def test_words_that_only_look_like_a_denial_do_not_hide_an_alarm():
    texts = ["not only a cough, fever too", "not only fever", "no change, still coughing"]
    assert [text for text in texts if not alert(text, "en")] == []


def test_a_spanish_cue_before_a_symptom_denies_it():
    missing = [cue for cue in DENIALS_ES if cue not in CUES_ES["preceding_negations"]]
    assert missing == []
    assert [cue for cue in DENIALS_ES if alert(f"{cue} fiebre", "es")] == []


def test_a_symptom_after_the_end_of_a_spanish_denial_counts():
    used = [end for end in ENDS_ES if end in CUES_ES["termination"]]
    assert len(used) >= 2
    assert [end for end in used if not alert(f"no tengo tos {end} tengo fiebre", "es")] == []
