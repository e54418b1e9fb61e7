"""The nurse's work on escalations, through the forms of the page."""

import csv
import io
import re
from datetime import timedelta

import pytest

from bot.core.escalation import Step
from bot.web.log_rows import defused
from bot.web.pages import span, tel


@pytest.fixture
def fever(ward):
    """One patient with a fever; the escalation is number 1."""
    ward.enrol()
    ward.run(minutes=1)
    ward.says("I have a fever of 101.5")
    found = next(item.case for item in ward.app.worklist() if "fever" in item.case.reasons)
    ward.case = found.id
    return ward


def log_of(ward):
    return [entry.step for entry in case_of(ward).entries]


def case_of(ward):
    return next(i.case for i in ward.app.worklist(closed=True) if i.case.id == ward.case)


def seen(browser, ward, path=None):
    """How much of the log a page shows, as its forms say."""
    text = browser.get(path or f"/escalations/{ward.case}").text
    return re.search(r'name="seen" value="(\d+)"', text).group(1)


def act(browser, ward, what, **fields):
    path = f"/escalations/{ward.case}"
    fields.setdefault("seen", seen(browser, ward))
    return browser.post(f"{path}/{what}", path, **fields)


def test_the_page_shows_the_words_the_number_the_time_and_the_summary(fever):
    fever.run(minutes=5)
    text = fever.signed_in().get("/").text
    assert "I have a fever of 101.5" in text
    assert 'href="tel:+12025550150"' in text
    assert "call the patient (+1 202-555-0150)" in text
    assert not re.search(r"(?<!tel:)\+1\d{10}", text)
    assert "5 min ago" in text
    assert "S: [URGENT] Rosalind Vale" in text
    assert "Nobody has it" in text


def test_from_acknowledging_to_closing(fever):
    nurse = fever.signed_in()
    assert act(nurse, fever, "acknowledge").status_code == 303
    assert act(nurse, fever, "reached", note="Feels warm, no cough.").status_code == 303
    decided = act(nurse, fever, "decide", disposition="postponed", note="Dr. Quill: postpone.")
    assert decided.status_code == 303
    fever.app.relay()
    assert act(nurse, fever, "close", note="Patient and office know.").status_code == 303
    steps = [
        s
        for s in log_of(fever)
        if s in {Step.ACKNOWLEDGED, Step.PATIENT_REACHED, Step.DECIDED, Step.CLOSED}
    ]
    assert steps == [Step.ACKNOWLEDGED, Step.PATIENT_REACHED, Step.DECIDED, Step.CLOSED]
    assert {e.who for e in case_of(fever).entries if e.step in steps} == {"Ann Lee"}
    assert "I have a fever" not in nurse.get("/").text
    assert "postponed" in nurse.get(f"/escalations/{fever.case}").text


def test_two_nurses_at_once_the_second_is_told_and_nothing_is_overwritten(fever):
    ann, bo = fever.signed_in("Ann Lee", "10.0.0.7"), fever.signed_in("Bo Marsh", "10.0.0.8")
    as_bo_saw_it = seen(bo, fever)
    assert act(ann, fever, "acknowledge").status_code == 303
    before = log_of(fever)
    answer = act(bo, fever, "reached", seen=as_bo_saw_it, note="She says it is 102 now.")
    assert answer.status_code == 409
    assert "Nothing was saved" in answer.text
    assert "Ann Lee, taken" in answer.text
    assert "She says it is 102 now." in answer.text, "what Bo typed is not lost"
    assert log_of(fever) == before
    assert act(bo, fever, "reached", note="She says it is 102 now.").status_code == 303


def test_who_decides_without_having_seen_that_it_got_worse_is_told(fever):
    nurse = fever.signed_in()
    as_it_was = seen(nurse, fever)
    fever.run(minutes=1)
    fever.says("and now I can't breathe")
    answer = act(nurse, fever, "decide", seen=as_it_was, disposition="goes_ahead", note="Fine.")
    assert answer.status_code == 409
    assert "I can&#39;t breathe" in answer.text or "now I can" in answer.text
    assert case_of(fever).disposition is None


