"""Enrolling by form and by file: nothing is stored before a slip was asked about."""

import html
import re
from dataclasses import replace
from datetime import date

import pytest

from bot.core.protocol import MedicineHold

GOOD = {
    "reference": "P-77",
    "name": "Walter Brandt",
    "born": "1953-04-02",
    "phone": "202-555-0181",
    "joint": "knee",
    "side": "left",
    "on": "2027-03-16",
    "starts_at": "07:30",
    "surgeon": "Dr. Ana Quill",
    "zone": "America/New_York",
}
HEAD = "patient_id,name,phone,born,joint,side,surgery_date,surgeon\n"
ROWS = (
    "P-901,Walter Brandt,+1-202-555-0181,1953-04-02,knee,left,2027-03-16,Dr. Ana Quill\n"
    "P-902,Elena Marrero,+1-202-555-0182,1960-11-19,hip,right,2027-03-21,Dr. Leo Marsh\n"
    "P-903,Harold Finch,12345,1948-01-27,hip,left,2027-03-17,Dr. Leo Marsh\n"
    "P-904,Doris Achter,+1-202-555-0184,1956-07-08,elbow,right,2027-03-18,Dr. Ana Quill\n"
)


def upload(browser, text: str):
    data = {"token": browser.token("/enrol")}
    file = {"file": ("schedule.csv", text.encode(), "text/csv")}
    headers = {"origin": "http://testserver"}
    return browser.http.post("/enrol/file/preview", data=data, files=file, headers=headers)


def take_in(browser, text: str, **ticks):
    return browser.post("/enrol/file", "/enrol", schedule=text, channel="sms", **ticks)


def test_the_form_enrols_and_leads_to_the_handout(ward):
    browser = ward.signed_in()
    answer = browser.post("/enrol", "/enrol", **GOOD, smoker="yes", agreed="yes")
    assert answer.headers["location"].startswith("/patients/1/handout")
    chart = ward.app.chart(1)
    assert (chart.patient.name, chart.facts["smoker"]) == ("Walter Brandt", True)
    assert "pets" not in chart.facts, "what was not asked is not a no"
    text = browser.get("/patients/1/handout").text
    assert "Tuesday, March 16, 2027" in text
    assert "vaccines before surgery" in text.casefold()


@pytest.mark.parametrize("name", ["reference", "name", "born", "phone", "joint", "on", "surgeon"])
def test_a_missing_field_is_named_and_nothing_is_stored(ward, name):
    answer = ward.signed_in().post("/enrol", "/enrol", **{**GOOD, name: ""})
    assert answer.status_code == 422
    assert "Nothing was stored" in answer.text
    assert GOOD["reference"] in answer.text or name == "reference", "what was typed is kept"
    assert ward.app.everyone() == []


@pytest.mark.parametrize(
    ("changed", "question"), [({"on": "2027-03-21"}, "weekend"), ({"on": "2027-01-05"}, "past")]
)
def test_an_unusual_date_is_asked_about_before_it_is_stored(ward, changed, question):
    browser = ward.signed_in()
    asked = browser.post("/enrol", "/enrol", **{**GOOD, **changed})
    assert asked.status_code == 422
    assert f'name="yes-{question}"' in asked.text
    assert ward.app.everyone() == []
    browser.post("/enrol", "/enrol", **{**GOOD, **changed, f"yes-{question}": "on"})
    assert len(ward.app.everyone()) == 1


def test_the_other_side_of_a_known_person_is_asked_about(ward):
    browser = ward.signed_in()
    browser.post("/enrol", "/enrol", **GOOD)
    other = {**GOOD, "reference": "P-78", "side": "right", "phone": "202-555-0182"}
    asked = browser.post("/enrol", "/enrol", **other)
    assert "the left knee is on record for Walter Brandt" in asked.text
    assert len(ward.app.everyone()) == 1


def test_a_known_number_and_a_taken_phone_are_refused(ward):
    browser = ward.signed_in()
    browser.post("/enrol", "/enrol", **GOOD)
    assert "enrolled already" in browser.post("/enrol", "/enrol", **GOOD).text
    taken = browser.post("/enrol", "/enrol", **{**GOOD, "reference": "P-79", "name": "Else"})
    assert "another person" in taken.text
    assert len(ward.app.everyone()) == 1


def test_the_preview_of_a_file_names_every_fault_and_stores_nothing(ward):
    text = upload(ward.signed_in(), HEAD + ROWS).text
    assert "2 rows can be taken in" in text
    assert "<strong>2 rows cannot</strong>" in text
    for line, column in ((4, "phone"), (5, "joint")):
        assert re.search(rf'data-label="Line">{line}</td><td data-label="Column">{column}<', text)
    assert "21 Mar 2027 is a Sunday" in text
    assert ward.app.everyone() == []


def test_a_row_with_a_question_is_left_out_without_its_tick(ward):
    browser = ward.signed_in()
    assert "1 enrolled" in take_in(browser, HEAD + ROWS).text
    assert ward.app.find("P-901") and not ward.app.find("P-902")
    assert "1 enrolled" in take_in(browser, HEAD + ROWS, **{"yes-3": "on"}).text
    assert ward.app.find("P-902")


def test_a_file_brought_again_changes_nothing(ward):
    browser = ward.signed_in()
    take_in(browser, HEAD + ROWS)
    assert "0 enrolled, 0 changed, 1 unchanged" in take_in(browser, HEAD + ROWS).text


