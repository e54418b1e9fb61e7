"""What changes in the stored countdown when it is planned again: idempotent, and never twice.

A surgery is moved, a start time comes in, a medicine hold is entered: the countdown is made anew
and compared with what is stored. What was sent stays sent. Planning again with nothing changed
changes nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from bot.core.planned import Countdown, NotPlanned, Part, PlannedPrompt
from bot.core.protocol import Priority


@dataclass(frozen=True, slots=True)
class StoredPrompt:
    """A planned prompt on record. `settled`: it was sent, or given up for good and reported."""

    prompt: PlannedPrompt
    settled: bool = False


@dataclass(frozen=True, slots=True)
class Replan:
    """What to do to the record. Keys are those of the messages."""

    keep: tuple[str, ...] = ()
    add: tuple[PlannedPrompt, ...] = ()
    cancel: tuple[str, ...] = ()
    retime: tuple[PlannedPrompt, ...] = ()  # same key; other time, parts or window
    missed: tuple[NotPlanned, ...] = ()  # for the nurse; what was settled already is left out


def replan(stored: Sequence[StoredPrompt], new: Countdown, now: datetime) -> Replan:
    """Compare the stored countdown with the new one.

    1. Parts already settled are taken out of the new messages. Safety and time-critical ones come
       again when the surgery moved them to a later day; teaching said once is not said again.
    2. A stored message that is due right now, or is a catch-up already on its way, is left alone.
    3. The rest is added, retimed or cancelled by key.
    """
    settled = _settled_parts(stored)
    open_ones = {s.prompt.key: s.prompt for s in stored if not s.settled}
    taken = {s.prompt.key for s in stored if s.settled}
    wanted = _unsettled(new.prompts, settled, taken)
    wanted = {key: _settle_down(prompt, open_ones.get(key)) for key, prompt in wanted.items()}
    leaving = _leaving(open_ones.values(), new, now)
    common = wanted.keys() & open_ones.keys()
    same = {key for key in common if wanted[key] == open_ones[key]}
    return Replan(
        keep=tuple(k for k in open_ones if k in same or (k in leaving and k not in wanted)),
        add=tuple(p for k, p in wanted.items() if k not in open_ones),
        cancel=tuple(k for k in open_ones if k not in wanted and k not in leaving),
        retime=tuple(p for k, p in wanted.items() if k in common - same),
        missed=tuple(m for m in new.missed if m.key not in settled and m.key not in leaving),
    )


def apply(stored: Sequence[StoredPrompt], change: Replan) -> tuple[StoredPrompt, ...]:
    """Give the record after `change`; the store does the same with rows."""
    retimed = {prompt.key: prompt for prompt in change.retime}
    gone = set(change.cancel)
    kept = tuple(
        replace(s, prompt=retimed.get(s.prompt.key, s.prompt)) if not s.settled else s
        for s in stored
        if s.settled or s.prompt.key not in gone
    )
    return kept + tuple(StoredPrompt(prompt) for prompt in change.add)


def _settled_parts(stored: Iterable[StoredPrompt]) -> dict[str, datetime]:
    """Give the newest due time at which each part was settled."""
    settled: dict[str, datetime] = {}
    for one in stored:
        for part in one.prompt.parts if one.settled else ():
            settled[part.key] = max(one.prompt.due, settled.get(part.key, one.prompt.due))
    return settled


def _unsettled(
    prompts: Iterable[PlannedPrompt], settled: Mapping[str, datetime], taken: set[str]
) -> dict[str, PlannedPrompt]:
    """Take settled parts out, and give what is left a key that no settled message holds."""
    wanted: dict[str, PlannedPrompt] = {}
    for prompt in prompts:
        parts = tuple(p for p in prompt.parts if _still_to_say(p, prompt, settled))
        if not parts:
            continue
        key = prompt.key if parts == prompt.parts else parts[0].key
        if key in taken:  # asked before for the old date; the new date is a new message
            key = f"{key}+{prompt.due:%Y-%m-%d}"
        wanted[key] = replace(prompt, key=key, parts=parts)
    return wanted


def _still_to_say(part: Part, prompt: PlannedPrompt, settled: Mapping[str, datetime]) -> bool:
    if part.key not in settled:
        return True
    once = prompt.priority is Priority.TEACHING and not prompt.time_critical
    if once or part.catch_up:
        return False
    return prompt.due.date() > settled[part.key].date()


def _settle_down(prompt: PlannedPrompt, stored: PlannedPrompt | None) -> PlannedPrompt:
    """Keep the time of a catch-up that is already planned, so that it does not slide away."""
    if stored is None or not all(part.catch_up for part in prompt.parts):
        return prompt
    if stored.due > prompt.due:
        return prompt
    return replace(prompt, due=stored.due, parts=stored.parts) if _alike(prompt, stored) else prompt


def _alike(one: PlannedPrompt, other: PlannedPrompt) -> bool:
    return [part.key for part in one.parts] == [part.key for part in other.parts]


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
