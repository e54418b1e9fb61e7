"""SMS over SMPP 3.4: a transceiver link to one SMSC behind the channel port."""

import asyncio
import contextlib
import logging
from datetime import timedelta
from functools import partial

from aiosmpplib.protocol import SubmitSm
from aiosmpplib.state import NPI, TON, PhoneNumber

from bot.channels.base import (
    Clock,
    Delivery,
    Incoming,
    OnDelivery,
    OnIncoming,
    Outgoing,
    SendFailed,
    SendUnknown,
    Sent,
)
from bot.channels.form import numbered
from bot.channels.loop_thread import LoopThread, in_thread
from bot.channels.smpp_client import SmppSettings
from bot.channels.smpp_link import Answer, Link
from bot.channels.smpp_parts import Identities, LongMessages, OutPart, Tally, out_parts
from bot.channels.smpp_read import UDH_PRESENT, Delivered, read_deliver, read_receipt
from bot.channels.smpp_spool import PartSpool
from bot.channels.texting_rules import e164
from bot.core.segments import Accents

log = logging.getLogger(__name__)
CHANNEL = "sms"
UNSURE = timedelta(seconds=20)  # our answer may be lost with the link for so long before its loss
REMEMBER = timedelta(minutes=30)  # an SMSC that repeats does so within this time
SWEEP_SECONDS = 5.0
# SMPP 3.4, section 5.1.3: wrong destination, its type or plan, message length.
_PERMANENT = frozenset((0x01, 0x0B, 0x50, 0x51))
_WAIT = frozenset((0x14, 0x58))  # queue full, throttled


