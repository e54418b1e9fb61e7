"""What the SMSC's deliver_sm means: a message from a phone, one part of it, or a receipt. Pure.

The PDU is read here and not by the library, whose reader was seen to mix the parts of two phones
with the same reference, to misread 16-bit references and to refuse receipts with a lettered error
code; each of these would lose a patient's words. Layout: SMPP 3.4, section 4.6.1; concatenation:
3GPP TS 23.040, section 9.2.3.24; receipt text: SMPP 3.4, appendix B.
"""

import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field

from aiosmpplib.codec import find_codec_info

from bot.channels.base import DeliveryState

HEADER = 16
UDH_PRESENT = 0x40
RECEIPTED_MESSAGE_ID, MESSAGE_STATE, MESSAGE_PAYLOAD = 0x001E, 0x0427, 0x0424
SAR_REFERENCE, SAR_TOTAL, SAR_NUMBER = 0x020C, 0x020E, 0x020F

_STATES = {  # message_state (section 5.2.28) and the words of appendix B
    1: DeliveryState.SENT, "ENROUTE": DeliveryState.SENT,
    6: DeliveryState.SENT, "ACCEPTD": DeliveryState.SENT,
    2: DeliveryState.DELIVERED, "DELIVRD": DeliveryState.DELIVERED,
    3: DeliveryState.UNDELIVERED, "EXPIRED": DeliveryState.UNDELIVERED,
    4: DeliveryState.UNDELIVERED, "DELETED": DeliveryState.UNDELIVERED,
    5: DeliveryState.UNDELIVERED, "UNDELIV": DeliveryState.UNDELIVERED,
    8: DeliveryState.UNDELIVERED, "REJECTD": DeliveryState.UNDELIVERED,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Delivered:
    """One deliver_sm. `part` is (reference, number, total) when it is a piece of a longer text."""

    source: str
    destination: str
    esm_class: int
    text: str
    part: tuple[int, int, int] | None = None
    tlvs: Mapping[int, bytes] = field(default_factory=dict)

    @property
    def is_receipt(self) -> bool:
        """True for a delivery receipt (esm_class, section 5.2.12: middle bits 0001)."""
        return (self.esm_class >> 2) & 0x0F == 1


@dataclass(frozen=True, slots=True)
class Receipt:
    """How far a message got that the SMSC knows by `provider_id`."""

    provider_id: str
    state: DeliveryState
    reason: str


def read_deliver(pdu: bytes, default_alphabet: str = "gsm0338") -> Delivered:
    """The deliver_sm in a whole PDU. Raises ValueError if it is cut short or malformed.

    Octets that are wrong in their alphabet become a replacement sign: an unreadable message must
    still reach a person.
    """
    try:
        return _read(pdu, default_alphabet)
    except (struct.error, IndexError) as error:
        raise ValueError(f"deliver_sm of {len(pdu)} octets is cut short") from error


def _read(pdu: bytes, default_alphabet: str) -> Delivered:
    _service, place = _text(pdu, HEADER)
    source, place = _text(pdu, place + 2)
    destination, place = _text(pdu, place + 2)
    esm_class = pdu[place]
    _schedule, place = _text(pdu, place + 3)
    _validity, place = _text(pdu, place)
    coding, length = pdu[place + 2], pdu[place + 4]
    place += 5
    tlvs = _tlvs(pdu, place + length)
    body = pdu[place : place + length] or tlvs.get(MESSAGE_PAYLOAD, b"")
    part = _sar(tlvs)
    if esm_class & UDH_PRESENT and body:
        part, body = _header(body[1 : body[0] + 1]), body[body[0] + 1 :]
    text = _decode(body, coding, default_alphabet)
    return Delivered(source, destination, esm_class, text, part, tlvs)


def _text(pdu: bytes, place: int) -> tuple[str, int]:
    """A C-octet string and the place after its end."""
    end = pdu.index(0, place)
    return pdu[place:end].decode("ascii", "replace"), end + 1


def _tlvs(pdu: bytes, place: int) -> dict[int, bytes]:
    found = {}
    while place + 4 <= len(pdu):
        tag, length = struct.unpack_from("!HH", pdu, place)
        found[tag] = pdu[place + 4 : place + 4 + length]
        place += 4 + length
    return found


def _sar(tlvs: Mapping[int, bytes]) -> tuple[int, int, int] | None:
    if not {SAR_REFERENCE, SAR_TOTAL, SAR_NUMBER} <= tlvs.keys():
        return None
    reference, number, total = (
        int.from_bytes(tlvs[tag], "big") for tag in (SAR_REFERENCE, SAR_NUMBER, SAR_TOTAL)
    )
    return reference, number, total


def _header(elements: bytes) -> tuple[int, int, int] | None:
    """The concatenation element of a user data header: 8-bit (00) or 16-bit (08) reference."""
    place = 0
    while place + 2 <= len(elements):
        kind, length = elements[place], elements[place + 1]
        data = elements[place + 2 : place + 2 + length]
        if (kind, length) in ((0x00, 3), (0x08, 4)):
            return int.from_bytes(data[:-2], "big"), data[-1], data[-2]
        place += 2 + length
    return None


def _decode(body: bytes, coding: int, default_alphabet: str) -> str:
    """Text by data_coding (section 5.2.19); classes 0xF0 to 0xFF by bit 2 (TS 23.038)."""
    if coding == 8:
        return body.decode("utf-16-be", "replace")
    if coding in (1, 2, 3, 4) or (coding >= 0xF0 and coding & 0x04):
        return body.decode("latin-1")
    text, _length = find_codec_info(default_alphabet).decode(body, "replace")
    return str(text)


def read_receipt(delivered: Delivered) -> Receipt | None:
    """The receipt, from the optional parameters first and the text of appendix B otherwise."""
    number = re.search(r"\bid:\s*(\S+)", delivered.text, re.IGNORECASE)
    word = re.search(r"\bstat:\s*(\w+)", delivered.text, re.IGNORECASE)
    error = re.search(r"\berr:\s*(\w+)", delivered.text, re.IGNORECASE)
    tagged = delivered.tlvs.get(RECEIPTED_MESSAGE_ID, b"").rstrip(b"\0").decode("ascii", "replace")
    provider_id = tagged or (number[1] if number else "")
    state = _STATES.get(int.from_bytes(delivered.tlvs.get(MESSAGE_STATE, b"\0"), "big"))
    if state is None and word:
        state = _STATES.get(word[1].upper())
    if not provider_id or state is None:
        return None
    reason = f"{word[1] if word else ''} {error[1] if error else ''}".strip()
    return Receipt(provider_id, state, reason)
