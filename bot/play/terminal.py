"""The terminal as a patient's phone: for `countdown talk`."""

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from rich.console import Console

from bot.channels.base import Incoming
from bot.core.protocol import FactValue, Surgery
from bot.play.phones import NAME, Phones
from bot.play.player import Clock
from bot.service.enrolment import Enrolment
from bot.service.opening_flow import open_flow
from bot.wiring import App

ADDRESS = "+12025550100"
HELP = """\
  You are the patient. Type an answer and press Enter.
  /next          jump to the next message
  /wait 90m      let time pass: 90m, 3h, 2d
  /who           what the nurse sees now
  /quit          end"""
_SPAN = re.compile(r"^(\d+)\s*([mhd])$")
_UNITS = {"m": "minutes", "h": "hours", "d": "days"}


class Terminal:
    """One talk: the service, its clock and the patient's phone in this terminal."""

    def __init__(self, app: App, clock: Clock, folder: Path, zone: str) -> None:
        self.console, self.zone = Console(), ZoneInfo(zone)
        self.app, self.clock = app, clock
        self.phones = Phones(folder / "phones.jsonl")
        self.app.connect(self.phones)
        self.shown = 0

    def begin(
        self,
        joint: str,
        surgery: datetime,
        enrolled: datetime,
        language: str,
        facts: Mapping[str, FactValue] | None = None,
    ) -> None:
        """Enrol the invented patient."""
        self._to(enrolled.replace(tzinfo=self.zone).astimezone(UTC))
        start = surgery.time() if surgery.time() != time(0) else None
        operation = Surgery(joint, "left", surgery.date(), self.zone.key, start)
        born = date(surgery.year - 72, 4, 2)
        self.app.care.enrol(
            Enrolment(
                "talk",
                "Alex Morgan",
                NAME,
                ADDRESS,
                operation,
                "Dr. Imani Calloway",
                born=born,
                language=language,
                agreed="paper",
                facts=dict(facts or {}),
            )
        )
        self.console.print(HELP, style="dim", highlight=False)
        self._catch_up()

    def try_flow(self, flow: str, values: dict[str, str]) -> None:
        """Open one conversation now. Raises LookupError for a flow that there is not."""
        open_flow(self.app.practice, self.app.everyone()[0], flow, values, self.clock())
        self._catch_up()

    def run(self) -> None:
        """Read lines until the end of input or /quit."""
        while True:
            try:
                line = input("> ").strip()
            except EOFError:
                break
            if line == "/quit":
                break
            self._obey(line)
        self.app.close()

    def _obey(self, line: str) -> None:
        command, _, rest = line.partition(" ")
        if command == "/next":
            self._next()
        elif command == "/wait":
            self._wait(rest)
        elif command == "/who":
            self._nurse()
        elif command.startswith("/") or not line:
            self.console.print(HELP, style="dim", highlight=False)
        else:
            key = f"typed.{len(self.phones.slips)}"
            slip = self.phones.write(key, ADDRESS, line)
            self.shown += 1
            self.app.handle(Incoming(NAME, ADDRESS, line, slip.key, self.clock()))
            self._catch_up()

    def _next(self) -> None:
        """Let time pass until the phone gets something."""
        while (moment := self.app.next_moment()) is not None:
            self._to(moment)
            if self._catch_up():
                return
        self.console.print("Nothing more will come.", style="dim")

    def _wait(self, span: str) -> None:
        found = _SPAN.match(span)
        if not found:
            self.console.print("Say how long: /wait 90m, /wait 3h or /wait 2d.")
            return
        until = self.clock() + timedelta(**{_UNITS[found[2]]: int(found[1])})
        while (moment := self.app.next_moment()) is not None and moment <= until:
            self._to(moment)
            self._catch_up()
        self._to(until)
        self.console.print(f"It is now {self._stamp()}.", style="dim")

    def _nurse(self) -> None:
        work = self.app.worklist()
        for found in work:
            self.console.print(found.sbar, highlight=False)
        if not work:
            self.console.print("Nothing is open for the nurse.", style="dim")

    def _catch_up(self) -> bool:
        """Do what is due and show what the phone got; True when it got something."""
        while self.app.run_due().busy:
            pass
        self.app.relay()
        fresh = self.phones.slips[self.shown :]
        self.shown += len(fresh)
        for slip in fresh:
            self.console.print(f"\n[dim]{self._stamp()}[/dim]")
            self.console.print(slip.text, style="cyan", highlight=False, markup=False)
            for place, label in enumerate(slip.choices, 1):
                self.console.print(
                    f"  {place} {label}", style="cyan", highlight=False, markup=False
                )
        return bool(fresh)

    def _stamp(self) -> str:
        local = self.clock().astimezone(self.zone)
        return f"{local:%a} {local.day} {local:%b %Y, %H:%M}"

    def _to(self, moment: datetime) -> None:
        self.clock.set(moment)
        self.phones.set_time(self.clock.now)