def test_pressing_the_button_twice_takes_it_once(fever):
    nurse = fever.signed_in()
    first = seen(nurse, fever)
    assert act(nurse, fever, "acknowledge", seen=first).status_code == 303
    assert act(nurse, fever, "acknowledge", seen=first).status_code == 409
    assert log_of(fever).count(Step.ACKNOWLEDGED) == 1


def test_a_form_without_what_was_seen_is_refused(fever):
    nurse = fever.signed_in()
    act(nurse, fever, "acknowledge")
    assert act(nurse, fever, "reached", seen="", note="x").status_code == 409


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"disposition": "goes_ahead", "note": ""}, "A decision needs a note"),
        ({"disposition": "", "note": "x"}, "No decision was chosen"),
        ({"disposition": "nonsense", "note": "x"}, "No decision was chosen"),
        ({"disposition": "watch", "note": "x"}, "Watching needs a day"),
        ({"disposition": "watch", "note": "x", "recheck_at": "2020-01-01T10:00"}, "later than now"),
    ],
)
def test_a_decision_that_lacks_something_is_refused_with_the_draft_kept(fever, fields, says):
    nurse = fever.signed_in()
    answer = act(nurse, fever, "decide", words="Dear Rosalind", **fields)
    assert answer.status_code == 422
    assert says in answer.text
    assert "Dear Rosalind" in answer.text
    assert case_of(fever).disposition is None


def test_the_time_to_look_again_is_the_hospitals(fever):
    nurse = fever.signed_in()
    act(nurse, fever, "decide", disposition="watch", note="wait", recheck_at="2027-02-09T09:30")
    entry = case_of(fever).entries[-1]
    decided = next(e for e in case_of(fever).entries if e.step is Step.DECIDED)
    assert decided.detail["recheck_at"].startswith("2027-02-09T09:30:00-05:00")
    assert entry.at >= decided.at


def test_closing_before_a_decision_is_refused(fever):
    nurse = fever.signed_in()
    answer = act(nurse, fever, "close", note="done")
    assert answer.status_code == 422
    assert "decision" in answer.text


def test_a_slip_is_taken_back_and_the_log_keeps_both(fever):
    nurse = fever.signed_in()
    act(nurse, fever, "acknowledge")
    assert "Undo “acknowledged”" in nurse.get("/").text
    assert act(nurse, fever, "undo").status_code == 303
    assert log_of(fever)[-2:] == [Step.ACKNOWLEDGED, Step.UNDONE]
    assert "Nobody has it" in nurse.get("/").text


def test_a_closing_is_taken_back_and_a_later_alarm_joins_the_case(fever):
    nurse = fever.signed_in()
    act(nurse, fever, "decide", disposition="goes_ahead", note="fine")
    fever.app.relay()
    act(nurse, fever, "close", note="fine")
    assert act(nurse, fever, "undo").status_code == 303
    fever.run(minutes=1)
    fever.says("I have a bad cough now")
    assert "cough" in case_of(fever).reasons


def test_after_five_minutes_there_is_no_undo(fever):
    nurse = fever.signed_in()
    act(nurse, fever, "acknowledge")
    fever.wait(minutes=6)
    assert "Undo" not in nurse.get("/").text
    assert act(nurse, fever, "undo").status_code == 422


def test_an_educator_reads_and_has_no_buttons(fever):
    text = fever.signed_in("Edie Cole").get("/").text
    assert "I have a fever of 101.5" in text
    assert "Acknowledge" not in text


def test_the_list_is_in_order_of_need(ward):
    cases = ward.morning()
    text = ward.signed_in().get("/").text
    shown = [int(one) for one in re.findall(r'id="case-(\d+)"', text)]
    assert shown[0] == cases["Ines Calder"], "the emergency first"
    by_id = {item.case.id: item.case for item in ward.app.worklist()}
    urgent = [by_id[one] for one in shown if by_id[one].severity == "urgent"]
    untaken = [
        c.opened.at for c in urgent if c.standing in (Step.OPENED, Step.WORSE, Step.RETURNED)
    ]
    assert len(untaken) >= 2
    assert untaken == sorted(untaken), "the oldest that nobody has taken first"
    assert sorted(shown) == sorted(by_id), "nothing open is left out"


