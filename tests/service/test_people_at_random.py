"""A patient, a coach, a nurse, the schedule and the clock act in random order on the real services.

After every act the promises hold that nobody may break: see the invariants.
"""

import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import count

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import text

from bot.channels.recording import RecordingChannel
from bot.core.copies import CopyLevel
from bot.core.escalation import Case, Disposition, NotAllowed, Step
from bot.core.protocol import MedicineHold, Surgery
from bot.service.enrolment import CoachWish, Enrolment
from bot.store.engine import open_engine
from bot.wiring import App

PATIENT, COACH, NURSE = "+12025550150", "+12025550151", "Nurse Ortiz"
START = datetime(2027, 3, 8, 15, tzinfo=UTC)
KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))
HOLD = MedicineHold("apixaban", date(2027, 3, 12), "Dr. Priya Anand", "last tablet Friday")
ALARMS = ("I have a fever of 101.5", "bad cough since monday", "chest pain, cant breathe")
STOPS = ("STOP", "please stop texting me", "unsubscribe")
WORDS = (
    "yes", "no", "done", "1", "2", "3", "later", "ok", "thanks!", "what's next?", "asdf qwer",
    "remind me in two hours", "talk to a person", "when do I arrive", "START", "I feel fine",
    "can I take a bath", "Marguerite", "No wait, yes", "HELP", "they want another date for me",
    "still took it",
)  # fmt: skip
PRIVATE = ("fever", "101.5", "cough since")  # what the patient wrote, not what a coach did
WRONG = "wrong number, nobody of that name here"
WAITS = (5, 40, 180, 600, 1440)  # minutes


