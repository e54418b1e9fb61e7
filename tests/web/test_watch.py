"""What monitoring may ask: /healthz, and /metrics for who may see it."""

import re

import pytest
from clinic_samples import QUICK
from pydantic import SecretStr
from starlette.testclient import TestClient

from bot.config_sections import Settings
from bot.web.app import make_app

TOKEN = "a-long-random-token-of-monitoring"
HERE, ELSEWHERE = "127.0.0.1", "10.0.0.7"


def ask(ward, settings=None, address=HERE, **headers):
    web = ward.web if settings is None else make_app(ward.app, settings, passwords=QUICK)
    http = TestClient(web, client=(address, 4000))
    return http.get("/metrics", headers=headers)


def test_the_figures_are_for_this_machine_alone_unless_a_token_is_set(ward):
    assert ask(ward).status_code == 200
    assert ask(ward, address="::1").status_code == 200
    assert ask(ward, address=ELSEWHERE).status_code == 404


def test_behind_a_proxy_everybody_looks_like_this_machine_so_a_token_is_needed(ward):
    assert ask(ward, Settings(public_url="https://coach.example.org")).status_code == 404


@pytest.mark.parametrize("address", [HERE, ELSEWHERE])
@pytest.mark.parametrize("url", [None, "https://coach.example.org"])
def test_with_a_token_they_are_for_who_has_it(ward, address, url):
    settings = Settings(metrics_token=SecretStr(TOKEN), public_url=url)
    assert ask(ward, settings, address, authorization=f"Bearer {TOKEN}").status_code == 200
    for wrong in ("", TOKEN, "Bearer ", f"Bearer {TOKEN}x", "Bearer \xe9"):
        assert (
            ask(ward, settings, address, authorization=wrong.encode("latin-1")).status_code == 404
        )


def test_a_short_token_is_refused():
    with pytest.raises(ValueError, match="16 signs"):
        Settings(metrics_token=SecretStr("short"))


def test_they_tell_what_waits_and_nothing_about_anyone(ward):
    ward.enrol()
    ward.wait(minutes=10)
    told = ask(ward)
    assert told.headers["content-type"].startswith("text/plain; version=0.0.4")
    figures = dict(re.findall(r"^(countdown_\w+) ([\d.e+]+)$", told.text, re.MULTILINE))
    assert float(figures["countdown_prompts_late"]) >= 1
    assert "Rosalind" not in told.text
    assert "2025550150" not in told.text


def test_a_database_that_does_not_answer_is_told_without_its_words(ward, monkeypatch, caplog):
    def broken(*_):
        raise RuntimeError("Rosalind Vale")

    monkeypatch.setattr("bot.web.watch.exposition", broken)
    monkeypatch.setattr("bot.web.watch.watching.standstills", broken)
    assert ask(ward).status_code == 503
    health = TestClient(ward.web).get("/healthz")
    assert (health.status_code, health.json()) == (503, {"status": "database does not answer"})
    assert "RuntimeError" in caplog.text
    assert "Rosalind" not in caplog.text


def test_a_loop_that_stands_still_makes_the_service_unwell(ward):
    def health(late):
        web = make_app(ward.app, Settings(), stalled=lambda: late, passwords=QUICK)
        return TestClient(web).get("/healthz")

    assert health([]).json()["status"] == "ok"
    assert (health(["relay"]).status_code, health(["relay"]).json()["stalled"]) == (503, ["relay"])
