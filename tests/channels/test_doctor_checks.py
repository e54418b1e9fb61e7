"""The doctor finds what is wrong and says what to do, without quoting a secret."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from http_peers import Served
from peer_process import PeerProcess, free_port
from rigs import TelegramRig, now
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from bot.channels.doctor_checks import Finding, Health, channel_findings
from bot.config import load_settings

SMPP = {
    "COUNTDOWN_SMS__KIND": "smpp", "COUNTDOWN_SMS__HOST": "127.0.0.1",
    "COUNTDOWN_SMS__SYSTEM_ID": "coach", "COUNTDOWN_SMS__PASSWORD": "canary",
    "COUNTDOWN_SMS__SENDER": "+12025550100",
}  # fmt: skip
HTTP = {
    "COUNTDOWN_SMS__KIND": "http", "COUNTDOWN_SMS__SENDER": "+12025550100",
    "COUNTDOWN_SMS__FIELDS__TO": "{to}", "COUNTDOWN_SMS__FIELDS__TEXT": "{text}",
    "COUNTDOWN_SMS__SECRET": "canary", "COUNTDOWN_SMS__WEBHOOK_SECRETS": "canary_canary_canary",
}  # fmt: skip


def look(environ: dict[str, str], folder: Path, later: timedelta = timedelta(0)) -> list[Finding]:
    found = channel_findings(load_settings(environ, folder), now() + later, seconds=2.0)
    assert "canary" not in repr(found)
    assert all(finding.mend for finding in found if finding.health is Health.WRONG)
    return found


def of(found: list[Finding], subject: str) -> Finding:
    return next(finding for finding in found if finding.subject == subject)


@pytest.fixture
def bot_api() -> Iterator[dict[str, Any]]:
    """A server that answers getMe as it is told."""
    plan: dict[str, Any] = {"status": 200, "body": {"result": {"username": "coach_bot"}}}

    async def answer(_request: Request) -> Response:
        return JSONResponse(plan["body"], plan["status"])

    served = Served([Route("/{rest:path}", answer)])
    plan["environ"] = {
        "COUNTDOWN_TELEGRAM__TOKEN": "1:canary",
        "COUNTDOWN_TELEGRAM__API": served.url,
    }
    yield plan
    served.stop()


def test_without_a_channel_no_patient_can_be_reached(tmp_path: Path) -> None:
    found = look({}, tmp_path)
    assert of(found, "channels").health is Health.WRONG
    assert of(found, "telegram").health is of(found, "sms").health is Health.OFF


def test_a_token_that_is_let_in_shows_the_bots_name(
    bot_api: dict[str, Any], tmp_path: Path
) -> None:
    named = bot_api["environ"] | {"COUNTDOWN_TELEGRAM__BOT_NAME": "coach_bot"}
    finding = of(look(named, tmp_path), "telegram")
    assert (finding.health, finding.says) == (Health.WELL, "the bot is @coach_bot")


def test_links_that_are_not_made_or_lead_to_another_bot_are_seen(
    bot_api: dict[str, Any], tmp_path: Path
) -> None:
    unnamed = of(look(bot_api["environ"], tmp_path), "telegram")
    assert unnamed.health is Health.DOUBTFUL
    assert 'bot_name = "coach_bot"' in unnamed.mend
    other = bot_api["environ"] | {"COUNTDOWN_TELEGRAM__BOT_NAME": "another_bot"}
    assert of(look(other, tmp_path), "telegram").health is Health.WRONG


@pytest.mark.parametrize(
    ("status", "body", "says"),
    [
        (401, {"ok": False}, "the token is refused"),
        (200, {"hello": "world"}, "answers, but not as the Bot API does (status 200)"),
        (502, [], "answers, but not as the Bot API does (status 502)"),
    ],
)
def test_a_bot_api_that_does_not_let_us_in_is_described(
    bot_api: dict[str, Any], tmp_path: Path, status: int, body: object, says: str
) -> None:
    bot_api |= {"status": status, "body": body}
    finding = of(look(bot_api["environ"], tmp_path), "telegram")
    assert (finding.health, finding.says) == (Health.WRONG, says)


def test_a_clock_that_is_wrong_is_noticed(bot_api: dict[str, Any], tmp_path: Path) -> None:
    found = look(bot_api["environ"], tmp_path, later=timedelta(minutes=3))
    assert of(found, "clock").health is Health.WRONG
    assert "NTP" in of(found, "clock").mend


@pytest.mark.parametrize("kind", ["telegram", "smpp", "http"])
def test_a_server_that_is_down_is_told(kind: str, tmp_path: Path) -> None:
    port = str(free_port())
    environ = {
        "telegram": {
            "COUNTDOWN_TELEGRAM__TOKEN": "1:canary",
            "COUNTDOWN_TELEGRAM__API": f"http://127.0.0.1:{port}",
        },
        "smpp": SMPP | {"COUNTDOWN_SMS__PORT": port},
        "http": HTTP | {"COUNTDOWN_SMS__URL": f"http://127.0.0.1:{port}/send"},
    }[kind]
    finding = of(look(environ, tmp_path), "telegram" if kind == "telegram" else "sms")
    assert finding.health is Health.WRONG
    assert "cannot be reached" in finding.says


def test_a_gateway_without_an_address_to_call_back_is_wrong(tmp_path: Path) -> None:
    environ = HTTP | {"COUNTDOWN_SMS__URL": f"http://127.0.0.1:{free_port()}/send"}
    assert of(look(environ, tmp_path), "public_url").health is Health.WRONG


def test_a_gateway_that_answers_is_well_and_unsigned_calls_are_doubtful(
    bot_api: dict[str, Any], tmp_path: Path
) -> None:
    url = bot_api["environ"]["COUNTDOWN_TELEGRAM__API"] + "/send"
    environ = HTTP | {
        "COUNTDOWN_SMS__URL": url, "COUNTDOWN_SMS__SIGNED": "false",
        "COUNTDOWN_PUBLIC_URL": "http://localhost:8080",
    }  # fmt: skip
    found = look(environ, tmp_path)
    states = [finding.health for finding in found if finding.subject == "sms"]
    assert states == [Health.WELL, Health.DOUBTFUL]
    assert of(found, "public_url").health is Health.WELL


@pytest.mark.peers
def test_an_smsc_lets_the_right_password_in_and_takes_no_reply(node: str, tmp_path: Path) -> None:
    port = free_port()
    smsc = PeerProcess([node, "smsc.js", str(port), "canary"])
    smsc.wait_ready()
    try:
        right = SMPP | {"COUNTDOWN_SMS__PORT": str(port)}
        finding = of(look(right, tmp_path), "sms")
        assert (finding.health, finding.says) == (
            Health.WELL, f"127.0.0.1:{port} lets coach in; Spanish accents: keep",
        )  # fmt: skip
        smsc.tell()
        assert smsc.seen("bind") == [{"event": "bind", "as": "bind_transmitter"}]
        wrong = of(look(right | {"COUNTDOWN_SMS__PASSWORD": "wrong"}, tmp_path), "sms")
        assert wrong.health is Health.WRONG
        assert "ESME_RINVPASWD" in wrong.says
    finally:
        smsc.stop()


@pytest.mark.peers
def test_the_doctor_and_the_bot_api_server_written_by_others(node: str, tmp_path: Path) -> None:
    rig = TelegramRig(node)
    environ = {
        "COUNTDOWN_TELEGRAM__TOKEN": rig.token, "COUNTDOWN_TELEGRAM__API": rig.api,
        "COUNTDOWN_TELEGRAM__BOT_NAME": "coach_test_bot",
    }  # fmt: skip
    try:
        assert of(look(environ, tmp_path), "telegram").says == "the bot is @coach_test_bot"
    finally:
        rig.close()
