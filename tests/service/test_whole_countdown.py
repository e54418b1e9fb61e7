"""A knee patient from enrolment five weeks ahead to the day after, on the published content."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from bot.core.copies import CopyLevel
from bot.core.escalation import Disposition, Step
from bot.reading.reading import Asked

NEW_YORK = ZoneInfo("America/New_York")
FEVER_DAY = datetime(2027, 3, 12, tzinfo=NEW_YORK)
OVER = datetime(2027, 3, 17, tzinfo=NEW_YORK)
ANSWERS = {
    Asked.SYMPTOM_CHECK: "no, I feel fine",
    Asked.WASH: "done",
    Asked.YES_NO: "yes",
    Asked.MEDICINE_STOP: "I stopped it",
    Asked.TEMPERATURE: "101.2",
    Asked.CHOICE: "1",
}
# Questions for which a plain yes would be bad news.
GOOD_NEWS = {"wash_allergy": "no", "dental_procedures": "no", "no_shaving": "no"}


def _open_question(clinic, patient):
    question = clinic.app.chart(patient).conversation.open
    if question is None:
        return None, None
    return question, clinic.app.practice.book.flows[question.flow].states[question.state]


def _answer_everything(clinic, patient, fever):
    """A willing patient: answers each question a minute later, and has a fever on one day."""
    for _ in range(15):
        question, state = _open_question(clinic, patient)
        if question is None:
            return
        clinic.wait(minutes=1)
        text = GOOD_NEWS.get(question.flow, ANSWERS[state.asked])
        if question.flow == "symptom_check" and clinic.now > FEVER_DAY and not fever:
            fever.append(clinic.now)
            text = "I have a fever of 101.2 and I feel awful"
        clinic.says(text)


def _nurse_follows(clinic):
    for seen in clinic.app.worklist():
        case, care = seen.case, clinic.app.care
        care.acknowledge(case.id, "Nurse Ortiz")
        care.reach_patient(case.id, "Nurse Ortiz", "spoke with her")
        care.decide(case.id, Disposition.GOES_AHEAD, "Nurse Ortiz", "settled with the surgeon")
        care.close(case.id, "Nurse Ortiz", "she knows what was decided")


def test_a_whole_countdown_is_played_to_its_end(clinic):
    patient = clinic.with_coach(CopyLevel.EVERYTHING)
    planned = {prompt.key for prompt in clinic.app.planned(patient)}
    fever: list[datetime] = []
    while clinic.now < OVER:
        clinic.run()
        _answer_everything(clinic, patient, fever)
        if fever and clinic.now > fever[0] + timedelta(minutes=70):
            _nurse_follows(clinic)
        moment = clinic.app.next_moment()
        if moment is None:
            break
        clinic.times[0] = max(moment, clinic.now)

    _every_prompt_came_to_an_end(clinic, patient, planned)
    _nothing_was_sent_twice(clinic)
    _washes_are_confirmed(clinic, patient)
    _fever_was_followed_to_its_end(clinic, patient)
    _nobody_was_woken(clinic, patient)
    _times_are_right_although_clocks_changed(clinic)


def _every_prompt_came_to_an_end(clinic, patient, planned):
    with clinic.app.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT key, state, reason FROM planned_prompt").all()
    assert planned <= {row.key for row in rows}
    assert {row.state for row in rows} <= {"sent", "skipped", "cancelled"}
    assert {row.reason for row in rows if row.state == "skipped"} <= {"already done"}
    assert sum(row.state == "sent" for row in rows) > 35
    assert clinic.app.missed(patient) == []


def _nothing_was_sent_twice(clinic):
    keys = [kept.outgoing.key for kept in clinic.phones.sent]
    assert len(set(keys)) == len(keys)


def _washes_are_confirmed(clinic, patient):
    items = clinic.app.items(patient)
    washes = {name: items[name] for name in ("wash_1", "wash_2", "wash_3")}
    days = {name: item.at.astimezone(NEW_YORK).day for name, item in washes.items()}
    assert {item.value for item in washes.values()} == {"done"}
    assert days == {"wash_1": 13, "wash_2": 14, "wash_3": 15}


def _fever_was_followed_to_its_end(clinic, patient):
    cases = [seen.case for seen in clinic.app.worklist(patient, closed=True)]
    (alarm,) = [case for case in cases if "fever" in case.reasons]
    steps = [entry.step for entry in alarm.entries]
    for step in (Step.OPENED, Step.NURSE_NOTIFIED, Step.PATIENT_TOLD, Step.ANSWERED, Step.CLOSED):
        assert step in steps
    assert alarm.opened.words == "I have a fever of 101.2 and I feel awful"
    answers = {name: value for entry in alarm.entries for name, value in entry.detail.items()}
    assert answers["since"] == "today"
    assert "fever" not in clinic.app.chart(patient).conversation.escalated
    told = [text for text in clinic.texts() if "call Dr. Ana Quill's office now" in text]
    assert "+1-202-555-0110" in told[0]
    assert any("goes ahead" in text for text in clinic.texts())
    assert any("Did you get through" in text for text in clinic.texts())


def _nobody_was_woken(clinic, patient):
    """Before 08:00 and from 21:00 only on the day of surgery, as agreed."""
    for line in clinic.app.threads(patient):
        local = line.at.astimezone(NEW_YORK)
        if line.who == "coach bot" and line.to == "patient" and not 8 <= local.hour < 21:
            assert local.date().day == 15, (local, line.text)


def _times_are_right_although_clocks_changed(clinic):
    """07:30 less 8 h (ASA 2017, 2023: fatty food), less 2 h (clear liquids); doors at 05:30."""
    said = " ".join(clinic.texts())
    assert "11:30 PM Sunday" in said
    assert "5:30 AM Monday" in said
