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
    planned = {prompt.key: prompt for prompt in clinic.app.planned(patient)}
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

    _every_prompt_went_out_once_and_in_time(clinic, patient, planned)
    _washes_are_confirmed(clinic, patient)
    _fever_was_followed_to_its_end(clinic, patient)
    _nobody_was_woken(clinic, patient)
    assert clinic.app.missed(patient) == []


def _every_prompt_went_out_once_and_in_time(clinic, patient, planned):
    assert clinic.app.planned(patient) == ()
    keys = [line.detail["prompt"] for line in clinic.app.threads(patient) if line.to == "patient"]
    assert len(planned) > 20
    sent = [m for m in clinic.phones.sent]
    assert len({m.outgoing.key for m in sent}) == len(sent)
    assert any(key for key in keys)


def _washes_are_confirmed(clinic, patient):
    washes = {
        n: i for n, i in clinic.app.items(patient).items() if n in ("wash_1", "wash_2", "wash_3")
    }
    days = {name: item.at.astimezone(NEW_YORK).date().day for name, item in washes.items()}
    assert {name: item.value for name, item in washes.items()} == dict.fromkeys(washes, "done")
    assert days == {"wash_1": 13, "wash_2": 14, "wash_3": 15}


def _fever_was_followed_to_its_end(clinic, patient):
    cases = [seen.case for seen in clinic.app.worklist(patient, closed=True)]
    (alarm,) = [case for case in cases if "fever" in case.reasons]
    steps = [entry.step for entry in alarm.entries]
    for step in (Step.OPENED, Step.NURSE_NOTIFIED, Step.PATIENT_TOLD, Step.ANSWERED, Step.CLOSED):
        assert step in steps
    assert alarm.opened.words == "I have a fever of 101.2 and I feel awful"
    assert "fever" not in clinic.app.chart(patient).conversation.escalated
    told = [t for t in clinic.texts() if "call Dr. Ana Quill's office now" in t]
    assert told
    assert "+1-202-555-0110" in told[0]
    assert any("goes ahead" in text for text in clinic.texts())
    assert clinic.app.worklist(patient) == [
        seen for seen in clinic.app.worklist(patient) if seen.case.opened.at > alarm.opened.at
    ]


def _nobody_was_woken(clinic, patient):
    """Before 08:00 and from 21:00 only on the day of surgery, as agreed."""
    for line in clinic.app.threads(patient):
        local = line.at.astimezone(NEW_YORK)
        if line.who == "coach bot" and line.to == "patient" and not 8 <= local.hour < 21:
            assert local.date().day == 15, (local, line.text)
