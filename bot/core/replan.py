"""What changes in the stored countdown when it is planned again: idempotent, and never twice.

A surgery is moved, a start time comes in, a medicine hold is entered: the countdown is made anew
and compared with what is stored. What was sent stays sent. Planning again with nothing changed
changes nothing.
"""

from collections.abc import Iterable, Mapping, Sequence, Set
from datetime import UTC, datetime

from bot.core.changed import replace
from bot.core.planned import Countdown, NotPlanned, Part, PlannedPrompt
from bot.core.protocol import Priority
from bot.core.value import value

_NEVER = datetime.min.replace(tzinfo=UTC)


@value
class StoredPrompt:
    """A planned prompt on record. `settled`: it was sent, or given up for good and reported."""

    prompt: PlannedPrompt
    settled: bool = False
    sent_at: datetime | None = None


@value
class Replan:
    """What to do to the record. Keys are those of the messages."""

    keep: tuple[str, ...] = ()
    add: tuple[PlannedPrompt, ...] = ()
    cancel: tuple[str, ...] = ()
    retime: tuple[PlannedPrompt, ...] = ()  # same key; other time, parts or window
    missed: tuple[NotPlanned, ...] = ()  # for the nurse; what was settled already is left out


def put_off(stored: Iterable[StoredPrompt]) -> dict[str, datetime]:
    """The times given to what is still to come later than first meant, by the key of the part."""
    return {
        part.key: one.prompt.due
        for one in stored
        if not one.settled
        for part in one.prompt.parts
        if part.catch_up
    }


def replan(stored: Sequence[StoredPrompt], new: Countdown, now: datetime) -> Replan:
    """Compare the stored countdown with the new one.

    1. Parts already settled are taken out of the new messages. Safety and time-critical ones come
       again when the surgery moved them to a later day; teaching said once is not said again.
    2. A catch-up that has its time already, and a message due at this moment, are left alone.
    3. The rest is added, retimed or cancelled by key.
    """
    settled = _settled_parts(stored)
    open_ones = {s.prompt.key: s.prompt for s in stored if not s.settled}
    taken = {s.prompt.key for s in stored if s.settled}
    frozen = _frozen(open_ones.values(), new, now)
    on_its_way = {part.key for prompt in frozen.values() for part in prompt.parts}
    wanted = _unsettled(new.prompts, settled, on_its_way, taken | frozen.keys())
    leaving = _leaving(open_ones.values(), new, now) | frozen.keys()
    common = wanted.keys() & open_ones.keys()
    same = {key for key in common if wanted[key] == open_ones[key]}
    return Replan(
        keep=tuple(k for k in open_ones if k in same or (k in leaving and k not in wanted)),
        add=tuple(p for k, p in wanted.items() if k not in open_ones),
        cancel=tuple(k for k in open_ones if k not in wanted and k not in leaving),
        retime=tuple(p for k, p in wanted.items() if k in common - same),
        missed=tuple(m for m in new.missed if m.key not in settled and m.key not in leaving),
    )


def _settled_parts(stored: Iterable[StoredPrompt]) -> dict[str, datetime]:
    """Give the newest due time at which each part was settled."""
    settled: dict[str, datetime] = {}
    for one in stored:
        for part in one.prompt.parts if one.settled else ():
            settled[part.key] = max(one.prompt.due, settled.get(part.key, one.prompt.due))
    return settled


def _unsettled(
    prompts: Iterable[PlannedPrompt],
    settled: Mapping[str, datetime],
    on_its_way: Set[str],
    taken: Set[str],
) -> dict[str, PlannedPrompt]:
    """Take out parts that are settled or on their way; give the rest a key that is still free."""
    wanted: dict[str, PlannedPrompt] = {}
    for prompt in prompts:
        parts = tuple(
            part
            for part in prompt.parts
            if part.key not in on_its_way and _still_to_say(part, prompt, settled)
        )
        if not parts:
            continue
        whole = parts == prompt.parts
        key = prompt.key if whole else parts[0].key
        if key in taken:  # asked before for the old date; the new date is a new message
            key = f"{key}+{prompt.due:%Y-%m-%d}"
        same = whole and key == prompt.key
        wanted[key] = prompt if same else replace(prompt, key=key, parts=parts)
    return wanted


def _still_to_say(part: Part, prompt: PlannedPrompt, settled: Mapping[str, datetime]) -> bool:
    if part.key not in settled:
        return True
    once = prompt.priority is Priority.TEACHING and not prompt.time_critical
    if once or part.catch_up:
        return False
    return prompt.due.date() > settled[part.key].date()


def _frozen(
    open_ones: Iterable[PlannedPrompt], new: Countdown, now: datetime
) -> dict[str, PlannedPrompt]:
    """Find catch-ups already planned whose time still holds: planning again must not push them off.

    A catch-up has no time of its own, only the first one possible; that was decided before.
    """
    closes = {
        part.key: message.closes
        for message in new.prompts
        for part in message.parts
        if part.catch_up
    }
    return {
        stored.key: stored
        for stored in open_ones
        if stored.closes >= now
        and all(p.catch_up and stored.due <= closes.get(p.key, _NEVER) for p in stored.parts)
    }


def _leaving(open_ones: Iterable[PlannedPrompt], new: Countdown, now: datetime) -> set[str]:
    """Find stored messages due but not yet sent, which the new plan lists as just too late.

    The sender is about to take them; planning at that moment must not call them missed.
    """
    late = {n.key: n.was_due for n in (*new.missed, *new.skipped)}
    return {
        prompt.key
        for prompt in open_ones
        if prompt.due <= now < prompt.closes and late.get(prompt.key) is not None
    }
