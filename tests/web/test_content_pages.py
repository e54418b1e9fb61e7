"""The educator's round: a draft beside what is live, checked, tried, published, taken back."""

import html
import re

import pytest

from bot.content.snapshot import Snapshot, revision_of, snapshot
from bot.service import drafting
from bot.store import drafts
from bot.store.engine import reading

FILE = "talks/no_shaving.yaml"


@pytest.fixture
def educator(ward):
    browser = ward.signed_in("Edie Cole")
    assert browser.post("/content/draft", "/content").headers["location"] == (
        "/content/draft?said=begun"
    )
    return browser


def draft_of(ward):
    return drafting.current(ward.app.engine)


def opened(browser, name: str = FILE):
    page = browser.get("/content/draft/file", params={"name": name})
    assert page.status_code == 200
    seen = re.search(r'name="seen" value="(\w+)"', page.text)
    text = re.search(r"<textarea[^>]*>\n(.*?)</textarea>", page.text, re.S)
    return seen.group(1), html.unescape(text.group(1))


def save(browser, old: str, new: str, name: str = FILE, **fields):
    seen, text = opened(browser, name)
    assert old in text
    typed = text.replace(old, new).replace("\n", "\r\n")  # as browsers send it
    return browser.post(
        "/content/draft/file", "/content/draft", name=name, seen=seen, text=typed, **fields
    )


def seen_whole(browser) -> str:
    found = re.search(r'name="seen" value="(\w+)"', browser.get("/content/draft").text)
    return found.group(1) if found else ""


def publish(browser, note: str = "kinder words", **fields):
    fields.setdefault("seen", seen_whole(browser))
    return browser.post("/content/draft/publish", "/content/draft", note=note, **fields)


def first_text(ward) -> str:
    """A phrase of the English question, to change."""
    text = draft_of(ward).files[FILE]
    return re.search(r'en: "([^"]{12,})"', text).group(1)


def try_out(browser, **fields):
    wish = {"flow": "wash", "language": "en", "joint": "knee", **fields}
    return browser.post("/content/draft/try", "/content/draft", **wish)


def test_without_a_draft_there_is_the_button_that_begins_one(ward):
    browser = ward.signed_in("Edie Cole")
    for path in ("/content/draft", "/content/draft/file", "/content/draft/try"):
        assert "No draft is open" in browser.get(path).text
    for act in ("check", "touched"):
        assert "No draft is open" in browser.post(f"/content/draft/{act}", "/content").text
    for act in ("renew", "away"):
        assert browser.post(f"/content/draft/{act}", "/content").status_code == 409


def test_a_draft_begins_as_what_is_live_and_there_is_one_at_a_time(ward, educator):
    assert draft_of(ward).files == snapshot(ward.app.flows).files
    again = educator.post("/content/draft", "/content")
    assert again.status_code == 409 and "open already" in again.text


def test_a_file_is_changed_in_the_draft_only_and_shown_beside_what_is_live(ward, educator):
    old = first_text(ward)
    answer = save(educator, old, "Quite other words.")
    assert answer.status_code == 303 and "said=saved" in answer.headers["location"]
    page = educator.get("/content/draft/file", params={"name": FILE}).text
    assert "Changed</span>" in page and "What is different (1 line)" in page
    assert html.escape(old, quote=False) in html.unescape(page) and "Quite other words." in page
    assert f'≠</span> Changed</span> <a href="/content/draft/file?name={FILE}"' in (
        educator.get("/content/draft").text
    )
    texts = ward.app.practice.book.flows["no_shaving"].wording.values()
    assert "Quite other words." not in str(list(texts))


def test_saving_the_same_text_with_other_line_ends_changes_nothing(ward, educator):
    before = draft_of(ward)
    assert "said=same" in save(educator, "flow:", "flow:").headers["location"]
    assert draft_of(ward) == before
    with reading(ward.app.engine) as connection:
        assert [edit.what for edit in drafts.edits(connection, 9)] == [drafting.STARTED]


def test_two_who_change_one_file_do_not_overwrite_each_other(ward, educator):
    seen, text = opened(educator)
    save(educator, first_text(ward), "The first one's words.")
    late = educator.post(
        "/content/draft/file", "/content/draft", name=FILE, seen=seen, text=text + "# mine\n"
    )
    assert late.status_code == 409
    assert "Somebody changed this file meanwhile" in late.text
    assert "# mine" in late.text, "what was typed is not lost"
    assert "# mine" not in draft_of(ward).files[FILE]


@pytest.mark.parametrize(
    "name", ["../pyproject.toml", "/etc/passwd", "talks/../talks/wash.yaml", "talks/new.yaml", ""]
)
def test_only_the_files_that_are_there_can_be_changed(ward, educator, name):
    before = draft_of(ward)
    answer = educator.post(
        "/content/draft/file", "/content/draft", name=name, seen="x", text="flow: x\n"
    )
    assert answer.status_code == 404
    assert draft_of(ward) == before
    if name:
        page = educator.get("/content/draft/file", params={"name": name})
        assert page.status_code == 404


