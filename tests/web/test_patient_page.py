"""One patient: reading the file, changing the date with a preview, and what a nurse does by hand."""

import re
from datetime import date, time

import pytest
from sqlalchemy import select

from bot.store.engine import reading
from bot.store.tables_log import METADATA

AUDIT = METADATA.tables["audit"]


@pytest.fixture
def vale(ward):
    """Rosalind Vale, who has been asked for her consent and has answered."""
    ward.enrol()
    ward.run(minutes=10)
    ward.says("1")
    ward.says("I have a fever of 101.5")
    return ward


def mark_on(page: str) -> str:
    return re.search(r'name="mark" value="(\w+)"', page).group(1)


def operation(ward):
    return ward.app.chart(1).operation


def moved(browser, **changes):
    fields = {"kind": "move", "on": "2027-03-22", "starts_at": "09:15", **changes}
    return fields, browser.post("/patients/1/change/preview", "/patients/1", **fields)


def test_the_thread_shows_each_message_and_how_it_was_understood(vale):
    text = vale.signed_in().get("/patients/1").text
    assert "I have a fever of 101.5" in text
    understood = text.split('<p class="text">I have a fever of 101.5</p>')[1].split("</li>")[0]
    assert re.search(r"Understood as: <strong>symptom</strong>", understood)
    assert "because: <q>" in understood


def test_every_view_of_the_file_is_written_down(vale):
    browser = vale.signed_in()
    for path, what in {
        "/patients/1": "viewed a patient",
        "/patients/1/handout": "viewed a handout",
    }.items():
        browser.get(path)
        with reading(vale.app.engine) as connection:
            last = connection.execute(select(AUDIT).order_by(AUDIT.c.id.desc())).first()
        assert (last.who, last.what, last.patient_id) == ("Ann Lee", what, 1)


def test_the_preview_of_a_new_date_stores_and_sends_nothing(vale):
    before, sent = operation(vale), len(vale.phones.sent)
    _, answer = moved(vale.signed_in())
    assert answer.status_code == 200
    assert "Nothing is stored or sent yet" in answer.text
    vale.app.run_due()
    assert operation(vale) == before
    assert len(vale.phones.sent) == sent


def test_the_preview_shows_what_then_happens(vale):
    browser = vale.signed_in()
    fields, shown = moved(browser)
    announced = re.findall(r'<p class="text">(.*?)</p>', shown.text, re.DOTALL)
    done = browser.post("/patients/1/change", "/patients/1", mark=mark_on(shown.text), **fields)
    assert done.status_code == 303
    assert (operation(vale).surgery.on, operation(vale).surgery.starts_at) == (
        date(2027, 3, 22),
        time(9, 15),
    )
    queued = [line.text for line in vale.app.threads(1) if line.who == "coach bot"]
    assert announced and all(unescaped(text) in queued for text in announced)


def unescaped(text: str) -> str:
    return text.replace("&#39;", "'").replace("&#34;", '"').replace("&amp;", "&")


def test_a_confirmation_of_what_no_longer_stands_is_refused(vale):
    browser = vale.signed_in()
    fields, shown = moved(browser)
    vale.app.care.move_surgery(1, date(2027, 4, 1), "Bo Marsh")
    late = browser.post("/patients/1/change", "/patients/1", mark=mark_on(shown.text), **fields)
    assert late.status_code == 409
    assert "was changed since this preview" in late.text
    assert operation(vale).surgery.on == date(2027, 4, 1)


@pytest.mark.parametrize(
    ("on", "asked"),
    [("2027-03-21", "Sunday"), ("2027-02-01", "is past"), ("2029-03-12", "more than a year")],
)
def test_a_date_that_is_often_a_slip_is_asked_about(vale, on, asked):
    _, shown = moved(vale.signed_in(), on=on)
    assert asked in shown.text
    assert 'name="sure" required' in shown.text


@pytest.mark.parametrize(
    "wrong", [{"on": "soon"}, {"starts_at": "25:99"}, {"arrive_at": "10:00"}, {"kind": "other"}]
)
def test_a_change_that_cannot_be_read_is_refused_in_words(vale, wrong):
    _, answer = moved(vale.signed_in(), **wrong)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text


def test_cancelling_and_correcting_go_through_a_preview_too(vale):
    browser = vale.signed_in()
    for fields in ({"kind": "correct", "side": "left", "joint": "knee"}, {"kind": "cancel"}):
        shown = browser.post("/patients/1/change/preview", "/patients/1", **fields)
        assert operation(vale).status == "planned"
        mark = mark_on(shown.text)
        browser.post("/patients/1/change", "/patients/1", mark=mark, **fields)
    assert operation(vale).surgery.side == "left"
    assert operation(vale).status == "cancelled"


def test_a_message_in_own_words_goes_out_as_it_was_written(vale):
    browser = vale.signed_in()
    browser.post("/patients/1/message", "/patients/1", text="Please bring your reading glasses.")
    vale.app.relay()
    assert vale.phones.sent[-1].outgoing.text == "Please bring your reading glasses."


def test_nobody_who_stopped_the_messages_is_written_to(vale):
    vale.says("STOP")
    sent = len(vale.phones.sent)
    answer = vale.signed_in().post("/patients/1/message", "/patients/1", text="Hello?")
    vale.app.relay()
    assert answer.status_code == 422
    assert "Call instead" in answer.text
    assert len(vale.phones.sent) == sent


def test_pausing_and_resuming(vale):
    browser = vale.signed_in()
    browser.post("/patients/1/pause", "/patients/1")
    assert vale.app.chart(1).conversation.paused
    assert "Paused by staff" in browser.get("/patients/1").text
    browser.post("/patients/1/resume", "/patients/1")
    assert not vale.app.chart(1).conversation.paused


