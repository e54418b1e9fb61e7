"""The review sheet: every text of every language is on it, with sources and places to sign."""

import re
from html import unescape
from pathlib import Path

import pytest
from content_samples import sound, spoil

from bot.content.answers import load_answers
from bot.content.faults import ContentFaults
from bot.content.load import load_book
from bot.content.review_sheet import review_sheet
from bot.content.snapshot import snapshot

FLOWS = Path(__file__).parents[2] / "flows"
SHEET = review_sheet(FLOWS, "2027-01-04")
BOOK = load_book(FLOWS)


def as_read(html: str) -> str:
    """The words on the page, with the boxes for placeholders as {name} again."""
    boxes = re.sub(
        r"<span class='fill'>([^<]*)</span>", lambda m: "{" + m[1].replace(" ", "_") + "}", html
    )
    return unescape(re.sub(r"<[^>]+>", "", boxes.replace("<br>", " ")))


READ = as_read(SHEET)


@pytest.mark.parametrize("name", sorted(BOOK.flows))
def test_every_text_and_choice_of_a_conversation_is_on_the_sheet_in_both_languages(name: str):
    flow = BOOK.flows[name]
    choices = {c for state in flow.states.values() if state.say for c in state.choices}
    for texts in (*flow.wording.values(), *(flow.labels[c] for c in choices)):
        for language in ("en", "es"):
            assert texts[language].replace("\n", " ") in READ


def test_every_answer_is_on_the_sheet_in_both_languages():
    for entry in load_answers(FLOWS / "answers.yaml").entries:
        for language in ("en", "es"):
            assert entry.answer[language] in READ


def test_each_part_and_the_whole_have_a_place_for_a_nurse_and_a_lawyer_to_sign():
    parts = len(BOOK.flows) + 2  # the answers, and the whole
    assert SHEET.count("<b>Nurse</b>") == SHEET.count("<b>Lawyer</b>") == parts


def test_every_part_names_its_sources_with_how_they_were_read_its_owner_and_review_date():
    assert READ.count("to be reviewed by 2027-11-01") == len(BOOK.flows) + 1
    assert re.search(r"chg-cdc-night: .*\(", READ)
    assert "common practice, no source" in READ


def test_the_sheet_says_which_version_of_the_files_was_printed(tmp_path: Path):
    root = sound(tmp_path)
    before = snapshot(root).revision
    assert snapshot(root).revision == before
    spoil(root, "talks/wash.yaml", "Thank you.", "Thank you!")
    assert snapshot(root).revision != before
    assert snapshot(FLOWS).revision in SHEET


def test_nobody_is_asked_to_sign_content_with_faults(tmp_path: Path):
    root = sound(tmp_path)
    spoil(root, "talks/wash.yaml", "done: {go: thanks}", "done: {go: tanks}")
    with pytest.raises(ContentFaults):
        review_sheet(root, "2027-01-04")


def test_a_text_with_markup_in_it_is_shown_not_run(tmp_path: Path):
    root = sound(tmp_path)
    (root / "answers.yaml").write_text((FLOWS / "answers.yaml").read_text())
    spoil(root, "talks/wash.yaml", "Thank you.", "<b>Thank</b> you.")
    assert "&lt;b&gt;Thank&lt;/b&gt; you." in review_sheet(root, "2027-01-04")