@pytest.mark.parametrize(
    "text", ["a: \x00", "a: \x1b[2J", "a: \u200b", "x" * (drafting.LONGEST + 1)]
)
def test_signs_that_cannot_be_seen_and_too_much_text_are_refused(ward, educator, text):
    before, (seen, _) = draft_of(ward), opened(educator)
    answer = educator.post("/content/draft/file", "/content/draft", name=FILE, seen=seen, text=text)
    assert answer.status_code == 409
    assert draft_of(ward) == before


def test_more_than_a_megabyte_is_not_even_read(educator):
    seen, _ = opened(educator)
    answer = educator.post(
        "/content/draft/file", "/content/draft", name=FILE, seen=seen, text="x" * 1_100_000
    )
    assert answer.status_code == 413


def test_a_fault_is_named_with_file_line_and_mend_and_stops_the_publishing(ward, educator):
    answer = save(educator, first_text(ward), "Hello {nobody_knows}.", then="check")
    text = html.unescape(answer.text)
    line = next(
        number
        for number, shown in enumerate(draft_of(ward).files[FILE].splitlines(), start=1)
        if "{nobody_knows}" in shown
    )
    assert f"{FILE}</a>, line {line}" in text
    assert "Hello {nobody_knows}." in text and "To mend it:" in text
    refused = publish(educator)
    assert refused.status_code == 422 and f"line {line}" in refused.text
    assert ward.app.practice.publication is None
    assert draft_of(ward) is not None


def test_a_file_that_is_no_yaml_is_a_fault_on_every_way(ward, educator):
    save(educator, "flow:", "\tflow: [")
    for act in ("check", "touched"):
        text = educator.post(f"/content/draft/{act}", "/content/draft").text
        assert f"{FILE}</a>, line" in text
    tried = try_out(educator)
    assert tried.status_code == 422 and f"{FILE}</a>, line" in tried.text


def test_a_sound_draft_has_no_faults(educator):
    assert "No faults" in educator.post("/content/draft/check", "/content/draft").text


def test_every_patient_whom_it_would_touch_is_listed_and_the_look_is_logged(ward, educator):
    ward.enrol(1, "Rosalind Vale")
    ward.enrol(2, "Tobias Finch")
    none = educator.post("/content/draft/touched", "/content/draft").text
    assert "0 patients would be touched" in none
    save(educator, first_text(ward), "Quite other words.")
    text = educator.post("/content/draft/touched", "/content/draft").text
    assert "2 patients would be touched" in text
    assert "Rosalind Vale" in text and "Tobias Finch" in text


def test_a_change_that_comes_after_an_answer_touches_those_who_may_come_to_it(ward, educator):
    ward.enrol(1, "Rosalind Vale")
    save(educator, "Good. If that changes, tell us the same day.", "Good. Tell us if that changes.")
    text = educator.post("/content/draft/touched", "/content/draft").text
    assert "1 patient would be touched" in text
    assert re.search(r"Messages\">none.*another way\">no shaving", text)


def test_a_change_of_an_alarm_or_of_the_words_for_replies_is_said_to_touch_everyone(ward, educator):
    ward.enrol(1, "Rosalind Vale")
    alarm, words = "talks/alarm_symptom.yaml", "lexicon/hints.yaml"
    text = draft_of(ward).files[alarm]
    old = re.search(r'    en: "([^"]{12,})"', text).group(1)
    save(educator, old, f"{old} Please.", name=alarm)
    save(educator, "owner:", "# looked at\nowner:", name=words)
    text = educator.post("/content/draft/touched", "/content/draft").text
    assert re.search(r"another way\">[^<]*alarm symptom", text)
    assert f"For every patient: {words}" in text


def test_publishing_needs_a_reason_and_the_draft_that_was_looked_at(ward, educator):
    save(educator, first_text(ward), "Please do not shave there.")
    seen = seen_whole(educator)
    assert publish(educator, note="").status_code == 422
    save(educator, "Please do not shave there.", "Do not shave there.")
    late = publish(educator, seen=seen)
    assert late.status_code == 409 and "was changed since you looked" in late.text
    assert ward.app.practice.publication is None


def test_the_round_is_published_and_taken_back_and_the_log_says_who_and_when(ward, educator):
    old = first_text(ward)
    save(educator, old, "Do not shave near the joint.")
    ward.wait(minutes=3)
    done = publish(educator, "shorter")
    assert done.headers["location"] == "/content?said=published"
    assert "Do not shave near the joint." in str(ward.app.practice.book.flows["no_shaving"].wording)
    assert draft_of(ward) is None
    content = educator.get("/content").text
    assert "shorter" in content and "Edie Cole" in content
    log = educator.get("/content/draft").text
    for what in (drafting.STARTED, f"{drafting.CHANGED} <code>{FILE}</code>", drafting.PUBLISHED):
        assert what in log
    live = re.search(
        r'name="live" value="(\d+)"', educator.post("/content/preview", "/content").text
    ).group(1)
    educator.post("/content/back", "/content", note="too short", live=live)
    assert old in str(ward.app.practice.book.flows["no_shaving"].wording)


