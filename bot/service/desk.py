"""One patient's chart on the desk within one transaction: what effects are applied to."""

from datetime import datetime

from sqlalchemy import Connection

from bot.core.conversation import Heard
from bot.core.flow import FlowBook
from bot.core.record import Party
from bot.core.value import value
from bot.core.versions import as_begun
from bot.service.chart import Chart
from bot.service.practice import Practice
from bot.store.later import Later
from bot.store.many import Reach


@value
class Desk:
    """The transaction, the chart, and what set this turn off."""

    connection: Connection
    practice: Practice
    chart: Chart
    now: datetime
    heard: Heard | None = None
    writer: Party | None = None  # who wrote the message that is being answered
    closes: datetime | None = None  # the turn's messages are stale from then on
    prompt: str | None = None
    staff: str = ""  # the member of staff who acts, if one does
    for_all: str = ""  # the names of everyone, when the turn answers a whole shared phone
    alone: bool = False  # nobody else is on file at the writer's address
    answered: bool = False  # somebody else's turn has answered the writer's phone already
    reach: Reach | None = None  # as read with the chart; None: to be asked when it is needed
    later: Later | None = None  # where turns that share a commit put what is stored at its end

    @property
    def book(self) -> FlowBook:
        """The content, with the flows under way as they were when they began."""
        return as_begun(self.practice.book, self.chart.conversation)

    @property
    def patient(self) -> int:
        """The patient's id."""
        return self.chart.patient.id
