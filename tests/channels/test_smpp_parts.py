"""Parts out and in, receipts of parts, and who is a repeat."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from bot.channels.base import DeliveryState
from bot.channels.smpp_parts import Identities, LongMessages, Tally, out_parts
from bot.channels.smpp_read import Delivered
from bot.core.segments import GSM_BASIC, GSM_EXTENSION, count

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
SENT, DELIVERED, UNDELIVERED = (
    DeliveryState.SENT, DeliveryState.DELIVERED, DeliveryState.UNDELIVERED,
)  # fmt: skip


def part(text: str, number: int, total: int, source: str = "1", reference: int = 7) -> Delivered:
    return Delivered(source, "2", 0x40, text, (reference, number, total))


@given(st.text(st.sampled_from(sorted(GSM_BASIC | GSM_EXTENSION) + list("áí日👍")), max_size=500))
def test_parts_are_as_many_as_counted_and_each_fits_a_short_message(text: str) -> None:
    parts = out_parts(text, "k1")
    assert len(parts) == count(text).parts
    for made in parts:
        units = len(made.octets) - (6 if made.long else 0)
        single, long = (160, 153) if made.coding == "gsm0338" else (140, 134)
        assert units <= (long if made.long else single)


def test_every_attempt_at_one_message_has_the_same_reference() -> None:
    assert out_parts("a" * 200, "k1") == out_parts("a" * 200, "k1")
    references = {out_parts("a" * 200, f"k{n}")[0].octets[3] for n in range(50)}
    assert len(references) > 20


@given(st.permutations(range(1, 6)))
def test_parts_in_any_order_join_to_the_text(order: list[int]) -> None:
    joining = LongMessages(MINUTE)
    texts = [joining.add(part(f"<{n}>", n, 5), NOW) for n in order]
    assert texts[:-1] == [None] * 4
    assert texts[-1] == "<1><2><3><4><5>"


def test_a_part_given_twice_counts_once() -> None:
    joining = LongMessages(MINUTE)
    assert joining.add(part("a", 1, 2), NOW) is None
    assert joining.add(part("a", 1, 2), NOW) is None
    assert joining.add(part("b", 2, 2), NOW) == "ab"


def test_a_whole_that_could_not_be_stored_is_whole_again_when_its_last_part_returns() -> None:
    joining = LongMessages(MINUTE)
    joining.add(part("a", 1, 2), NOW)
    assert joining.add(part("b", 2, 2), NOW) == "ab"
    assert joining.add(part("b", 2, 2), NOW) == "ab"
    joining.close(part("b", 2, 2))
    assert joining.add(part("c", 1, 2), NOW) is None


def test_overdue_parts_are_handed_on_and_the_gap_is_marked() -> None:
    joining = LongMessages(MINUTE)
    joining.add(part("I have", 1, 3), NOW)
    joining.add(part("fever", 3, 3), NOW)
    assert joining.overdue(NOW + MINUTE) == []
    (late,) = joining.overdue(NOW + 2 * MINUTE)
    assert late.text == "I have [part missing] fever"
    joining.close(late)
    assert joining.overdue(NOW + 2 * MINUTE) == []


def test_delivered_only_when_every_part_is() -> None:
    tally = Tally()
    assert tally.expect(["a", "b", "c"]) == "c"
    assert tally.report("c", DELIVERED) is None
    assert tally.report("a", DELIVERED) is None
    assert tally.report("b", DELIVERED) == ("c", DELIVERED)


def test_one_lost_part_makes_the_message_undelivered() -> None:
    tally = Tally()
    tally.expect(["a", "b"])
    assert tally.report("a", UNDELIVERED) == ("b", UNDELIVERED)


def test_receipts_before_the_ids_are_known_are_counted() -> None:
    tally = Tally()
    tally.report("a", DELIVERED)
    tally.expect(["a", "b"])
    assert tally.report("b", DELIVERED) == ("b", DELIVERED)
    tally.report("c", UNDELIVERED)
    tally.expect(["c", "d"])
    assert tally.report("d", DELIVERED) == ("d", UNDELIVERED)


def test_after_a_restart_the_last_parts_receipt_decides() -> None:
    assert Tally().report("b", DELIVERED) == ("b", DELIVERED)


def test_sent_is_passed_on_as_it_comes() -> None:
    tally = Tally()
    tally.expect(["a", "b"])
    assert tally.report("a", SENT) == ("b", SENT)


YES = Delivered("1", "2", 0, "yes")


def identities() -> Identities:
    return Identities(unsure=timedelta(seconds=20), remember=timedelta(minutes=30))


def test_the_same_words_on_one_link_are_two_messages() -> None:
    ids = identities()
    assert ids.of(YES, "yes", NOW) != ids.of(YES, "yes", NOW + timedelta(seconds=1))


def test_the_same_words_just_after_a_lost_link_are_a_repeat() -> None:
    ids = identities()
    first = ids.of(YES, "yes", NOW)
    ids.lost(NOW + timedelta(seconds=5))
    assert ids.of(YES, "yes", NOW + timedelta(seconds=9)) == first


def test_words_answered_long_before_the_loss_are_no_repeat() -> None:
    ids = identities()
    first = ids.of(YES, "yes", NOW)
    ids.lost(NOW + 5 * MINUTE)
    assert ids.of(YES, "yes", NOW + 6 * MINUTE) != first


def test_another_phone_with_the_same_words_is_another_message() -> None:
    ids = identities()
    first = ids.of(YES, "yes", NOW)
    ids.lost(NOW)
    assert ids.of(Delivered("9", "2", 0, "yes"), "yes", NOW) != first


def test_a_repeat_is_taken_for_one_once_only() -> None:
    ids = identities()
    first = ids.of(YES, "yes", NOW)
    ids.lost(NOW)
    assert ids.of(YES, "yes", NOW + MINUTE) == first
    assert ids.of(YES, "yes", NOW + 2 * MINUTE) != first
