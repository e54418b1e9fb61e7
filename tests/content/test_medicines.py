"""The vocabulary of medicines: which names it knows, and that its data cannot run code."""

import io
import pickle

import pytest
import typer

from bot.cli import medicines as names_of_medicines
from bot.content.lexicon import load_lexicon
from bot.content.medicines import MedicinesFault, _dictionary, _ValuesOnly, is_medicine
from bot.reading.reader import read
from bot.reading.reading import Act, Asked


@pytest.mark.parametrize(
    "name", ["apixaban", "lisinopril", "celecoxib", "methotrexate", "adalimumab", "omeprazol"]
)
def test_generic_names_are_known_in_english_and_spanish(name):
    assert is_medicine(name)


@pytest.mark.parametrize("word", ["water", "cough", "rayos x", "soap", "jabon", "iron", "", "tos"])
def test_other_words_are_no_medicines(word):
    assert not is_medicine(word)


def test_common_names_of_a_medicine_are_known_beside_its_generic_name():
    spellings = _dictionary()["drug_variant_to_canonical"]
    common = [n for n, generic in spellings.items() if generic == ["warfarin"] and n.isalpha()]
    common = [n for n in common if n.isascii() and not n.startswith("warfarin")]
    assert len(common) >= 5
    assert all(is_medicine(name) for name in common if len(name) >= 5)


def test_data_that_would_run_code_is_refused():
    with pytest.raises(MedicinesFault, match="must not run code"):
        _ValuesOnly(io.BytesIO(pickle.dumps(print))).load()


@pytest.mark.parametrize(
    "text", ["oops I took my rivaroxaban", "forgot and took my celecoxib", "still on my meloxicam"]
)
def test_a_slip_with_any_medicine_by_name_is_told_to_a_nurse(text):
    reading = read(text, Asked.NONE, load_lexicon())
    assert (reading.act, reading.alert) == (Act.NOT_DONE, True)


def test_too_many_of_any_medicine_is_an_emergency():
    reading = read("I took too many lisinopril", Asked.NONE, load_lexicon())
    assert reading.act is Act.EMERGENCY


def test_a_list_of_medicines_is_no_alarm():
    reading = read("I take lisinopril, metformin and atorvastatin", Asked.NONE, load_lexicon())
    assert not reading.alert


def test_a_command_that_reads_replies_does_not_begin_without_the_vocabulary(monkeypatch, capsys):
    def missing():
        raise MedicinesFault("not installed whole. Run: pip install -r requirements.lock")

    monkeypatch.setattr(names_of_medicines, "medicine_names", missing)
    with pytest.raises(typer.Exit) as ended:
        names_of_medicines.medicines_or_stop()
    assert ended.value.exit_code == 2
    assert "pip install -r requirements.lock" in capsys.readouterr().err
