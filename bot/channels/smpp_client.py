"""The SMPP library as this project uses it.

The library frames PDUs, binds, keeps alive and reconnects. Added here: deliver_sm is answered only
after it is stored, a lost socket is closed, and nothing of a message reaches the library's log.
"""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path

from aiosmpplib import ESME, AbstractCorrelator, AbstractHook
from aiosmpplib.protocol import DeliverSm, DeliverSmResp, SmppMessage, SubmitSm
from aiosmpplib.ratelimiter import AbstractRateLimiter
from aiosmpplib.state import PduHeader, SmppCommand, SmppCommandStatus
from aiosmpplib.throttle import AbstractThrottleHandler

Take = Callable[[bytes], Awaitable[None]]
REPEAT_IT = SmppCommandStatus.ESME_RX_T_APPN  # "temporary error": the SMSC gives it again


@dataclass(frozen=True, slots=True)
class SmppSettings:
    """How to reach the SMSC. Times in seconds; the password does not show in the repr."""

    host: str
    port: int
    system_id: str
    password: str = field(repr=False)
    sender: str
    system_type: str = ""
    sender_ton: int = 0
    sender_npi: int = 0
    keep_alive: float = 30.0
    answer_within: float = 15.0
    throttle_wait: float = 5.0
    per_second: float = 10.0
    first_pause: float = 0.5  # before binding again; doubles up to longest_pause
    longest_pause: float = 60.0
    part_wait: float = 120.0  # for the missing parts of a long incoming message
    spool: Path | None = None  # file in which those parts outlast a crash


class Client(ESME):  # type: ignore[misc]
    """The library's client with our answer to deliver_sm."""

    def __init__(self, link: AbstractHook, settings: SmppSettings, take: Take) -> None:
        super().__init__(
            settings.host,
            settings.port,
            settings.system_id,
            settings.password,
            system_type=settings.system_type,
            enquire_link_interval=settings.keep_alive,
            socket_timeout=settings.answer_within,
            log_level="CRITICAL",  # its lower levels write message texts
            hook=link,
            retry_timer=link,
            correlator=_Requests(),
            throttle_handler=_NoThrottle(),
            rate_limiter=_Pace(settings.per_second),
        )
        self._take = take

    async def _handle_request(self, pdu: bytes, header: PduHeader) -> SmppMessage | None:
        """Stores a deliver_sm before answering it; asks for it again if that fails."""
        if header.smpp_command is not SmppCommand.DELIVER_SM:
            return await super()._handle_request(pdu, header)
        try:
            await self._take(pdu)
        except Exception:  # whatever hindered the storing: the SMSC keeps the message
            await self._send_data(
                DeliverSmResp(sequence_num=header.sequence_num, command_status=REPEAT_IT)
            )
            return None
        return DeliverSmResp(sequence_num=header.sequence_num)

    def hang_up(self) -> None:
        """Closes the socket of a lost link; the library leaves it open."""
        writer: asyncio.StreamWriter | None = self.__dict__.get("_writer")
        if writer is not None:
            writer.close()


class _Requests(AbstractCorrelator):  # type: ignore[misc]
    """The requests that wait for an answer, by sequence number. Receipts are matched elsewhere."""

    def __init__(self) -> None:
        self._waiting: dict[int, SmppMessage] = {}

    async def put(self, smpp_message: SmppMessage) -> None:
        self._waiting[smpp_message.sequence_num] = smpp_message
        while len(self._waiting) > 1000:
            del self._waiting[next(iter(self._waiting))]

    async def get(self, response: SmppMessage) -> SmppMessage | None:
        return self._waiting.pop(response.sequence_num, None)

    def get_cumulated_status(self, ref_num: int) -> int:
        return 0

    async def expired(self, smpp_message: SmppMessage) -> None:
        return None

    async def put_delivery(self, smsc_message_id: str, submit_sm: SubmitSm) -> None:
        return None

    async def put_delivery_segmented(self, deliver_sm: DeliverSm) -> None:
        return None

    async def get_segmented(self, smpp_seq_num: int, remove: bool = False) -> tuple[None, int]:
        return None, 0

    async def get_delivery(self, receipt: DeliverSm) -> None:
        return None


class _NoThrottle(AbstractThrottleHandler):  # type: ignore[misc]
    """Never holds back: a throttled message is answered as such and the outbox waits."""

    async def allow_request(self) -> bool:
        return True

    async def throttled(self) -> None:
        return None

    async def not_throttled(self) -> None:
        return None

    async def throttle_delay(self) -> float:
        return 0.0


class _Pace(AbstractRateLimiter):  # type: ignore[misc]
    """At most so many submits a second, evenly spaced."""

    def __init__(self, per_second: float) -> None:
        self._gap = 1 / per_second
        self._next = 0.0

    async def limit(self) -> None:
        now = asyncio.get_running_loop().time()
        self._next = max(self._next + self._gap, now)
        await asyncio.sleep(self._next - now)
