"""A clinic with its page: a clock that the test moves, accounts of every role, browsers."""

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest
from clinic_samples import KNEE, MONDAY, QUICK
from starlette.testclient import TestClient

from bot.channels.recording import RecordingChannel
from bot.channels.trial import TrialChannel
from bot.config_sections import Settings
from bot.core.escalation import Disposition
from bot.core.staff import Role
from bot.service.accounts import add_account
from bot.service.enrolment import Enrolment
from bot.service.practice import Practice
from bot.store.engine import open_engine
from bot.web.app import make_app
from bot.wiring import App

PATIENT, COACH = "+12025550150", "+12025550151"
PASSWORD = "four plain words suffice"
ORIGIN = "http://testserver"
STAFF = {
    "Ann Lee": Role.NURSE,
    "Bo Marsh": Role.NURSE,
    "Edie Cole": Role.EDUCATOR,
    "Ada Frost": Role.ADMINISTRATOR,
}


@dataclass
class Browser:
    """One browser: sends forms the way a real one does, from the page that showed them."""

    http: TestClient

    def get(self, path: str, **options):
        return self.http.get(path, follow_redirects=False, **options)

    def token(self, path: str = "/sign-in") -> str:
        found = re.search(r'name="token" value="(\w+)"', self.get(path).text)
        assert found, f"no form on {path}"
        return found.group(1)

    def post(self, path: str, page: str | None = None, follow: bool = False, **fields):
        """Send a form found on `page` (any page with a token of this session will do)."""
        token = fields.pop("token", None) or self.token(page or self.home)
        headers = {"origin": fields.pop("origin", ORIGIN)}
        data = {"token": token, **fields}
        return self.http.post(path, data=data, headers=headers, follow_redirects=follow)

    home: str = "/sign-in"

    def sign_in(self, name: str, password: str = PASSWORD):
        answer = self.post("/sign-in", "/sign-in", name=name, password=password)
        if answer.status_code == 303:
            self.home = answer.headers["location"]
        return answer


@dataclass
class Ward:
    """The service with its page."""

    app: App
    phones: RecordingChannel
    times: list[datetime]
    web: object

    @property
    def now(self) -> datetime:
        return self.times[0]

    def wait(self, **span: float) -> None:
        self.times[0] += timedelta(**span)

    def browser(self, address: str = "10.0.0.7") -> Browser:
        http = TestClient(self.web, raise_server_exceptions=False, client=(address, 4000))
        return Browser(http)

    def signed_in(self, name: str = "Ann Lee", address: str = "10.0.0.7") -> Browser:
        browser = self.browser(address)
        assert browser.sign_in(name).status_code == 303
        return browser

    def enrol(self, number: int = 1, name: str = "Rosalind Vale", **changes: object) -> int:
        wish = Enrolment(f"P-{number}", name, "sms", self.phone(number), KNEE, "Dr. Ana Quill")
        wish = replace(wish, agreed="paper")
        return self.app.care.enrol(replace(wish, **changes)).patient

    def phone(self, number: int) -> str:
        return f"+120255501{49 + number:02d}"

    def morning(self) -> dict[str, int]:
        """A full worklist: one of each kind of matter, taken and untaken; escalations by patient."""
        people = (
            "Rosalind Vale", "Tobias Finch", "Ines Calder", "Ham Oakes", "Petra Lindqvist",
            "Amos Reed", "Wilma Prowse",
        )  # fmt: skip
        for number, name in enumerate(people, start=1):
            on = (
                date(2027, 2, 9)
                if name == "Ham Oakes"
                else MONDAY.date() + timedelta(days=5 + 3 * number)
            )
            start = None if name == "Ham Oakes" else time(7, 30)
            surgery = replace(KNEE, on=on, starts_at=start, joint="hip" if number % 2 else "knee")
            surgeon = "Dr. Ana Quill" if number % 3 else "Dr. Leo Marsh"
            channel = "letter" if name == "Amos Reed" else "sms"  # nobody set that channel up
            self.enrol(number, name, surgery=surgery, surgeon=surgeon, channel=channel)
        self.run(minutes=1)
        for number, text in (
            (7, "I have a rash on my leg where the knee is"),
            (2, "Can I take my vitamins until the day?"),
            (5, "I took my blood thinner this morning, was that wrong?"),
            (1, "I have a fever of 101.5 since last night and feel awful"),
        ):
            self.says(text, self.phone(number))
            self.run(minutes=7)
        self.app.care.acknowledge(self.case_of("Wilma Prowse"), "Bo Marsh")
        self.app.care.reach_patient(self.case_of("Wilma Prowse"), "Bo Marsh", "Mild, no blisters.")
        tomorrow = self.now + timedelta(days=1)
        self.app.care.decide(
            self.case_of("Wilma Prowse"), Disposition.WATCH, "Bo Marsh",
            "Dr. Quill: look again tomorrow, send a photo then.", recheck_at=tomorrow,
        )  # fmt: skip
        self.run(hours=2)
        self.says("I can't breathe well", self.phone(3))
        self.run(minutes=4)
        return {item.patient: item.case.id for item in self.app.worklist()}

    def case_of(self, name: str) -> int:
        return next(item.case.id for item in self.app.worklist() if item.patient == name)

    def run(self, **span: float) -> None:
        """Let time pass, doing what comes due on the way."""
        until = self.now + timedelta(**span)
        self.app.run_due()
        while (moment := self.app.next_moment()) is not None and moment <= until:
            self.times[0] = max(moment, self.now)
            self.app.run_due()
        self.times[0] = until
        self.app.run_due()

    def says(self, text: str, address: str = PATIENT) -> None:
        self.phones.receive(address, text)
        self.app.relay()


@pytest.fixture(scope="session")
def staffed(empty_record, tmp_path_factory) -> Path:
    """A record with four accounts, to copy."""
    path = Path(shutil.copy(empty_record, tmp_path_factory.mktemp("staffed") / "record.db"))
    engine = open_engine(f"sqlite:///{path}")
    for name, role in STAFF.items():
        add_account(engine, QUICK, name, [role], PASSWORD, MONDAY)
    engine.dispose()
    return path


@contextmanager
def ward_on(published: Practice, record: Path) -> Iterator[Ward]:
    """The service with its page on a record."""
    engine = open_engine(f"sqlite:///{record}")
    times = [MONDAY]
    app = App(replace(published, engine=engine), lambda: times[0])
    phones = RecordingChannel(app.clock, "sms")
    app.connect(phones)
    app.connect(TrialChannel())
    yield Ward(app, phones, times, make_app(app, Settings(), passwords=QUICK))
    app.close()


@pytest.fixture
def ward(published, staffed, tmp_path) -> Iterator[Ward]:
    with ward_on(published, Path(shutil.copy(staffed, tmp_path / "record.db"))) as made:
        yield made


@pytest.fixture(scope="session")
def feverish(published, staffed, tmp_path_factory) -> Path:
    """The staffed record with patient 1, whose fever is escalation 1; to copy."""
    path = Path(shutil.copy(staffed, tmp_path_factory.mktemp("feverish") / "record.db"))
    with ward_on(published, path) as made:
        made.enrol()
        made.says("I have a fever of 101.5")
    return path


@pytest.fixture
def busy(published, feverish, tmp_path) -> Iterator[Ward]:
    """A ward with patient 1 and escalation 1."""
    with ward_on(published, Path(shutil.copy(feverish, tmp_path / "record.db"))) as made:
        yield made
