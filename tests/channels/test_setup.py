"""Which channels a process has by what it does, and that only one of several polls."""

import json
import threading
import time
from collections import Counter
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from pydantic import SecretStr

from bot.channels.setup import channels_of
from bot.channels.telegram import TelegramChannel
from bot.channels.telegram_client import TelegramSettings
from bot.clock import system_clock
from bot.config_sections import Settings, SmppSection, TelegramSection

TOKEN = "1234:letters"
BOTH = Settings(
    telegram=TelegramSection(token=SecretStr(TOKEN)),
    sms=SmppSection(
        kind="smpp", host="127.0.0.1", system_id="a", password=SecretStr("b"), sender="12345"
    ),
)


def names(**what):
    made = channels_of(BOTH, system_clock, **what)
    for channel in made:
        channel.close()
    return [channel.name for channel in made]


def test_a_link_that_carries_both_ways_belongs_to_whoever_sends():
    assert names() == ["telegram", "sms"]
    assert names(receives=False) == ["telegram", "sms"]
    assert names(sends=False) == ["telegram"]


@pytest.fixture
def bot_api():
    """A Bot API that counts what it is asked."""
    asked = Counter()

    class Api(BaseHTTPRequestHandler):
        def do_POST(self):
            self.rfile.read(int(self.headers.get("Content-Length", 0)))
            method = self.path.rpartition("/")[2]
            asked[method] += 1
            me = {"id": 1, "is_bot": True, "first_name": "B", "username": "vale_bot"}
            result = {"getMe": me, "getUpdates": []}.get(method, True)
            body = json.dumps({"ok": True, "result": result}).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Api)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}", asked
    server.shutdown()


def started(url, may_poll=lambda: True, **changes):
    settings = TelegramSettings(TOKEN, api=url, poll_seconds=0, pause=0.05, **changes)
    channel = TelegramChannel(settings, system_clock, may_poll)
    channel.start(lambda _: None, lambda _: None)
    return channel


def asked_within(asked, method, seconds=10.0):
    end = time.monotonic() + seconds
    while not asked[method] and time.monotonic() < end:
        time.sleep(0.05)
    return bool(asked[method])


def test_a_process_that_only_sends_leaves_the_updates_alone(bot_api):
    url, asked = bot_api
    channel = started(url, receives=False)
    assert asked_within(asked, "getMe")
    time.sleep(0.5)
    channel.close()
    assert set(asked) == {"getMe"}


def test_a_receiver_polls_when_it_is_its_turn_and_not_before(bot_api, monkeypatch):
    monkeypatch.setattr("bot.channels.telegram._STANDBY", 0.05)
    url, asked = bot_api
    turn = threading.Event()
    channel = started(url, turn.is_set)
    assert asked_within(asked, "deleteWebhook")
    time.sleep(0.5)
    assert asked["getUpdates"] == 0
    turn.set()
    assert asked_within(asked, "getUpdates")
    channel.close()
