"""What differs between two sets of rules, and between two countdowns of one patient."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, time

from bot.core.preview import Preview
from bot.core.protocol import Rules

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True)
class RuleDifference:
    """One rule that is not the same, as an educator reads it; None: not set."""

    name: str
    first: str | None
    second: str | None


@dataclass(frozen=True, slots=True)
class MessageDifference:
    """One message that is not the same; None: not sent."""

    key: str
    first: Preview | None
    second: Preview | None
    carrier: str | None = None  # the message that carries its words where it is not sent itself

    @property
    def moved(self) -> bool:
        """Sent in both, at another time."""
        return (
            self.first is not None
            and self.second is not None
            and self.first.message.due != self.second.message.due
        )


def rule_differences(first: Rules, second: Rules) -> tuple[RuleDifference, ...]:
    """Every rule that differs, in the order in which rules are written."""
    one, two = _flat(first), _flat(second)
    names = dict.fromkeys((*one, *two))
    return tuple(
        RuleDifference(name, one.get(name), two.get(name))
        for name in names
        if one.get(name) != two.get(name)
    )


def message_differences(
    first: Iterable[Preview], second: Iterable[Preview]
) -> tuple[MessageDifference, ...]:
    """Every message whose time, text or being sent differs, in the order of time."""
    one, two = _by_key(first), _by_key(second)
    carriers = (_carriers(one.values()), _carriers(two.values()))
    found = [
        MessageDifference(key, one.get(key), two.get(key), _carrier(key, one, two, carriers))
        for key in dict.fromkeys((*one, *two))
    ]
    return tuple(sorted((d for d in found if _content(d.first) != _content(d.second)), key=_when))


def _by_key(shown: Iterable[Preview]) -> Mapping[str, Preview]:
    return {preview.message.key: preview for preview in shown}


def _carriers(shown: Iterable[Preview]) -> dict[str, str]:
    return {part.key: p.message.key for p in shown for part in p.message.parts}


def _carrier(
    key: str,
    one: Mapping[str, Preview],
    two: Mapping[str, Preview],
    carriers: tuple[Mapping[str, str], Mapping[str, str]],
) -> str | None:
    """Where a message is not sent, what carries its first part instead: two were merged there."""
    if key in one and key in two:
        return None
    (own, there) = (one[key], carriers[1]) if key in one else (two[key], carriers[0])
    return there.get(own.message.parts[0].key)


def _content(shown: Preview | None) -> object:
    return None if shown is None else (shown.message.due, shown.message.to, shown.text)


def _when(difference: MessageDifference) -> tuple[object, str]:
    shown = difference.first or difference.second
    return (shown.message.due if shown else None, difference.key)


def _flat(rules: Rules) -> dict[str, str]:
    return dict(_parts("", rules))


def _parts(prefix: str, value: object) -> Iterator[tuple[str, str]]:
    if is_dataclass(value):
        for field in fields(value):
            yield from _parts(_under(prefix, field.name), getattr(value, field.name))
    elif isinstance(value, Mapping):
        for key in value:
            name = WEEKDAYS[key] if isinstance(key, int) else str(key)
            yield from _parts(_under(prefix, name), value[key])
    else:
        yield prefix, _shown(value)


def _under(prefix: str, name: str) -> str:
    return f"{prefix}.{name}" if prefix else name


def _shown(value: object) -> str:
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | frozenset):
        parts = sorted(value) if isinstance(value, frozenset) else value
        return ", ".join(_shown(part) for part in parts)
    return str(value)
