"""Made from the route table, so that a new page cannot be forgotten."""

import re

import pytest
from sqlalchemy import func, select
from starlette.routing import Mount, Route

from bot.core.staff import Role
from bot.store.engine import reading
from bot.store.tables_log import METADATA
from bot.web.headers import ALWAYS, POLICY
from bot.web.routes import TABLE

pytestmark = pytest.mark.slow  # three hundred requests with a fresh clinic each

# Beside the table: what monitoring asks (says nothing about anyone) and fixed files.
BESIDE = {"/healthz", "/metrics", "/static"}
PEOPLE = {Role.NURSE: "Ann Lee", Role.EDUCATOR: "Edie Cole", Role.ADMINISTRATOR: "Ada Frost"}
PATTERN = re.compile(r"\{(\w+)(?::\w+)?\}")
LINES = [pytest.param(line, id=f"{line.method} {line.path}") for line in TABLE]
CLOSED = [param for param in LINES if not param.values[0].open]
FORMS = [param for param in CLOSED if param.values[0].unsafe]


def path_of(line):
    """The line's path for the first of whatever it names."""
    return PATTERN.sub("1", line.path)


def record(ward):
    """Everything stored, but for who looked and who is signed in."""
    leave = {"audit", "web_session", "sign_in_try", "known_address"}
    with reading(ward.app.engine) as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table))]
            for table in METADATA.sorted_tables
            if table.name not in leave
        }


def send(browser, line, **options):
    return browser.http.request(line.method, path_of(line), follow_redirects=False, **options)


def test_the_application_has_no_route_beside_the_table(ward):
    listed = {(line.path, line.method) for line in TABLE}
    for route in ward.web.routes:
        if isinstance(route, Mount):
            assert route.path in BESIDE
            continue
        assert isinstance(route, Route)
        methods = route.methods - {"HEAD"}
        assert route.path in BESIDE or {(route.path, m) for m in methods} <= listed


def test_no_line_is_there_twice():
    keys = [(line.method, line.path) for line in TABLE]
    assert len(keys) == len(set(keys))


def test_every_line_names_its_roles_and_only_signing_in_is_open():
    assert {line.path for line in TABLE if line.open} == {"/sign-in"}
    assert all(line.roles for line in TABLE if not line.open)


@pytest.mark.parametrize("line", CLOSED)
def test_someone_signed_out_gets_nothing_and_changes_nothing(busy, line):
    before, browser = record(busy), busy.browser()
    token = browser.token()
    answer = send(browser, line, data={"token": token}, headers={"origin": "http://testserver"})
    if line.live:
        assert (answer.status_code, answer.content) == (401, b"")
    else:
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in?")
        assert answer.content == b""
    assert record(busy) == before


@pytest.mark.parametrize("line", CLOSED)
def test_someone_with_another_role_gets_nothing_and_changes_nothing(busy, line):
    before = record(busy)
    for role in set(Role) - line.roles:
        browser = busy.signed_in(PEOPLE[role])
        data = {"token": browser.token(browser.home)}
        answer = send(browser, line, data=data, headers={"origin": "http://testserver"})
        assert answer.status_code == 403
        assert "Rosalind" not in answer.text
    assert record(busy) == before


@pytest.mark.parametrize(
    "forged", ["no token", "wrong token", "another's token", "other site", "no origin"]
)
@pytest.mark.parametrize("line", FORMS)
def test_a_forged_form_changes_nothing(busy, line, forged):
    before = record(busy)
    role = next(role for role in Role if role in line.roles)
    browser = busy.signed_in(PEOPLE[role])
    token = browser.token(browser.home)
    stolen = busy.signed_in("Bo Marsh").token("/") if forged == "another's token" else "0" * 64
    fields = {"no token": {}, "other site": {"token": token}, "no origin": {"token": token}}
    headers = {"origin": "http://testserver"}
    if forged == "other site":
        headers = {"origin": "http://evil.example.org"}
    if forged == "no origin":
        headers = {}
    answer = send(browser, line, data=fields.get(forged, {"token": stolen}), headers=headers)
    assert answer.status_code == 403
    assert "Nothing was changed" in answer.text
    assert record(busy) == before
    assert browser.get("/sign-in").headers["location"], "still signed in"


@pytest.mark.parametrize("line", LINES)
def test_every_answer_carries_the_policy_and_is_kept_nowhere(busy, line):
    role = next((role for role in Role if role in line.roles), None)
    browser = busy.signed_in(PEOPLE[role]) if role else busy.browser()
    answer = send(browser, line)
    for name, value in ALWAYS.items():
        assert answer.headers[name] == value
    assert answer.headers["cache-control"] == "no-store"
    assert answer.status_code < 500


@pytest.mark.parametrize("line", [p for p in LINES if p.values[0].method == "GET"])
def test_no_page_holds_anything_inline_or_from_elsewhere(busy, line):
    role = next((role for role in Role if role in line.roles), None)
    browser = busy.signed_in(PEOPLE[role]) if role else busy.browser()
    text = send(browser, line).text
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=\"|javascript:", text)
    assert not re.search(r"(?:src|action|href)=\"(?:https?:)?//", text)


@pytest.mark.parametrize("line", [p for p in CLOSED if p.values[0].method == "GET"])
def test_looking_changes_nothing(busy, line):
    before = record(busy)
    role = next(role for role in Role if role in line.roles)
    assert send(busy.signed_in(PEOPLE[role]), line).status_code == 200
    assert record(busy) == before


def test_the_policy_allows_nothing_inline():
    assert "unsafe" not in POLICY
    assert POLICY.startswith("default-src 'none'")


@pytest.mark.parametrize(
    "path", ["/nothing", "/escalations/999", "/escalations/99999999999999999999"]
)
def test_what_is_not_there_is_not_found(ward, path):
    answer = ward.signed_in().get(path)
    assert answer.status_code == 404
    assert answer.headers["content-security-policy"] == POLICY


def test_a_body_that_is_too_large_is_refused(ward):
    browser = ward.signed_in()
    token = browser.token("/")
    answer = browser.post("/trial", token=token, text="x" * 70_000)
    assert answer.status_code == 413


def test_the_health_check_says_nothing_about_anyone(busy):
    answer = busy.browser().get("/healthz")
    told = answer.json()
    assert told.pop("held_by_nobody") == ["scheduler", "relay", "receiver", "web"]
    assert set(told.pop("standing_still")) <= {"scheduler", "relay"}
    assert told == {"status": "ok", "channels_in_trouble": [], "stalled": []}


def test_every_view_of_a_patient_is_in_the_audit_log(busy):
    browser = busy.signed_in()
    audit = METADATA.tables["audit"]
    for path, patient in (("/escalations/1", 1), ("/", None), ("/handover", None), ("/log", None)):
        browser.get(path)
        with reading(busy.app.engine) as connection:
            last = connection.execute(select(audit).order_by(audit.c.id.desc())).first()
            assert connection.execute(select(func.count()).select_from(audit)).scalar() > 0
        assert (last.who, last.patient_id) == ("Ann Lee", patient)
        assert last.what.startswith("viewed")
        assert patient or last.detail.get("patients", last.detail.get("escalations")) == [1]
