"""The reader beside an off-the-shelf clinical negation pipeline, on the same replies: those
kept for reporting, or those it was tuned on while there are no others.

`python tests/benchmarks/reader_vs_pipeline.py` makes `.venv-peers/` if it is not there, then prints
alert recall, false alarms and replies per second of both. The pipeline is spaCy 3.8.18 (a blank
English and a blank Spanish tokenizer, an entity ruler over the symptom words below) with negspacy
1.1.0 and its own clinical cue lists: an alert is any symptom word that is not negated. It knows
nothing of temperatures as numbers, of people or of time; that is what is compared.
"""

import json
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "reading" / "outside")]

import peer_packages  # noqa: E402
import reader_scores  # noqa: E402

ROUNDS = 3  # the fastest round counts, for both
ENGLISH = """
fever, feverish, temperature, chills, cough, coughing, rash, hives, itchy, sick, unwell, ill, flu,
covid, pneumonia, bronchitis, nausea, vomiting, vomited, puked, diarrhea, congestion, congested,
stuffy, sneezing, cold, dizzy, weak, achy, breathless, wheezing, dyspnea, gasping, toothache,
abscess, dysuria, uti, wound, sore, cut, blister, boil, infection, infected, pus, fell, fall,
swollen, swelling, fainted, syncope, stroke, seizure, bleeding, suicide, suicidal, sore throat,
runny nose, chest pain, chest pressure, shortness of breath, short of breath, can't breathe,
cant breathe, trouble breathing, throwing up, threw up, loose stools, the runs, not feeling well,
heart attack, passed out, kill myself, want to die
"""
SPANISH = """
fiebre, calentura, escalofrios, escalofríos, tos, toso, tosiendo, sarpullido, ronchas, enfermo,
enferma, gripe, gripa, covid, neumonia, catarro, mormada, vomito, vómito, vomitos, diarrea, mareada,
mareado, disnea, ahogo, muela, absceso, disuria, herida, llaga, cortada, infeccion, pus, caida,
hinchada, hinchado, desmaye, infarto, sangrado, suicidio, dolor de garganta, dolor de pecho,
dolor en el pecho, me duele el pecho, no puedo respirar, me falta el aire, me siento mal, me cai,
arde al orinar, quiero morir, quiero matarme
"""
WORDS = {
    name: [word.strip() for word in words.split(",")]
    for name, words in (("en", ENGLISH), ("es", SPANISH))
}
# Runs in .venv-peers: texts in on standard input, alerts and seconds out on standard output.
PIPELINE = """
import json, sys, time
import spacy
from negspacy.negation import Negex
from negspacy.termsets import termset

job = json.load(sys.stdin)
pipelines = {}
for language, cues in (("en", "en_clinical"), ("es", "es_clinical")):
    nlp = spacy.blank(language)
    nlp.add_pipe("sentencizer")
    ruler = nlp.add_pipe("entity_ruler", config={"phrase_matcher_attr": "LOWER"})
    ruler.add_patterns([{"label": "SYMPTOM", "pattern": word} for word in job["words"][language]])
    patterns = termset(cues).get_patterns()
    nlp.add_pipe("negex", config={"neg_termset": patterns, "ent_types": ["SYMPTOM"]})
    pipelines[language] = nlp

def alert(text, language):
    spoken = [language] if language else ["en", "es"]
    return any(not e._.negex for name in spoken for e in pipelines[name](text).ents)

best = None
for _ in range(job["rounds"]):
    began = time.perf_counter()
    alerts = [alert(text, language) for text, language in job["replies"]]
    took = time.perf_counter() - began
    best = took if best is None else min(best, took)
json.dump({"alerts": alerts, "seconds": best}, sys.stdout)
"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one side made of the replies: an alert or not for each, and the time taken."""

    name: str
    alerts: tuple[bool, ...]
    seconds: float

    @property
    def per_second(self) -> float:
        return len(self.alerts) / self.seconds


def by_pipeline(labels: Sequence[reader_scores.Label]) -> Outcome:
    replies = [(label.text, label.lang) for label in labels]
    job = json.dumps({"words": WORDS, "rounds": ROUNDS, "replies": replies})
    run = subprocess.run(
        [peer_packages.PYTHON, "-c", PIPELINE], input=job, capture_output=True, text=True
    )
    if run.returncode:
        sys.exit(f"The pipeline failed in {peer_packages.ENVIRONMENT}:\n{run.stderr}")
    found = json.loads(run.stdout)
    return Outcome("spaCy + negspacy", tuple(found["alerts"]), found["seconds"])


def by_reader(labels: Sequence[reader_scores.Label]) -> Outcome:
    read_reply = reader_scores.reader()
    best, alerts = float("inf"), ()
    for _ in range(ROUNDS):
        began = time.perf_counter()
        alerts = tuple(read_reply(x.text, x.asked, x.lang).alert for x in labels)
        best = min(best, time.perf_counter() - began)
    return Outcome("countdown reader", alerts, best)


def recall(outcome: Outcome, labels: Sequence[reader_scores.Label]) -> reader_scores.Share:
    wanted = [got for got, label in zip(outcome.alerts, labels, strict=True) if label.alert]
    return reader_scores.Share(sum(wanted), len(wanted))


def false_alarms(outcome: Outcome, labels: Sequence[reader_scores.Label]) -> reader_scores.Share:
    quiet = [got for got, label in zip(outcome.alerts, labels, strict=True) if not label.alert]
    return reader_scores.Share(sum(quiet), len(quiet))


def main() -> None:
    try:
        peer_packages.make_environment()
    except subprocess.CalledProcessError as error:
        sys.exit(f"Could not install spaCy and negspacy into .venv-peers: {error}")
    part = reader_scores.parts()[-1]
    labels = reader_scores.labels(part)
    print(f"{len(labels)} replies of the {part} set, one core, best of {ROUNDS} rounds")
    print(f"{'':20}{'alert recall':>28}{'false alarms':>28}{'replies/s':>12}")
    for outcome in (by_reader(labels), by_pipeline(labels)):
        caught, false = recall(outcome, labels), false_alarms(outcome, labels)
        print(f"{outcome.name:20}{caught!s:>28}{false!s:>28}{outcome.per_second:12,.0f}")


if __name__ == "__main__":
    main()