def test_what_was_told_by_phone_is_marked_with_the_name(vale):
    vale.signed_in().post("/patients/1/done", "/patients/1", item="blood_tests", value="done")
    item = vale.app.items(1)["blood_tests"]
    assert (item.value, item.by) == ("done", "Ann Lee")


def test_an_unknown_item_is_not_marked(vale):
    answer = vale.signed_in().post("/patients/1/done", "/patients/1", item="x", value="done")
    assert answer.status_code == 422
    assert "x" not in vale.app.items(1)


def test_a_medicine_needs_its_prescriber_and_date(vale):
    browser = vale.signed_in()
    fields = {"medicine": "apixaban", "last_dose": "2027-03-12", "prescriber": "Dr. Priya Anand"}
    for name in fields:
        answer = browser.post("/patients/1/holds", "/patients/1", **{**fields, name: ""})
        assert answer.status_code == 422
    assert not vale.app.chart(1).holds
    browser.post("/patients/1/holds", "/patients/1", **fields)
    assert vale.app.chart(1).holds[0].medicine == "apixaban"


def test_a_coach_is_invited_and_taken_off(vale):
    browser = vale.signed_in()
    fields = {"name": "Ruth Vale", "phone": "202-555-0190", "level": "reminders"}
    browser.post("/patients/1/coaches", "/patients/1", **fields)
    (coach,) = vale.app.chart(1).coaches
    assert (coach.name, coach.address, coach.active) == ("Ruth Vale", "+12025550190", False)
    browser.post(f"/patients/1/coaches/{coach.id}/remove", "/patients/1")
    assert vale.app.chart(1).coaches[0].left_at is not None


def test_a_coach_without_a_number_gets_a_link_as_a_qr_code(vale):
    vale.app.telegram_bot = "countdown_example_bot"
    file = f"/patients/{vale.enrol(2, 'Tobias Finch', born=date(1951, 3, 14))}"
    browser = vale.signed_in()
    fields = {"name": "Ruth Finch", "level": "reminders", "channel": "telegram"}
    browser.post(f"{file}/coaches", file, **fields)
    (coach,) = vale.app.chart(2).coaches
    assert coach.waiting
    assert "code:" not in browser.get(file).text
    made = browser.post(f"{file}/coaches/{coach.id}/link", file)
    assert made.status_code == 200
    assert 'class="segno"' in made.text
    assert "https://t.me/countdown_example_bot?start=" in made.text
    assert "Tobias" not in made.text.split("<article")[1].split("</article>")[0]
    assert browser.post(f"{file}/coaches/99/link", file).status_code == 404


def test_a_spanish_coachs_link_is_explained_in_spanish(vale):
    vale.app.telegram_bot = "countdown_example_bot"
    file = f"/patients/{vale.enrol(2, 'Tobias Finch', born=date(1951, 3, 14))}"
    browser = vale.signed_in()
    fields = {"name": "Rosa Finch", "level": "reminders", "channel": "telegram", "language": "es"}
    browser.post(f"{file}/coaches", file, **fields)
    (coach,) = vale.app.chart(2).coaches
    made = browser.post(f"{file}/coaches/{coach.id}/link", file).text.split("<article")[1]
    assert ' lang="es"' in made.split(">")[0]
    wording = vale.app.practice.book.flows["handout"].wording
    for line in ("coach_title", "coach_scan", "coach_asked", "coach_invited", "scan_name"):
        assert wording[line]["es"] in made
        assert wording[line]["en"] not in made
    assert "Para Rosa Finch" in made
    assert "durante 72 horas" in made


def test_a_link_needs_the_year_that_it_asks_for(vale):
    vale.app.telegram_bot = "countdown_example_bot"
    browser = vale.signed_in()
    fields = {"name": "Ruth Vale", "level": "reminders", "channel": "telegram"}
    browser.post("/patients/1/coaches", "/patients/1", **fields)
    refused = browser.post("/patients/1/coaches/1/link", "/patients/1")
    assert refused.status_code == 422
    assert "Enter the date of birth" in refused.text


def test_without_a_chat_on_this_service_a_coach_needs_a_number(vale):
    browser = vale.signed_in()
    fields = {"name": "Ruth Vale", "level": "reminders", "channel": "telegram"}
    assert browser.post("/patients/1/coaches", "/patients/1", **fields).status_code == 422
    assert not vale.app.chart(1).coaches


def test_an_address_that_is_somebody_elses_is_refused(vale):
    vale.enrol(2, "Tobias Finch")
    fields = {"name": "Ruth Vale", "phone": vale.phone(2), "level": "reminders"}
    answer = vale.signed_in().post("/patients/1/coaches", "/patients/1", **fields)
    assert answer.status_code == 422
    assert not vale.app.chart(1).coaches


def test_an_educator_reads_and_does_not_act(vale):
    text = vale.signed_in("Edie Cole").get("/patients/1").text
    assert "Rosalind Vale" in text
    assert "Change date or time" not in text


def test_forms_lead_to_the_record_wherever_they_are_shown(vale):
    browser = vale.signed_in()
    _, shown = moved(browser)
    assert 'action="/patients/1/change"' in shown.text
    refused = browser.post("/patients/1/message", "/patients/1", text="").text
    actions = set(re.findall(r'action="(/patients/[^"]+)"', refused))
    assert actions and all(re.match(r"/patients/1/[a-z]+(/preview|/level)?$", a) for a in actions)
