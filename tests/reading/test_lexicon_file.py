"""A faulty lexicon file is refused with its place and how to mend it."""

from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest

from bot.content.lexicon import LEXICON_DIR, LexiconFault, load_lexicon
from bot.reading.lexicon import Lexicon
from bot.reading.phrases import PhraseFault, elements, word_set

HEADER = "lexicon: en\npurpose: p\nowner: o\nreview_by: '2027-11-01'\nhow_to_add: h\n"


def write(folder: Path, body: str) -> Path:
    (folder / "en.yaml").write_text(HEADER + body, encoding="utf-8")
    return folder


def test_the_fault_names_file_and_line(tmp_path: Path) -> None:
    folder = write(tmp_path, "symptoms:\n  fever: |\n    fever\n    Fever!\n")
    with pytest.raises(LexiconFault, match=r"en\.yaml:9: 'Fever!'"):
        load_lexicon(folder)


def test_an_unknown_group_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LexiconFault, match="unknown group 'symtoms'"):
        load_lexicon(write(tmp_path, "symtoms:\n  fever: |\n    fever\n"))


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LexiconFault, match="no lexicon file"):
        load_lexicon(tmp_path)


def test_a_key_written_twice_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LexiconFault, match=r"en\.yaml:\d+"):
        load_lexicon(write(tmp_path, "symptoms:\n  fever: |\n    a\n  fever: |\n    b\n"))


def test_a_new_word_needs_no_python(tmp_path: Path) -> None:
    lexicon = load_lexicon(write(tmp_path, "symptoms:\n  fever: |\n    blazing ... forehead\n"))
    words = [lexicon.word(w) for w in ("blazing", "all", "over", "my", "forehead")]
    assert [m.concept for m in lexicon.matcher.find(words)] == ["symptom.fever"]


@pytest.mark.parametrize("text", ["", "...", "... fever", "fever ...", "Fever", "can't", "a*"])
def test_a_phrase_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(PhraseFault):
        elements(text)


def test_optional_words_and_choices_are_told_apart() -> None:
    assert elements("feel [so] sick|ill") == [
        ("feel", False),
        ("so", True),
        ("sick|ill", False),
    ]


def spelt_out(text: str) -> Iterator[tuple[str, ...]]:
    """Every sequence of slots that a phrase allows."""
    options = [(slot, "") if optional else (slot,) for slot, optional in elements(text)]
    return (tuple(filter(None, chosen)) for chosen in product(*options))


def test_every_symptom_has_words_in_both_languages() -> None:
    for symptom in ("fever", "cough", "rash", "unwell", "vomiting", "diarrhea", "sore_throat"):
        for language in ("en", "es"):
            text = (LEXICON_DIR / f"{language}.yaml").read_text(encoding="utf-8")
            assert f"\n  {symptom}: |" in text


LITTLE_WORDS = word_set(
    "a an the my your his her i im ive you he she it we they me him them us is are am was were be been "
    "to of in on at off out for with from by and or but so if that this these those who what where "
    "do did does done have has had get got getting going gonna goes went come take took keep keeps "
    "lose lost can will would could not no dont cant just still all any some more now here there know "
    "el la los las un una mi me te se lo le de en con por para y o que no si es esta estoy ya muy"
)


def test_no_alarm_is_made_of_little_words_alone(lexicon: Lexicon) -> None:
    """Catches a phrase whose telling word was put in brackets: "going to [die]"."""
    empty = [
        f"{phrase.file}:{phrase.line}: '{' '.join(slots)}'"
        for phrase in lexicon.phrases
        if phrase.concept.startswith(("symptom.", "emergency.", "self_harm"))
        for slots in spelt_out(phrase.text)
        if len(slots) <= 3 and all(set(slot.split("|")) & LITTLE_WORDS for slot in slots)
    ]
    assert not empty, "\n".join(empty)
