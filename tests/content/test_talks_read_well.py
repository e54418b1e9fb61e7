"""The published conversations, read as a patient of 74 reads them: short, plain, saying whom to call.

Reading grade: AHRQ toolkit 5th-6th grade (from memory); the gate of 6 is for a whole conversation,
since one short line moves any formula. Length: 306 characters are two parts of 153 (3GPP TS 23.040
section 9.2.3.24.1).
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from bot.content.load import load_book, load_rules
from bot.core.flow import Flow, State
from bot.core.wording import numbered
from bot.reading.reading import Symptom

ROOT = Path(__file__).parents[2] / "flows"
BOOK = load_book(ROOT)
EXAMPLES = {
    name: str(entry["example"])
    for name, entry in YAML(typ="safe").load(ROOT / "facts.yaml")["placeholders"].items()
}
LANGUAGES = ("en", "es")
TWO_PARTS = 306
LINES_ONLY = ("system", "coach_copy", "handout")
TALKS = sorted(BOOK.flows)
ASKING = [name for name in TALKS if name not in LINES_ONLY]


def filled(text: str) -> str:
    return re.sub(r"\{(\w+)\}", lambda found: EXAMPLES[found[1]], text)


def walk(
    flow: Flow, name: str, said: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], State]]:
    """Every way from a state to the next question or end, with the lines said on it."""
    state = flow.states[name]
    said = (*said, state.say) if state.say else said
    onward = [target for _, target in state.branch] + ([state.go] if state.go else [])
    if state.asked is not None or state.end is not None or not onward:
        yield said, state
        return
    for target in onward:
        yield from walk(flow, target, said)


def turns(flow: Flow) -> Iterator[tuple[tuple[str, ...], State]]:
    """Every message that the conversation can send: its opening, and the answer to each reply."""
    yield from walk(flow, flow.start)
    for state in flow.states.values():
        for reply in state.replies.values():
            if reply.go is not None:
                yield from walk(flow, reply.go, (reply.say,) if reply.say else ())


def message(flow: Flow, said: tuple[str, ...], end: State, language: str) -> str:
    labels = tuple(flow.labels[key][language] for key in end.choices)
    text = "\n\n".join(filled(flow.wording[line][language]) for line in said)
    return numbered(text, labels) if labels else text


LAST_DAYS = (  # the last ten days, the washes, the alarms, the day itself and the coach
    *(name for name in ASKING if name.startswith(("alarm_", "coach_", "packing_", "what_"))),
    *("call_check", "symptom_check", "wash", "wash_lead", "wash_allergy", "sheets_clothes"),
    *("leave_home", "ride", "ride_again", "start_arrival", "fasting", "last_food", "last_drink"),
    *("morning_medicines", "nothing_on_skin", "travel", "goodbye"),
)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", LAST_DAYS)
def test_a_whole_message_with_its_choices_fits_two_parts(name: str, language: str) -> None:
    flow = BOOK.flows[name]
    for said, end in turns(flow):
        text = message(flow, said, end, language)
        assert len(text) <= TWO_PARTS, f"{name} {said}: {len(text)} characters\n{text}"


def ari(text: str) -> float:
    """Automated readability index (Smith and Senter 1967, from memory)."""
    words = text.split()
    letters = sum(character.isalnum() for character in text)
    sentences = max(1, len(re.findall(r"[.?!](\s|$)", text)))
    return 4.71 * letters / len(words) + 0.5 * len(words) / sentences - 21.43


@pytest.mark.parametrize("name", TALKS)
def test_english_is_at_sixth_grade_or_below(name: str) -> None:
    lines = (texts["en"] for key, texts in BOOK.flows[name].wording.items() if key != "topic")
    whole = " ".join(re.sub(r"\{\w+_(phone|number)\}", "us", line) for line in lines)
    assert ari(filled(whole)) <= 6.0


def inflesz(text: str) -> float:
    """206.835 - 62.3 syllables/words - words/sentences; 65 and over is quite easy (read-inflesz)."""
    words = re.findall(r"[a-záéíóúüñ]+", text.lower())
    nuclei = r"[iuü]*[aeoáéó][iu]*|[íú]|[iuü]+"
    syllables = sum(max(1, len(re.findall(nuclei, word.replace("qu", "q")))) for word in words)
    sentences = max(1, len(re.findall(r"[.?!](\s|$)", text)))
    return 206.835 - 62.3 * syllables / len(words) - len(words) / sentences


@pytest.mark.parametrize("name", TALKS)
def test_spanish_is_quite_easy(name: str) -> None:
    lines = (texts["es"] for key, texts in BOOK.flows[name].wording.items() if key != "topic")
    whole = " ".join(re.sub(r"\{\w+\}", "Ana", line) for line in lines)
    assert inflesz(whole) >= 65


@pytest.mark.parametrize("name", TALKS)
def test_both_languages_fill_in_the_same_values(name: str) -> None:
    for key, texts in BOOK.flows[name].wording.items():
        wanted = {
            language: set(re.findall(r"\{(\w+)\}", texts[language])) for language in LANGUAGES
        }
        assert wanted["en"] == wanted["es"], f"{name}.{key}"


@pytest.mark.parametrize("name", TALKS)
def test_no_text_holds_a_number_to_call_of_its_own(name: str) -> None:
    """Numbers differ per surgeon and hour: a text that fixes one would send a patient astray."""
    for texts in BOOK.flows[name].wording.values():
        for text in texts.values():
            assert not re.search(r"\d{3}-\d{4}|\b(911|988)\b|\+\d", text), text


@pytest.mark.parametrize("symptom", Symptom)
@pytest.mark.parametrize("language", LANGUAGES)
def test_the_first_words_of_every_alarm_say_whom_to_call(symptom: Symptom, language: str) -> None:
    """Chest pain and trouble breathing: the emergency number in the first words (rf-911)."""
    reason = BOOK.reasons[symptom.value]
    assert reason.flow is not None
    flow = BOOK.flows[reason.flow]
    for said, _ in walk(flow, flow.start):
        first = flow.wording[said[0]][language]
        assert "{emergency_phone}" in first
        if reason.severity == "emergency":
            assert first.index("{emergency_phone}") < 20
        else:
            assert "{call_number}" in first
            assert reason.severity == "urgent"


@pytest.mark.parametrize("language", LANGUAGES)
def test_self_harm_gives_the_crisis_line_then_the_emergency_number_and_is_not_closed_here(
    language: str,
) -> None:
    """988 by call or text (rf-988): a person follows up whatever is answered."""
    flow = BOOK.flows["alarm_self_harm"]
    ((said, end),) = walk(flow, flow.start)
    opening = [flow.wording[line][language] for line in said]
    assert "{crisis_phone}" in opening[0]
    assert "{emergency_phone}" in opening[1]
    assert end.silence is not None and end.silence.escalate == "self_harm"
    assert {state.end for state in flow.states.values()} <= {None, "person_follows"}


def test_every_alarm_about_a_symptom_is_followed_by_asking_if_the_call_got_through() -> None:
    flow = BOOK.flows["alarm_symptom"]
    for said, _ in walk(flow, flow.start):
        telling = next(state for state in flow.states.values() if state.say == said[0])
        assert ("call_check", 60) in telling.starts


def test_after_a_reaction_to_the_soap_only_a_nurses_word_opens_a_wash_again() -> None:
    """FDA 2017: stop use after a reaction (chg-allergy); the steps are not sent meanwhile."""
    reaction = [("soap_allergy", (True,))]
    for name in ("wash", "wash_lead"):
        flow = BOOK.flows[name]
        (tests, target), *_ = flow.states[flow.start].branch
        assert [(test.fact, test.values) for test in tests] == reaction
        replies = flow.states[target].replies
        assert {key for key, reply in replies.items() if reply.go == "ask"} <= {"affirm"}
        assert flow.states[target].end is not None or "nurse" in flow.wording[target]["en"]


@pytest.mark.parametrize("line", ["how_2", "ahead"])
def test_the_wash_steps_keep_soap_off_face_and_genitals_and_leave_the_time_to_the_rules(
    line: str,
) -> None:
    """OTC Drug Facts for antiseptic skin cleansers (chg-avoid, from memory)."""
    flow = BOOK.flows["wash" if line == "how_2" else "wash_lead"]
    assert "from the neck down, never on face or genitals" in flow.wording[line]["en"]
    assert "{wash_minutes}" in flow.wording[line]["en"]


def test_the_fast_is_told_as_clock_times_with_milk_and_alcohol_named() -> None:
    """ASA 2017 and 2023: milk counts as food, alcohol never (fast-light-6h, fast-clear-list)."""
    text = BOOK.flows["fasting"].wording["ask"]["en"]
    for part in ("{food_until}", "{drink_until}", "{gum_mints_until}", "milk", "No alcohol"):
        assert part in text
    assert "hour" not in text


@pytest.mark.parametrize("line", ["alarm", "trouble", "silent", "emergency"])
def test_a_copy_about_trouble_never_holds_what_the_patient_wrote(line: str) -> None:
    """It also reaches a coach who may not see health answers (hipaa-min)."""
    for text in BOOK.flows["coach_copy"].wording[line].values():
        assert not {"words", "reason", "what"} & set(re.findall(r"\{(\w+)\}", text))


@pytest.mark.parametrize("surgeon", sorted(p.stem for p in (ROOT / "rules/surgeons").iterdir()))
def test_a_surgeon_may_lengthen_the_hospitals_fast_but_not_shorten_it(surgeon: str) -> None:
    """Shorter needs a clinician's name for one patient (fast-exclusions)."""
    own, hospital = load_rules(ROOT, surgeon), load_rules(ROOT)
    assert own.surgeon != hospital.surgeon
    for fast in ("food_hours", "light_meal_hours", "drink_hours", "gum_mints_hours"):
        assert getattr(own, fast) >= getattr(hospital, fast)