def test_what_is_no_text_is_refused(ward):
    browser = ward.signed_in()
    data = {"token": browser.token("/enrol")}
    file = {"file": ("s.csv", b"\xff\xfe\x00", "text/csv")}
    headers = {"origin": "http://testserver"}
    answer = browser.http.post("/enrol/file/preview", data=data, files=file, headers=headers)
    assert answer.status_code == 422
    assert "UTF-8" in answer.text


def test_the_handout_is_in_the_patients_language_and_in_another_on_demand(ward):
    browser = ward.signed_in()
    browser.post("/enrol", "/enrol", **{**GOOD, "language": "es", "agreed": "yes"})
    hold = MedicineHold("apixaban", date(2027, 3, 12), "Dr. Priya Anand", "None after Friday")
    ward.app.care.add_medicine_hold(1, hold, "Ann Lee")
    spanish = paper(browser.get("/patients/1/handout"))
    english = paper(browser.get("/patients/1/handout?language=en"))
    assert 'lang="es"' in spanish and 'lang="en"' in english
    words = ward.app.practice.book.flows["handout"].wording
    for line in ("title", "office", "after_hours", "not_for_emergencies", "dates", "changes"):
        for told, own, other in ((spanish, "es", "en"), (english, "en", "es")):
            assert words[line][own] in told
            assert words[line][other] not in told
    assert "reemplazo de rodilla izquierda con Dra. Ana Quill" in spanish
    assert "martes, 16 de marzo de 2027" in spanish
    assert "las vacunas antes de la cirugía" in spanish.casefold()
    assert "última dosis el viernes 12 de marzo, como lo decidió Dr. Priya Anand." in spanish
    assert "last dose on Friday, March 12, as Dr. Priya Anand decided." in english
    for told in (spanish, english):
        assert "“None after Friday”" in told, "the prescriber's words are not translated"
        assert "{" not in told


def paper(answer):
    """What is printed: without the page around it."""
    return html.unescape(answer.text.split("<article")[1].split("</article>")[0])


def test_the_link_of_a_spanish_handout_is_explained_in_spanish(ward):
    ward.app.telegram_bot = "countdown_example_bot"
    browser = ward.signed_in()
    wish = {**GOOD, "channel": "telegram", "phone": "", "language": "es"}
    browser.post("/enrol", "/enrol", **wish)
    told = paper(browser.post("/patients/1/link", "/patients/1/handout", language="es"))
    assert "Sirve una sola vez, durante 72 horas." in told
    assert "<title>Código QR que abre el chat</title>" in told


def test_content_older_than_the_handout_is_said_to_have_no_words_for_it(ward):
    browser = ward.signed_in()
    browser.post("/enrol", "/enrol", **GOOD)
    flows = dict(ward.app.practice.book.flows)
    del flows["handout"]
    book = replace(ward.app.practice.book, flows=flows)
    ward.app.practice = replace(ward.app.practice, book=book)
    answer = browser.get("/patients/1/handout")
    assert answer.status_code == 200
    assert "no words for this page yet" in answer.text


def test_a_link_is_shown_once_as_a_qr_code(ward):
    ward.app.telegram_bot = "countdown_example_bot"
    browser = ward.signed_in()
    browser.post("/enrol", "/enrol", **{**GOOD, "channel": "telegram", "phone": ""})
    assert "<svg" not in browser.get("/patients/1/handout").text
    made = browser.post("/patients/1/link", "/patients/1/handout")
    assert made.status_code == 200
    assert re.search(r'<svg [^>]*viewBox="0 0 \d+ \d+"[^>]*class="segno"', made.text)
    assert "https://t.me/countdown_example_bot?start=" in made.text
    assert " style=" not in made.text


def test_a_telephone_of_two_people_is_refused_until_the_box_is_ticked(ward):
    browser = ward.signed_in()
    browser.post("/enrol", "/enrol", **GOOD)
    second = {**GOOD, "reference": "P-78", "name": "Ruth Brandt", "born": "1955-01-09"}
    refused = browser.post("/enrol", "/enrol", **second)
    assert refused.status_code == 422
    assert "already on file for another person" in refused.text
    taken = browser.post("/enrol", "/enrol", **second, shared="yes")
    assert taken.headers["location"].startswith("/patients/2/handout")
    coach = {"name": "Otto Brandt", "phone": GOOD["phone"], "level": "reminders"}
    assert browser.post("/patients/1/coaches", "/patients/1", **coach).status_code == 422
    browser.post("/patients/1/coaches", "/patients/1", **coach, shared="yes")
    assert [each.name for each in ward.app.chart(1).coaches] == ["Otto Brandt"]


def test_a_row_may_say_that_the_telephone_is_shared(ward):
    browser = ward.signed_in()
    rows = ROWS.splitlines()[0] + ",{}\n"
    head = HEAD.strip() + ",shared_phone\n"
    again = rows.replace("P-901", "P-905").replace("Walter", "Ruth").replace("1953", "1955")
    for said, enrolled in (("no", 1), ("maybe", 1), ("yes", 2)):
        text = head + rows.format("no") + again.format(said)
        asked = "set shared_phone to yes" in upload(browser, text).text
        assert asked == (said == "no")
        take_in(browser, text)
        assert len(ward.app.everyone()) == enrolled, said