class People(RuleBasedStateMachine):
    """One patient's week. `fresh` makes an app on an empty record and a clock to move."""

    fresh: Callable[[list[datetime]], App]
    numbers = count()

    @initialize(level=st.sampled_from(CopyLevel), joined=st.booleans(), hold=st.booleans())
    def enrol(self, level, joined, hold):
        self.times = [START]
        self.app = type(self).fresh(self.times)
        self.phones = RecordingChannel(self.app.clock, "sms")
        self.app.connect(self.phones)
        wish = Enrolment(
            "P-1", "Rosalind Vale", "sms", PATIENT, KNEE, "Dr. Ana Quill",
            facts={"age": 70}, holds=(HOLD,) if hold else (),
            coach=CoachWish("Marguerite Vale", "sms", COACH, level), agreed="paper",
        )  # fmt: skip
        self.level, self.joined = level, joined
        self.gone = {PATIENT: False, COACH: False}  # stopped, or a wrong number
        self.loosest = level  # of the levels so far, the one that shows most, for copies on the way
        self.seen = 0
        self.patient = self.app.care.enrol(wish).patient
        self.run()
        if joined:
            self.write(COACH, "yes")

    def teardown(self):
        if hasattr(self, "app"):
            self.app.close()

    def run(self):
        assert self.app.run_due().failed == []

    def write(self, address, words):
        """A phone writes. Return what came to each phone because of it."""
        self.answering = address
        self.phones.receive(address, words)
        self.app.relay()
        self.check_sent(answer_to=address)

    def texts(self):
        return [(kept.outgoing.address, kept.outgoing.text) for kept in self.phones.sent]

    def check_sent(self, answer_to=None):
        """What has just been sent was consented to, and not to anyone who stopped."""
        new, self.seen = self.texts()[self.seen :], len(self.texts())
        for address, words in new:
            assert not self.gone[address] or address == answer_to, (address, words)
            if address != COACH:
                continue
            if not self.joined and answer_to != COACH:
                assert "Reply YES to join" in words, words
            if self.loosest is not CopyLevel.EVERYTHING and answer_to != COACH:
                assert not [w for w in PRIVATE if w in words], words
                assert "no symptoms, all is well" not in words
            if self.loosest is CopyLevel.TROUBLE_ONLY:
                assert "Today's reminder" not in words, words

    # -- acts

    @rule(minutes=st.sampled_from(WAITS))
    def time_passes(self, minutes):
        until = self.times[0] + timedelta(minutes=minutes)
        self.run()
        self.check_sent()
        while (moment := self.app.next_moment()) is not None and moment <= until:
            self.times[0] = max(moment, self.times[0])
            self.run()
            self.check_sent()
        self.times[0] = until

    @rule(words=st.sampled_from(WORDS + ALARMS))
    def patient_writes(self, words):
        before = self.gone[PATIENT]
        if words == "START" and before:
            self.gone[PATIENT] = self.gone[COACH] = False  # what is shared goes on too
        self.write(PATIENT, words)
        if words in ALARMS:
            self.alarm_is_followed()

    @rule(words=st.sampled_from(STOPS))
    def patient_stops(self, words):
        self.write(PATIENT, words)
        self.gone[PATIENT] = True
        self.gone[COACH] = True  # there is nothing left to copy

    @rule()
    def it_is_a_wrong_number(self):
        self.write(PATIENT, WRONG)
        self.gone[PATIENT] = True
        self.gone[COACH] = True

    @precondition(lambda self: self.joined)
    @rule(words=st.sampled_from(WORDS + ALARMS))
    def coach_writes(self, words):
        self.write(COACH, words)
        if words in ALARMS:
            self.alarm_is_followed()

    @rule(pick=st.integers(0, 9), disposition=st.sampled_from(Disposition))
    def nurse_takes_the_next_step(self, pick, disposition):
        cases = [seen.case for seen in self.app.worklist(self.patient)]
        if not cases:
            return
        case = cases[pick % len(cases)]
        self.follow(case, disposition)
        self.app.relay()
        self.check_sent()

    def follow(self, case: Case, disposition: Disposition):
        care = self.app.care
        match case.standing:
            case Step.ACKNOWLEDGED:
                care.reach_patient(case.id, NURSE, "spoke with her")
            case Step.PATIENT_REACHED:
                again = self.times[0] + timedelta(days=1)
                care.decide(case.id, disposition, NURSE, "settled", None, again)
            case Step.DECIDED:
                care.close(case.id, NURSE, "she knows")
            case _:
                with pytest.raises(NotAllowed):
                    care.close(case.id, NURSE, "done")
                care.acknowledge(case.id, NURSE)

    @rule(days=st.sampled_from([-3, 0, 2, 10, None]))
    def schedule_changes(self, days):
        on = None if days is None else KNEE.on + timedelta(days=days)
        if on is not None and on <= self.times[0].date():
            return
        self.app.care.move_surgery(self.patient, on, "Scheduling", time(9, 0) if on else None)
        self.app.relay()
        self.check_sent()
        keys = self.rows("SELECT key FROM planned_prompt WHERE state = 'planned'")
        assert on is not None or not keys

    @rule()
    def staff_pause_and_resume(self):
        chat = self.app.chart(self.patient).conversation
        (self.app.care.resume if chat.paused else self.app.care.pause)(self.patient, NURSE)
        self.app.relay()
        self.check_sent()

    @rule(level=st.sampled_from(CopyLevel))
    def consent_changes(self, level):
        self.app.care.set_coach_level(self.patient, level, NURSE)
        self.loosest = level

    # -- what must hold

    def rows(self, query):
        with self.app.engine.connect() as connection:
            return connection.execute(text(query)).all()

    def alarm_is_followed(self):
        """An alarm is on the list as soon as it is written, whoever wrote it and whatever else."""
        assert "alarm" in {seen.case.topic for seen in self.app.worklist(self.patient)}

    @invariant()
    def no_open_case_without_a_deadline_and_someone_told(self):
        for seen in self.app.worklist(self.patient) if hasattr(self, "app") else ():
            assert seen.deadline is not None, seen.case
            steps = [entry.step for entry in seen.case.entries]
            assert Step.NURSE_NOTIFIED in steps, seen.case
        late = self.rows(
            "SELECT id FROM escalation WHERE closed_at IS NULL AND deadline_at IS NULL"
        )
        assert not late

    @invariant()
    def nothing_stale_went_out(self):
        sent = self.rows(
            "SELECT key, not_after, changed_at FROM outbound WHERE not_after IS NOT NULL"
            " AND state = 'sent' AND to_role <> 'nurse'"
        )
        assert [row.key for row in sent if row.changed_at > row.not_after] == []

    @invariant()
    def nothing_was_sent_twice(self):
        keys = [kept.outgoing.key for kept in self.phones.sent]
        assert len(set(keys)) == len(keys)

    @invariant()
    def each_wash_has_one_record(self):
        twice = self.rows(
            "SELECT name, generation FROM item WHERE name LIKE 'wash_%'"
            " GROUP BY name, generation HAVING COUNT(*) > 1"
        )
        assert not twice

    @invariant()
    def one_question_is_open_at_a_time(self):
        chat = self.app.chart(self.patient).conversation
        threads = [chat, *([chat.coach] if chat.coach else [])]
        for thread in threads:
            asked = [*thread.interrupted, *([thread.open] if thread.open else [])]
            known = [(question.flow, sorted(question.values.items())) for question in asked]
            assert known == [one for n, one in enumerate(known) if one not in known[:n]]
        assert not (chat.stopped and (chat.open or chat.waiting or chat.interrupted))

    @invariant()
    def a_stop_is_a_stop(self):
        if self.gone[PATIENT]:
            assert self.app.chart(self.patient).conversation.stopped


def _machine(published, empty_record, tmp_path):
    def fresh(times):
        path = tmp_path / f"record{next(People.numbers)}.db"
        shutil.copy(empty_record, path)
        engine = open_engine(f"sqlite:///{path}")
        return App(replace(published, engine=engine), lambda: times[0])

    class Week(People):
        pass

    Week.fresh = staticmethod(fresh)
    return Week


CALM = dict(
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # a failing week is printed as it was
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def test_a_few_random_weeks_keep_every_promise(published, empty_record, tmp_path):
    machine = _machine(published, empty_record, tmp_path)
    run_state_machine_as_test(
        machine, settings=settings(max_examples=4, stateful_step_count=12, **CALM)
    )


@pytest.mark.slow
def test_many_random_weeks_keep_every_promise(published, empty_record, tmp_path):
    machine = _machine(published, empty_record, tmp_path)
    run_state_machine_as_test(
        machine, settings=settings(max_examples=120, stateful_step_count=40, **CALM)
    )