def test_the_part_that_updates_itself_keeps_nobody_signed_in(fever):
    nurse = fever.signed_in()
    for _ in range(14):
        fever.wait(minutes=1)
        assert nurse.get("/live/needs-you?page=1&known=1").status_code == 200
    fever.wait(minutes=1)
    assert nurse.get("/live/needs-you?page=1&known=1").status_code == 401


def test_an_update_without_news_is_empty_until_the_minute_changes(fever):
    nurse = fever.signed_in()
    again = re.search(r'hx-get="([^"]+)"', nurse.get("/").text).group(1).replace("&amp;", "&")
    assert nurse.get(again).status_code == 204
    act(nurse, fever, "acknowledge")
    assert "Ann Lee</strong> has it" in nurse.get(again).text
    again = re.search(r'hx-get="([^"]+)"', nurse.get("/").text).group(1).replace("&amp;", "&")
    fever.wait(minutes=1)
    assert nurse.get(again).status_code == 200


def test_the_list_says_when_no_prompts_go_out(ward):
    ward.enrol(1, "Rosalind Vale")
    ward.run(minutes=1)
    nurse = ward.signed_in()
    assert "No prompts go out" not in nurse.get("/").text
    again = re.search(r'hx-get="([^"]+)"', nurse.get("/").text).group(1).replace("&amp;", "&")
    ward.times[0] = ward.app.next_moment() + timedelta(minutes=3)  # and nobody handles it
    nurse = ward.signed_in()
    assert "No prompts go out since" in nurse.get(again).text
    ward.run(minutes=1)
    assert "No prompts go out" not in nurse.get("/").text


def test_a_long_list_is_in_parts_and_each_case_is_on_one(ward):
    for n in range(1, 31):
        ward.enrol(n, f"Person {n}")
        ward.phones.receive(ward.phone(n), "I have a fever of 102")
    nurse = ward.signed_in()
    shown = []
    pages = ward.app.worklist()
    for part in range(1, 5):
        text = nurse.get(f"/?page={part}").text
        shown += re.findall(r'id="case-(\d+)"', text)
        if f"Part {part} of {part}" in text:
            break
    assert sorted(map(int, shown)) == sorted(item.case.id for item in pages)


def test_a_patient_who_appears_in_an_update_is_written_down_as_seen(fever):
    from bot.store.engine import reading
    from bot.store.tables_log import AUDIT

    nurse = fever.signed_in()
    nurse.get("/live/needs-you?page=1&known=")
    nurse.get("/live/needs-you?page=1&known=1")
    with reading(fever.app.engine) as connection:
        rows = connection.execute(AUDIT.select().where(AUDIT.c.what == "viewed the worklist")).all()
    assert [row.detail["patients"] for row in rows] == [[1]]


def test_the_log_is_filtered(fever):
    nurse = fever.signed_in()
    act(nurse, fever, "decide", disposition="goes_ahead", note="fine")
    fever.enrol(2, "Tobias Finch", surgeon="Dr. Leo Marsh")
    fever.wait(days=2)
    fever.phones.receive(fever.phone(2), "I have a bad cough")
    nurse = fever.signed_in()

    def names(query):
        text = nurse.get(f"/log?{query}").text
        return {
            n for n in ("Rosalind Vale", "Tobias Finch") if f">{n} " in text or f"{n} </td>" in text
        }

    assert names("") == {"Rosalind Vale", "Tobias Finch"}
    assert names("surgeon=Dr.+Leo+Marsh") == {"Tobias Finch"}
    assert names("reason=cough") == {"Tobias Finch"}
    assert names("disposition=goes_ahead") == {"Rosalind Vale"}
    assert "Rosalind Vale" not in names("from=2027-02-10&reason=cough")
    assert names("to=2027-02-08&reason=fever") == {"Rosalind Vale"}
    assert names("state=closed") == set()
    assert names("state=decided") == {"Rosalind Vale"}
    assert names("from=nonsense&to=0001-01-01") == {"Rosalind Vale", "Tobias Finch"}


