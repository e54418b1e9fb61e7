"""Reading deliver_sm: every layout that the standard allows, and no crash on any octets."""

import contextlib
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.channels.base import DeliveryState
from bot.channels.smpp_read import Receipt, read_deliver, read_receipt


def pdu(
    body: bytes, coding: int = 0, esm_class: int = 0, tlvs: bytes = b"", source: str = "12025550123"
) -> bytes:
    """A deliver_sm by SMPP 3.4, section 4.6.1."""
    inner = b"\0" + b"\1\1" + source.encode() + b"\0" + b"\1\1" + b"12025550100\0"
    inner += bytes((esm_class, 0, 0)) + b"\0\0" + bytes((0, 0, coding, 0, len(body))) + body + tlvs
    return struct.pack("!4I", 16 + len(inner), 5, 0, 1) + inner


def tlv(tag: int, value: bytes) -> bytes:
    return struct.pack("!HH", tag, len(value)) + value


@pytest.mark.parametrize(
    ("body", "coding", "text"),
    [
        (b"Yes", 0, "Yes"),
        (b"\x1b\x65 \x7d", 0, "€ ñ"),  # TS 23.038: escape + 65 is the euro, 7D is n-tilde
        (b"S\xcd", 3, "SÍ"),
        (b"S\xcd", 1, "SÍ"),  # said to be ASCII, and is not: no letter is lost
        ("SÍ 👍".encode("utf-16-be"), 8, "SÍ 👍"),
        (b"\xd8\x3d", 8, "\ufffd"),  # half a pair
        (b"Yes", 0xF1, "Yes"),
        (b"S\xcd", 0xF5, "SÍ"),
        (b"", 0, ""),
    ],
)
def test_text_is_decoded_by_its_coding(body: bytes, coding: int, text: str) -> None:
    assert read_deliver(pdu(body, coding)).text == text


def test_the_addresses_are_read() -> None:
    delivered = read_deliver(pdu(b"Yes"))
    assert (delivered.source, delivered.destination) == ("12025550123", "12025550100")


def test_a_text_in_message_payload_is_read() -> None:
    assert read_deliver(pdu(b"", tlvs=tlv(0x0424, b"a" * 300))).text == "a" * 300


@pytest.mark.parametrize(
    ("header", "part"),
    [
        (b"\x05\x00\x03\x07\x02\x01", (7, 1, 2)),
        (b"\x06\x08\x04\x12\x34\x03\x02", (0x1234, 2, 3)),
        (b"\x0b\x05\x04\x0b\x84\x23\xf0\x00\x03\x07\x02\x01", (7, 1, 2)),  # ports come first
        (b"\x06\x05\x04\x0b\x84\x23\xf0", None),
    ],
)
def test_the_part_is_read_from_the_header(header: bytes, part: tuple[int, int, int] | None) -> None:
    delivered = read_deliver(pdu(header + b"tos", esm_class=0x40))
    assert (delivered.text, delivered.part) == ("tos", part)


def test_the_part_is_read_from_the_sar_parameters() -> None:
    tlvs = tlv(0x020C, b"\x00\x07") + tlv(0x020E, b"\x03") + tlv(0x020F, b"\x02")
    assert read_deliver(pdu(b"tos", tlvs=tlvs)).part == (7, 2, 3)


TEXT = b"id:abc sub:001 dlvrd:001 submit date:2611250900 done date:2611250901 stat:%s err:%s text:x"


@pytest.mark.parametrize(
    ("word", "error", "tlvs", "receipt"),
    [
        (b"DELIVRD", b"000", b"", Receipt("abc", DeliveryState.DELIVERED, "DELIVRD 000")),
        (b"UNDELIV", b"0AB", b"", Receipt("abc", DeliveryState.UNDELIVERED, "UNDELIV 0AB")),
        (b"EXPIRED", b"1", b"", Receipt("abc", DeliveryState.UNDELIVERED, "EXPIRED 1")),
        (b"REJECTD", b"1", b"", Receipt("abc", DeliveryState.UNDELIVERED, "REJECTD 1")),
        (b"ACCEPTD", b"0", b"", Receipt("abc", DeliveryState.SENT, "ACCEPTD 0")),
        (
            b"UNKNOWN", b"0", tlv(0x1E, b"77\0") + tlv(0x0427, b"\x02"),
            Receipt("77", DeliveryState.DELIVERED, "UNKNOWN 0"),
        ),
        (b"UNKNOWN", b"0", b"", None),
    ],
)  # fmt: skip
def test_receipts_are_read_from_parameters_first_and_text_otherwise(
    word: bytes, error: bytes, tlvs: bytes, receipt: Receipt | None
) -> None:
    delivered = read_deliver(pdu(TEXT % (word, error), esm_class=4, tlvs=tlvs))
    assert delivered.is_receipt
    assert read_receipt(delivered) == receipt


def test_a_message_is_no_receipt_even_if_it_reads_like_one() -> None:
    assert not read_deliver(pdu(TEXT % (b"DELIVRD", b"0"))).is_receipt


@given(st.binary(max_size=120))
def test_any_octets_are_read_or_refused_and_never_crash(octets: bytes) -> None:
    with contextlib.suppress(ValueError):
        read_deliver(octets)


@given(st.binary(max_size=60), st.integers(0, 255), st.integers(0, 255), st.binary(max_size=20))
def test_any_body_in_a_whole_pdu_is_handed_on(
    body: bytes, coding: int, esm_class: int, tlvs: bytes
) -> None:
    assert isinstance(read_deliver(pdu(body, coding, esm_class, tlvs)).text, str)
