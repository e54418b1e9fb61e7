"""One bound link to the SMSC that mends itself, and tells what became of every submit_sm."""

import asyncio
import struct
from collections.abc import Callable
from dataclasses import dataclass

from aiosmpplib import AbstractHook, AbstractRetryTimer
from aiosmpplib.protocol import GenericNack, SmppMessage, SubmitSm, SubmitSmResp
from aiosmpplib.state import SmppCommandStatus

from bot.channels.smpp_client import Client, SmppSettings, Take

BIND_ANSWERS = (0x80000001, 0x80000002, 0x80000009)
_STATUSES = frozenset(status.value for status in SmppCommandStatus)


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of one submit_sm. `status` is None when the link was lost before the answer."""

    status: int | None
    provider_id: str = ""
    handed: bool = True  # False: it had not left this machine


class Link(AbstractHook, AbstractRetryTimer):  # type: ignore[misc]  # the library is untyped
    """One link: submits, and tells of every deliver_sm, bind and loss."""

    def __init__(self, settings: SmppSettings, take: Take, on_lost: Callable[[], None]) -> None:
        self._settings = settings
        self._on_lost = on_lost
        self._open: dict[str, tuple[asyncio.Future[Answer], SubmitSm]] = {}
        self._handed: set[str] = set()
        self._pause = settings.first_pause
        self._stopping = False
        self.bound = False
        self.trouble: str | None = "not bound yet"
        self._esme = Client(self, settings, take)

    async def serve(self) -> None:
        """Binds and binds again until `stop`."""
        while not self._stopping:
            try:
                await self._esme.start()
            except Exception as error:  # the library lets some escape; the link must come back
                self.trouble = f"the SMPP link broke: {type(error).__name__}"
                await self.wait()

    async def submit(self, name: str, message: SubmitSm) -> Answer:
        """Sends one submit_sm and waits for its answer. `name` is its own among those open."""
        if not self.bound:
            return Answer(None, handed=False)
        message.log_id = name
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self._open[name] = (future, message)
        try:
            await self._esme.broker.enqueue(message)
            return await asyncio.wait_for(future, self._settings.answer_within)
        except TimeoutError:
            return Answer(None, handed=True)
        finally:
            self._open.pop(name, None)
            self._handed.discard(name)

    async def stop(self) -> None:
        """Unbinds."""
        self._stopping = True
        if self.bound:
            await self._esme.stop()
        self.bound = False

    # What the library calls ------------------------------------------------------------------

    async def sending(self, smpp_message: SmppMessage, pdu: bytes, client_id: str) -> None:
        """A PDU is about to be written: from here on its fate is unknown until answered."""
        if isinstance(smpp_message, SubmitSm):
            self._handed.add(smpp_message.log_id)

    async def received(self, smpp_message: SmppMessage, pdu: bytes, client_id: str) -> None:
        """A PDU came. Answers are matched by sequence number."""
        command, status, sequence = struct.unpack_from("!III", pdu, 4)
        if command in BIND_ANSWERS and status:
            word = SmppCommandStatus(status).name if status in _STATUSES else "unknown"
            self.trouble = f"bind refused with {word} (0x{status:02X}): check system_id, password"
        if isinstance(smpp_message, SubmitSmResp | GenericNack) and command >= 0x80000000:
            number = getattr(smpp_message, "message_id", "")
            self._answered(sequence, Answer(status, number))

    async def send_error(self, smpp_message: SmppMessage, error: Exception, client_id: str) -> None:
        """A submit_sm could not be built or written."""
        kept = self._open.get(getattr(smpp_message, "log_id", ""))
        if kept and not kept[0].done():
            built_badly = isinstance(error, ValueError)
            status = SmppCommandStatus.ESME_RINVMSGLEN.value if built_badly else None
            kept[0].set_result(Answer(status))

    def reset(self) -> None:
        """The library has bound."""
        self.bound, self.trouble = True, None
        self._pause = self._settings.first_pause

    async def wait(self) -> None:
        """The link is gone (or did not come about): tells everyone, then waits longer each time."""
        if self.bound:
            self.bound, self.trouble = False, "the link to the SMSC was lost"
            self._on_lost()
        self._esme.hang_up()
        self._forget_unanswered()
        await asyncio.sleep(self._pause)
        self._pause = min(self._pause * 2, self._settings.longest_pause)

    def next_delay(self) -> float:
        """The coming pause, for the library's log."""
        return self._pause

    def _answered(self, sequence: int, answer: Answer) -> None:
        for future, message in self._open.values():
            if message.sequence_num == sequence and not future.done():
                future.set_result(answer)

    def _forget_unanswered(self) -> None:
        """Queued messages must not go out after a re-bind: the outbox already tries them again."""
        queue = self._esme.broker.queue
        while not queue.empty():
            queue.get_nowait()
        for name, (future, _message) in self._open.items():
            if not future.done():
                future.set_result(Answer(None, handed=name in self._handed))
