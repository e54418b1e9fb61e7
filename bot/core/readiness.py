"""Where each item of a patient's countdown stands: done, waiting, late or not needed."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from bot.core.protocol import Anchor, Prompt, Protocol
from bot.core.record import ItemStatus

_NEEDS_START = frozenset({Anchor.START, Anchor.ARRIVAL, Anchor.LAST_FOOD, Anchor.LAST_DRINK})
_SETTLED_WELL = {"done": "Done", "all_clear": "All clear"}
_SAID = {  # what was recorded -> how the nurse reads it
    "not_done": "Said: not done",
    "not_answered": "Not answered",
    "not_asked": "Not asked",
    "held": "Held back: a nurse decides",
    "symptom": "A symptom was told",
}


class Sign(StrEnum):
    """The four states of an item."""

    DONE = "done"
    WAITING = "waiting"
    LATE = "late"  # its time is over without a good answer: someone must look
    NOT_NEEDED = "not_needed"


GRAVEST_FIRST = (Sign.LATE, Sign.WAITING, Sign.DONE, Sign.NOT_NEEDED)


@dataclass(frozen=True, slots=True)
class Asking:
    """One prompt about one item, as it is stored. `state` is the prompt's."""

    item: str
    state: str
    due: datetime
    closes: datetime


@dataclass(frozen=True, slots=True)
class Mark:
    """How one item stands. `word` is the reason in words, `at` the moment that it names."""

    sign: Sign
    word: str
    at: datetime | None = None
    by: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One item of the countdown. `stem` is not empty when there is one for each medicine."""

    name: str
    flow: str
    stem: str = ""
    needs_start: bool = False
    others: frozenset[str] = frozenset()  # items that begin with the stem and are something else

    def covers(self, item: str) -> bool:
        """Whether a stored item belongs here."""
        if not self.stem:
            return item == self.name
        return item.startswith(self.stem) and item not in self.others


def columns(protocols: Iterable[Protocol], washes: int) -> tuple[Column, ...]:
    """Every item that the patients' countdowns can have, in the order of the protocol."""
    found: dict[str, Column] = {}
    for protocol in protocols:
        for prompt in protocol.prompts:
            for column in _columns(prompt, washes):
                found.setdefault(column.name, column)
    fixed = frozenset(name for name, column in found.items() if not column.stem)
    return tuple(replace(c, others=fixed) if c.stem else c for c in found.values())


def _columns(prompt: Prompt, washes: int) -> list[Column]:
    item = prompt.item
    if item is None or prompt.to != "patient":
        return []
    waits = prompt.when.anchor in _NEEDS_START or any(
        test.fact == "start_known" for test in prompt.only_if
    )
    if "{n}" in item:
        names = [item.replace("{n}", str(n + 1)) for n in range(washes)]
        return [Column(name, prompt.flow, needs_start=waits) for name in names]
    stem = item.split("{")[0] if "{" in item else ""
    return [Column(f"{stem}medicine" if stem else item, prompt.flow, stem, waits)]


def mark(
    recorded: ItemStatus | None, asked: Sequence[Asking], now: datetime, *, waits: bool = False
) -> Mark:
    """How one item stands. `waits`: it has no time because the start of surgery is unknown.

    A record wins over what was asked. "Later" is no answer yet. Without a record the newest prompt
    decides: to come or asked and still open is waiting, past its window is late.
    """
    if recorded is not None and recorded.value in _SETTLED_WELL:
        return Mark(Sign.DONE, _SETTLED_WELL[recorded.value], recorded.at, recorded.by)
    if recorded is not None and recorded.value == "not_needed":
        return Mark(Sign.NOT_NEEDED, "Not needed", recorded.at, recorded.by)
    if recorded is not None and recorded.value != "later":
        word = _SAID.get(recorded.value, recorded.value.replace("_", " ").capitalize())
        return Mark(Sign.LATE, word, recorded.at, recorded.by)
    if not asked:
        word = "Waits for the start time" if waits else "Not needed"
        return Mark(Sign.WAITING if waits else Sign.NOT_NEEDED, word)
    return _from_asking(asked, now)


def _from_asking(asked: Sequence[Asking], now: datetime) -> Mark:
    coming = [a for a in asked if a.state == "planned"]
    if coming:
        return Mark(Sign.WAITING, "Comes", min(a.due for a in coming))
    newest = max(asked, key=lambda a: a.due)
    if newest.state == "cancelled":
        return Mark(Sign.WAITING, "Withdrawn")
    if newest.state == "skipped":
        return Mark(Sign.NOT_NEEDED, "Not asked any more")
    if newest.state == "missed":
        return Mark(Sign.LATE, "Could not be asked in time", newest.due)
    if newest.closes > now:
        return Mark(Sign.WAITING, "Asked", newest.due)
    return Mark(Sign.LATE, "No answer since", newest.due)


def marks(
    wanted: Iterable[Column],
    recorded: Mapping[str, ItemStatus],
    asked: Iterable[Asking],
    now: datetime,
    *,
    start_known: bool,
) -> dict[str, Mark]:
    """How every item of one patient stands; of several medicines the gravest counts."""
    by_item: dict[str, list[Asking]] = {}
    for one in asked:
        by_item.setdefault(one.item, []).append(one)
    names = dict.fromkeys((*by_item, *recorded))
    found: dict[str, Mark] = {}
    for column in wanted:
        own = [name for name in names if column.covers(name)] if column.stem else [column.name]
        waits = column.needs_start and not start_known
        each = [mark(recorded.get(n), by_item.get(n, ()), now, waits=waits) for n in own]
        found[column.name] = gravest(each) if each else Mark(Sign.NOT_NEEDED, "Not needed")
    return found


def gravest(each: Sequence[Mark]) -> Mark:
    """The mark that a nurse must see first."""
    if len(each) == 1:
        return each[0]
    return min(each, key=lambda one: GRAVEST_FIRST.index(one.sign))
