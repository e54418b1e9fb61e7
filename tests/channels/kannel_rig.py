"""Kannel, started for one test: a real HTTP gateway with a handset or an SMSC behind it."""

import shutil
import socket
import subprocess
import time
from pathlib import Path

from http_peers import Served
from peer_process import PEERS, absent, free_port, until
from rigs import CLINIC, PHONE, Service, now

from bot.channels.base import DeliveryState
from bot.channels.http_sms import HttpSmsChannel
from bot.channels.http_template import Body, HttpSmsSettings, Inbound
from bot.channels.webhooks import STATUS_PATH, sms_routes
from bot.core.segments import Accents

FAKE_HANDSET = Path("/usr/lib/kannel/test/fakesmsc")


def need_kannel() -> None:
    """Skips (fails in CI) when Kannel is not installed."""
    if not (shutil.which("bearerbox") and shutil.which("smsbox") and FAKE_HANDSET.is_file()):
        absent("kannel", "apt-get install kannel kannel-extras")


class KannelRig:
    """Our HTTP adapter, Kannel, and our webhook routes."""

    def __init__(self, folder: Path, smsc: str) -> None:
        """`smsc` is the smsc group of the configuration."""
        self._processes: list[subprocess.Popen[bytes]] = []
        self._folder = folder
        self.service = Service()
        self.send_port = free_port()
        hooks_port = free_port()
        self.channel = HttpSmsChannel(self._settings(hooks_port), now, Accents.KEEP)
        self.channel.start(self.service.on_incoming, self.service.on_delivery)
        self.hooks = Served(sms_routes(self.channel), hooks_port)
        self._start_boxes(smsc)

    def _settings(self, hooks_port: int) -> HttpSmsSettings:
        status = (
            f"http://127.0.0.1:{hooks_port}{STATUS_PATH}?token=kannel-token&key={{key_coded}}&is=%d"
        )
        return HttpSmsSettings(
            url=f"http://127.0.0.1:{self.send_port}/cgi-bin/sendsms", method="GET",
            body=Body.QUERY, sender=CLINIC.lstrip("+"), user="coach", secret="gateway-secret",
            fields={"username": "{user}", "password": "{secret}", "from": "{from}", "to": "{to}",
                    "text": "{text}", "charset": "UTF-8", "coding": "{coding}",
                    "dlr-mask": "31", "dlr-url": status},
            inbound=Inbound(id="id", address="from", text="text", status="is", coded_key="key"),
            statuses={"1": DeliveryState.DELIVERED, "2": DeliveryState.UNDELIVERED,
                      "8": DeliveryState.SENT, "16": DeliveryState.UNDELIVERED},
            webhook_secrets=("kannel-token",), signed=False, answer_within=5.0,
        )  # fmt: skip

    def _start_boxes(self, smsc: str) -> None:
        text = (PEERS / "kannel.conf").read_text()
        filled = {
            "admin": str(free_port()), "box": str(free_port()), "send": str(self.send_port),
            "hooks": self.hooks.url, "smsc": smsc,
        }  # fmt: skip
        for name, value in filled.items():
            text = text.replace(f"@{name}@", value)
        config = self._folder / "kannel.conf"
        config.write_text(text)
        self.bearer_log = self.run("bearerbox", str(shutil.which("bearerbox")), "-v", "0", config)
        until("bearerbox is up", lambda: "smsbox" in self.bearer_log.read_text().lower())
        time.sleep(0.3)
        self.box_log = self.run("smsbox", str(shutil.which("smsbox")), "-v", "0", config)
        until("smsbox takes messages", self._takes)

    def _takes(self) -> bool:
        with socket.socket() as probe:
            probe.settimeout(0.2)
            return probe.connect_ex(("127.0.0.1", self.send_port)) == 0

    def run(self, name: str, *command: object) -> Path:
        """Starts a program of Kannel's with its log in the test's folder."""
        log = self._folder / f"{name}.log"
        with log.open("wb") as out:
            self._processes.append(
                subprocess.Popen([str(word) for word in command], stdout=out, stderr=out)
            )
        return log

    def handset(self, port: int, *messages: str) -> Path:
        """Debian's fake SMSC as a phone that writes `messages` and logs what it gets."""
        lines = [f"{PHONE.lstrip('+')} {CLINIC.lstrip('+')} text {text}" for text in messages]
        return self.run(
            "handset", FAKE_HANDSET, "-H", "127.0.0.1", "-r", port, "-i", "0.05",
            "-m", len(lines), *lines,
        )  # fmt: skip

    def close(self) -> None:
        self.channel.close()
        for process in reversed(self._processes):
            process.terminate()
            try:
                process.wait(5)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(5)
        self.hooks.stop()
