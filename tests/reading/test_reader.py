"""Every invented reply is read as its line in utterances_*.yaml says."""

from pathlib import Path

import pytest

from bot.content.yaml_tree import tree
from bot.reading.lexicon import Lexicon
from bot.reading.reader import Thresholds, read
from bot.reading.reading import Act, Asked, Symptom

HERE = Path(__file__).parent


def utterances() -> list[dict]:
    rows = []
    for path in sorted(HERE.glob("utterances_*.yaml")):
        rows += tree(path.read_text(encoding="utf-8"))["utterances"]
    return rows


UTTERANCES = utterances()


@pytest.mark.parametrize("row", UTTERANCES, ids=lambda row: f"{row['asked']}-{row['text'][:40]}")
def test_a_reply_is_read_as_expected(row: dict, lexicon: Lexicon) -> None:
    reading = read(row["text"], Asked(row["asked"]), lexicon)
    if "act" in row:
        assert reading.act == row["act"], reading
    if "not_act" in row:
        assert reading.act != row["not_act"], reading
    if "alert" in row:
        assert reading.alert is row["alert"], reading
    assert set(row.get("symptoms", [])) <= {s.value for s in reading.symptoms}, reading


def test_stop_with_an_alarm_does_both(lexicon: Lexicon) -> None:
    reading = read("STOP, I have chest pain", Asked.NONE, lexicon)
    assert reading.act is Act.EMERGENCY
    assert reading.says(Act.OPT_OUT)
    assert reading.symptoms == (Symptom.CHEST_PAIN,)


def test_an_alarm_quotes_the_words_that_raised_it(lexicon: Lexicon) -> None:
    reading = read("No fever but I was coughing all night", Asked.SYMPTOM_CHECK, lexicon)
    assert reading.because == ("coughing",)


def test_every_alarm_says_why(lexicon: Lexicon) -> None:
    for row in UTTERANCES:
        reading = read(row["text"], Asked(row["asked"]), lexicon)
        assert reading.because or not reading.alert, row


def test_the_hospital_sets_the_fever_threshold(lexicon: Lexicon) -> None:
    older = Thresholds(fever_c=37.8, fever_f=100.0)
    assert not read("100.0", Asked.TEMPERATURE, lexicon).alert
    assert read("100.0", Asked.TEMPERATURE, lexicon, thresholds=older).alert


def test_a_normal_temperature_never_cancels_another_symptom(lexicon: Lexicon) -> None:
    reading = read("98.6 but I have a rash", Asked.TEMPERATURE, lexicon)
    assert reading.alert
    assert reading.symptoms == (Symptom.RASH,)


def test_a_reading_in_words_has_its_value(lexicon: Lexicon) -> None:
    reading = read("treinta y ocho y medio", Asked.TEMPERATURE, lexicon)
    assert reading.temperature is not None
    assert reading.temperature.value == 38.5
    assert reading.temperature.unit == "C"


def test_the_same_reply_depends_on_what_was_asked(lexicon: Lexicon) -> None:
    acts = {asked: read("yes", asked, lexicon).act for asked in Asked}
    assert acts[Asked.SYMPTOM_CHECK] is Act.SYMPTOM
    assert acts[Asked.WASH] is Act.DONE
    assert acts[Asked.YES_NO] is Act.AFFIRM
    assert acts[Asked.MEDICINE_STOP] is Act.DONE


@pytest.mark.parametrize(
    ("text", "picks"),
    [
        ("2", (2,)),
        ("1 and 3", (1, 3)),
        ("the second one", (2,)),
        ("la tercera", (3,)),
        ("#4", (4,)),
    ],
)
def test_choices_are_read_in_the_order_typed(
    text: str, picks: tuple[int, ...], lexicon: Lexicon
) -> None:
    assert read(text, Asked.CHOICE, lexicon).choices == picks