def test_the_export_holds_the_search_is_defused_and_audited(ward):
    from bot.store.engine import reading
    from bot.store.tables_log import AUDIT

    ward.enrol(name='=HYPERLINK("http://x.example.org")')
    ward.run(minutes=1)
    ward.says("-I have a fever of 101.5")
    answer = ward.signed_in("Ada Frost").get("/log.csv?reason=fever")
    assert answer.headers["content-disposition"].startswith("attachment")
    rows = list(csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff"))))
    assert len(rows) == 1
    assert rows[0]["patient"].startswith("'=HYPERLINK")
    assert rows[0]["patient's words"] == "'-I have a fever of 101.5"
    with reading(ward.app.engine) as connection:
        told = connection.execute(AUDIT.select().where(AUDIT.c.what == "exported the log")).one()
    assert (told.who, told.detail["filters"]) == ("Ada Frost", {"reason": "fever"})


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_a_formula_is_defused(cell):
    assert defused(cell) == "'" + cell


def test_the_log_keeps_its_place_while_new_ones_come_in(fever):
    from bot.service.views_log import log
    from bot.store.worklist import Wanted

    for n in range(2, 8):
        fever.enrol(n, f"Person {n}")
        fever.phones.receive(fever.phone(n), "I have a fever of 102")
    first = log(fever.app.practice, fever.now, Wanted(reason="fever"), size=3)
    fever.enrol(9, "Person 9")
    fever.phones.receive(fever.phone(9), "I have a fever of 102")
    second = log(
        fever.app.practice, fever.now, Wanted(reason="fever"), before=first.place.older, size=3
    )
    back = log(
        fever.app.practice, fever.now, Wanted(reason="fever"), after=second.place.newer, size=3
    )
    assert not set(first.place.ids) & set(second.place.ids)
    assert back.place.ids == first.place.ids
    assert back.place.newer == back.place.ids[0], "the new one is on a newer part"


def test_the_handover_says_who_has_what(fever):
    nurse = fever.signed_in()
    act(
        nurse,
        fever,
        "acknowledge",
    )
    text = nurse.get("/handover").text
    assert "In hand, not decided (1)" in text
    assert "Ann Lee</strong> has it" in text


def test_a_test_patient_is_marked_and_tells_nobody_real(ward):
    nurse = ward.signed_in()
    assert nurse.post("/trial", text="I have a fever of 101.5").status_code == 303
    ward.app.relay()
    assert "Please call" in nurse.get("/trial").text
    page = nurse.get("/").text
    assert "Test, no real patient" in page
    assert "Nothing is open" in page, "a test is nobody's work"
    assert ward.phones.sent == []
    notices = [line for line in ward.app.threads() if line.to == "nurse"]
    assert notices
    assert {line.detail["address"] for line in notices} == {"trial"}


def test_what_a_patient_writes_is_never_markup(ward):
    ward.enrol()
    ward.run(minutes=1)
    ward.says("<script>alert(1)</script> I have a fever of 101.5")
    nurse = ward.signed_in()
    for path in ("/", "/escalations/1", "/log", "/handover"):
        assert "<script>alert" not in nurse.get(path).text


@pytest.mark.parametrize(
    ("length", "said"),
    [
        (timedelta(seconds=5), "1 min"),
        (timedelta(minutes=59), "59 min"),
        (timedelta(hours=2), "2 h"),
        (timedelta(hours=2, minutes=5), "2 h 5 min"),
        (timedelta(days=1, hours=4), "1 d 4 h"),
        (timedelta(minutes=-61), "1 h 1 min"),
    ],
)
def test_spans_are_said_in_two_units(length, said):
    assert span(length) == said


def test_a_number_is_dialled_and_nothing_else_is():
    assert tel("+1 (202) 555-0150") == "tel:+12025550150"
    assert tel("code:abc") == ""
