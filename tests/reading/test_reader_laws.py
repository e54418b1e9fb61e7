"""Laws of the reader that hold for any text."""

import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.reading.lexicon import Lexicon
from bot.reading.reader import Thresholds, read
from bot.reading.reading import Asked, Temperature

asked = st.sampled_from(Asked)
odd_text = st.text(
    st.one_of(
        st.characters(),
        st.sampled_from("\u202e\u200f\u0000\u0007\u200d\ufe0f\n\t'’°🤒👍½ßıİ٣²"),
    ),
    max_size=300,
)
MEANINGLESS = ("well", "um", "the", "you know", "dear", "lol", "oh", "please", "banana", "so", "uh")
ALARMS = (
    "fever",
    "I have a cough",
    "there is a rash on my leg",
    "chest pain",
    "cant breathe",
    "I want to die",
    "my husband has the flu",
    "tengo calentura",
    "me duele el pecho",
    "101.2",
    "no fever but coughing",
    "threw up twice",
    "i fell",
)
relaxed = settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=200
)


@relaxed
@given(text=odd_text, asked=asked)
def test_no_text_crashes_the_reader(text: str, asked: Asked, lexicon: Lexicon) -> None:
    reading = read(text, asked, lexicon)
    assert reading == read(text, asked, lexicon)


@relaxed
@given(
    alarm=st.sampled_from(ALARMS),
    before=st.lists(st.sampled_from(MEANINGLESS), max_size=4),
    after=st.lists(st.sampled_from(MEANINGLESS), max_size=4),
)
def test_words_without_meaning_never_remove_an_alert(
    alarm: str, before: list[str], after: list[str], lexicon: Lexicon
) -> None:
    text = " ".join([*before, alarm, *after])
    assert read(text, Asked.SYMPTOM_CHECK, lexicon).alert


@relaxed
@given(
    alarm=st.sampled_from(ALARMS),
    ending=st.sampled_from(["", ".", "!!", " 🙏", " thanks", "\n\nSent from my phone", " :("]),
    shout=st.booleans(),
)
def test_capitals_and_endings_never_remove_an_alert(
    alarm: str, ending: str, shout: bool, lexicon: Lexicon
) -> None:
    text = (alarm.upper() if shout else alarm) + ending
    assert read(text, Asked.NONE if alarm != "101.2" else Asked.TEMPERATURE, lexicon).alert


@relaxed
@given(tenths=st.integers(min_value=932, max_value=1076))
def test_fahrenheit_is_compared_in_fahrenheit(tenths: int, lexicon: Lexicon) -> None:
    reading = read(f"{tenths / 10}", Asked.TEMPERATURE, lexicon)
    assert reading.temperature == Temperature(tenths / 10, "F")
    assert reading.alert is (tenths >= 1004)


@relaxed
@given(tenths=st.integers(min_value=340, max_value=420), mark=st.sampled_from(".,"))
def test_celsius_is_compared_in_celsius(tenths: int, mark: str, lexicon: Lexicon) -> None:
    reading = read(f"{tenths / 10} C".replace(".", mark), Asked.TEMPERATURE, lexicon)
    assert reading.temperature == Temperature(tenths / 10, "C")
    assert reading.alert is (tenths >= 380)


@given(value=st.floats(min_value=93.2, max_value=107.6), limit=st.sampled_from([100.0, 100.4]))
def test_a_lower_threshold_never_hides_a_fever(value: float, limit: float) -> None:
    reading = Temperature(round(value, 1), "F")
    strict, loose = Thresholds(fever_f=limit), Thresholds(fever_f=limit - 0.4)
    assert loose.is_fever(reading) or not strict.is_fever(reading)


@pytest.mark.parametrize(
    "text",
    [
        "qzxv wplk mnbt " * 700,
        "fever " * 1700,
        "no not never dont " * 600,
        "one hundred and one point two 98 6 " * 300,
        "chest leg throat skin foot " * 400,
        "🤒🤧" * 1250,
        "a" * 10_000,
        " " * 10_000,
        ".,?!" * 2500,
        "\u202e\x00\x07a" * 2000,
    ],
    ids=lambda text: repr(text[:12]),
)
def test_time_grows_in_line_with_the_text(text: str, lexicon: Lexicon) -> None:
    """Milliseconds per kilobyte are the benchmark's (bench_reader.py); here only the growth."""

    def best(of: str) -> float:
        taken = []
        for _ in range(3):
            begin = time.process_time()
            read(of, Asked.SYMPTOM_CHECK, lexicon)
            taken.append(time.process_time() - begin)
        return min(taken)

    assert best(text * 4) <= 10 * max(best(text), 0.002)  # a square would be 16