def test_what_is_saved_while_the_draft_goes_live_is_not_lost(ward, educator):
    """Somebody saves another file between the check and the end of the publication."""
    save(educator, first_text(ward), "Do not shave near the joint.")
    draft, engine = draft_of(ward), ward.app.engine

    def slowly(new):
        text, mark = (
            draft.files["talks/pets.yaml"],
            drafting.mark_of(draft.files["talks/pets.yaml"]),
        )
        drafting.save(engine, "talks/pets.yaml", text + "# late\n", mark, "Bo Marsh", ward.now)
        return ward.app.publish(new, "Edie Cole", "shorter")

    shipped, seen = snapshot(ward.app.flows), drafting.content_of(draft).revision
    drafting.publish_draft(engine, shipped, seen, slowly, "Edie Cole", ward.now)
    live = drafting.live_content(engine, shipped)
    assert draft_of(ward).base == live.revision
    assert drafting.changed_in(draft_of(ward), live) == ("talks/pets.yaml",)


def test_a_draft_older_than_what_is_live_takes_that_in_before_it_is_published(ward, educator):
    save(educator, first_text(ward), "Do not shave near the joint.")
    shipped = snapshot(ward.app.flows)
    other = {**shipped.files, "talks/pets.yaml": shipped.files["talks/pets.yaml"] + "# by hand\n"}
    ward.app.publish(Snapshot(revision_of(other), other), "Ops", "by hand")
    refused = publish(educator)
    assert refused.status_code == 409 and "Something else went live" in refused.text
    assert (
        "said=renewed"
        in educator.post("/content/draft/renew", "/content/draft").headers["location"]
    )
    assert publish(educator).status_code == 303
    live = drafting.live_content(ward.app.engine, shipped).files
    assert live["talks/pets.yaml"].endswith("# by hand\n")
    assert "Do not shave near the joint." in live[FILE]


def test_a_file_changed_on_both_sides_is_named(ward, educator):
    save(educator, first_text(ward), "Do not shave near the joint.")
    shipped = snapshot(ward.app.flows)
    other = {**shipped.files, FILE: shipped.files[FILE] + "# by hand\n"}
    ward.app.publish(Snapshot(revision_of(other), other), "Ops", "by hand")
    answer = educator.post("/content/draft/renew", "/content/draft", follow=True)
    assert f"look at them: {FILE}" in answer.text


def test_a_draft_that_is_put_away_leaves_what_is_live(ward, educator):
    save(educator, first_text(ward), "Do not shave near the joint.")
    assert educator.post("/content/draft/away", "/content/draft").status_code == 303
    assert draft_of(ward) is None and ward.app.practice.publication is None
    assert drafting.DROPPED in educator.get("/content/draft").text


def test_a_conversation_of_the_draft_is_played_step_by_step(ward, educator):
    ward.enrol(1, "Rosalind Vale")
    before = ward.app.threads(), ward.app.everyone()
    first = try_out(educator)
    assert first.status_code == 200 and "wash 1 of 3" in first.text
    second = try_out(educator, act="write", text="I don't know")
    assert "you wrote as the patient" in second.text and "Understood as: <strong>" in second.text
    third = try_out(educator, act="wait", move=["I don't know", ""])
    assert third.text.count("you wrote as the patient") == 1
    told = try_out(educator, act="write", text="I have a fever of 102")
    assert "a nurse is told" in told.text and "1 matter is open for the nurse" in told.text
    over = try_out(educator, act="write", text="1")
    assert "wash 1: done" in over.text and "The conversation is over" in over.text
    assert (ward.app.threads(), ward.app.everyone()) == before
    assert ward.app.worklist() == []


def test_what_is_tried_is_the_draft_in_either_language(ward, educator):
    save(educator, first_text(ward), "Quite other words.")
    assert "Quite other words." in try_out(educator, flow="no_shaving").text
    spanish = try_out(educator, flow="no_shaving", language="es").text
    assert "Quite other words." not in spanish and "Understood" not in spanish
    assert "(changed)" in spanish, "the changed conversation stands first in the list"


@pytest.mark.parametrize(
    "wish", [{"flow": "nothing"}, {"language": "xx"}, {"fact": "no_such_fact"}], ids=str
)
def test_an_unknown_wish_shows_the_choice_again(educator, wish):
    answer = try_out(educator, **wish)
    assert answer.status_code == 200 and "Your reply as the patient" not in answer.text


def test_a_try_ends_at_the_bound(educator):
    moves = ["hm"] * 60
    answer = try_out(educator, act="write", text="one more", move=moves)
    assert "as far as a try goes" in answer.text and "one more" not in answer.text


def test_what_is_typed_is_shown_as_text(ward, educator):
    evil = "<script>alert(1)</script>"
    assert evil not in try_out(educator, act="write", text=evil).text
    save(educator, first_text(ward), f"</textarea>{evil}")
    assert evil not in educator.get("/content/draft/file", params={"name": FILE}).text


def test_a_draft_outlives_the_process(ward, educator):
    save(educator, first_text(ward), "Do not shave near the joint.")
    ward.app.engine.dispose()
    assert "Do not shave near the joint." in draft_of(ward).files[FILE]