class SmppChannel:
    """The port over one SMSC. Its asyncio runs in a thread of its own."""

    def __init__(
        self, settings: SmppSettings, clock: Clock, accents: Accents = Accents.KEEP
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._accents = accents
        self._loop = LoopThread("smpp")
        self._spool = PartSpool(settings.spool)
        self._long = LongMessages(timedelta(seconds=settings.part_wait), self._spool.read())
        self._tally = Tally()
        self._ids = Identities(UNSURE, REMEMBER)
        self._link: Link | None = None
        self._on_incoming: OnIncoming | None = None
        self._on_delivery: OnDelivery | None = None

    @property
    def name(self) -> str:
        """Always "sms"."""
        return CHANNEL

    def start(self, on_incoming: OnIncoming, on_delivery: OnDelivery) -> None:
        """Begins to bind; goes on trying while the SMSC cannot be reached."""
        self._on_incoming, self._on_delivery = on_incoming, on_delivery
        self._link = Link(self._settings, self._take, lambda: self._ids.lost(self._clock()))
        self._loop.begin(self._link.serve())
        self._loop.begin(self._sweep())

    def send(self, outgoing: Outgoing) -> Sent:
        """Submits the message, in parts if it is long, and waits for the SMSC's answer."""
        if e164(outgoing.address) != outgoing.address:
            raise SendFailed("the address is no phone number in the form +12025550100", True)
        parts = out_parts(numbered(outgoing, self._accents), outgoing.key)
        limit = self._settings.answer_within * (len(parts) + 1)
        try:
            return self._loop.run(self._send(outgoing, parts), limit)
        except TimeoutError as error:
            raise SendUnknown("no answer from the SMSC") from error

    def trouble(self) -> str | None:
        """Why the link is down; None while it is bound."""
        return self._link.trouble if self._link else "not started"

    def close(self) -> None:
        """Unbinds and ends the link. Text that waits for missing parts is handed in first."""
        if self._link and not self._loop.closed:
            with contextlib.suppress(Exception):
                self._loop.run(self._hand_in_overdue(every=True), 5)
                self._loop.run(self._link.stop(), 5)
        self._link = None
        self._loop.close()

    async def _send(self, outgoing: Outgoing, parts: tuple[OutPart, ...]) -> Sent:
        ids: list[str] = []
        for number, part in enumerate(parts, start=1):
            answer = await self._submit(outgoing, number, part)
            try:
                ids.append(_accepted(answer, self._settings.throttle_wait))
            except SendFailed as failed:
                if not ids:
                    raise
                # The phone has some parts: whether the SMSC shows them is not for us to know.
                raise SendUnknown(f"part {number} of {len(parts)}: {failed.reason}") from failed
        return Sent(self._tally.expect(ids), len(parts))

    async def _submit(self, outgoing: Outgoing, number: int, part: OutPart) -> Answer:
        """One part. A later part that is throttled waits here: half a text helps nobody."""
        for _attempt in range(3):
            message = self._message(outgoing.address, part)
            answer = await self._need_link().submit(f"{outgoing.key}#{number}", message)
            if number == 1 or answer.status not in _WAIT:
                break
            await asyncio.sleep(self._settings.throttle_wait)
        return answer

    def _message(self, address: str, part: OutPart) -> SubmitSm:
        message = SubmitSm(
            short_message="-",  # replaced by the octets below
            source=PhoneNumber(
                self._settings.sender,
                TON(self._settings.sender_ton),
                NPI(self._settings.sender_npi),
            ),
            destination=PhoneNumber(address.lstrip("+"), TON.INTERNATIONAL, NPI.ISDN),
            esm_class=UDH_PRESENT if part.long else 0,
            registered_delivery=1,
            encoding=part.coding,
        )
        message.set_encoded_message(part.octets)
        return message

    def _need_link(self) -> Link:
        if self._link is None:
            raise SendFailed("the SMPP channel is not started", permanent=False)
        return self._link

    async def _take(self, pdu: bytes) -> None:
        """One deliver_sm. Returns once it is stored; what it raises makes the SMSC repeat it."""
        delivered = read_deliver(pdu)
        if delivered.is_receipt:
            await self._take_receipt(delivered)
            return
        text = self._long.add(delivered, self._clock())
        if text is None:
            await self._keep_parts()
            return
        await self._hand_in(delivered, text)
        await self._close(delivered)

    async def _close(self, delivered: Delivered) -> None:
        if self._long.close(delivered):
            await self._keep_parts()

    async def _keep_parts(self) -> None:
        """Puts the parts on disk; the SMSC is answered only after that."""
        await in_thread(partial(self._spool.write, self._long.unfinished()))

    async def _hand_in(self, delivered: Delivered, text: str) -> None:
        now = self._clock()
        number = self._ids.of(delivered, text, now)
        address = e164(f"+{delivered.source.lstrip('+')}") or delivered.source
        if self._on_incoming:
            incoming = Incoming(CHANNEL, address, text, number, now)
            await in_thread(partial(self._on_incoming, incoming))

    async def _take_receipt(self, delivered: Delivered) -> None:
        receipt = read_receipt(delivered)
        told = self._tally.report(receipt.provider_id, receipt.state) if receipt else None
        if receipt is None or told is None or self._on_delivery is None:
            return
        whole, state = told
        delivery = Delivery(CHANNEL, state, self._clock(), provider_id=whole, reason=receipt.reason)
        await in_thread(partial(self._on_delivery, delivery))

    async def _sweep(self) -> None:
        """Hands in long messages whose last parts did not come."""
        while True:
            await asyncio.sleep(min(SWEEP_SECONDS, self._settings.part_wait))
            try:
                await self._hand_in_overdue()
            except Exception as error:  # tried again at the next sweep
                log.warning("could not store an incomplete message: %s", type(error).__name__)

    async def _hand_in_overdue(self, every: bool = False) -> None:
        for delivered in self._long.overdue(self._clock(), every):
            await self._hand_in(delivered, delivered.text)
            await self._close(delivered)


def _accepted(answer: Answer, throttle_wait: float) -> str:
    """The SMSC's id of an accepted part. Raises what the answer means otherwise."""
    if answer.status == 0:
        return answer.provider_id
    if answer.status is None:
        if answer.handed:
            raise SendUnknown("the link was lost, or no answer came in time")
        raise SendFailed("no link to the SMSC", permanent=False)
    reason = f"the SMSC refused with status 0x{answer.status:02X}"
    if answer.status in _WAIT:
        raise SendFailed(reason, permanent=False, retry_after=throttle_wait)
    raise SendFailed(reason, permanent=answer.status in _PERMANENT)
