"""When the service has something to do, asked once a step; and its work, where there is any."""

from dataclasses import dataclass
from datetime import datetime

from bot.service.metrics import waiting
from bot.service.outbox import LEFT_BEHIND
from bot.store import due
from bot.store.engine import reading
from bot.wiring import App


@dataclass(slots=True)
class Pulse:
    """A scheduler and a relay that run only when their time has come.

    `App.run_due` asks the same questions inside tick and relay; asking once for both, and calling
    neither in vain, plays the same run in less time.
    """

    app: App

    def next(self) -> datetime | None:
        """The earliest moment at which `beat` will have something to do; None: idle."""
        tick, relay = self._moments()
        return min((moment for moment in (tick, relay) if moment is not None), default=None)

    def beat(self, now: datetime) -> None:
        """Tick if anything is due, then relay if anything may be sent."""
        tick, relay = self._moments()
        if tick is not None and tick <= now:
            self.app.tick()
            relay = self._moments()[1]
        if relay is not None and relay <= now:
            self.app.relay()

    def waiting(self, now: datetime) -> str:
        """What is due and does not go away, in words, when the run stands still."""
        tick, relay = self._moments()
        found = waiting(self.app.engine, now)
        late = [name for name, at in (("scheduler", tick), ("relay", relay)) if at and at <= now]
        counts = f"prompts late {found.prompts_late}, outbox {found.outbox}"
        return f"{' and '.join(late) or 'somebody'} comes round in vain; {counts}, " + (
            f"cases overdue {found.cases_overdue}"
        )

    def _moments(self) -> tuple[datetime | None, datetime | None]:
        with reading(self.app.engine) as connection:
            return due.next_tick(connection), due.next_relay(connection, LEFT_BEHIND)
