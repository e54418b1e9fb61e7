"""A conversation as JSON text and back, exactly: what the store keeps between two steps.

What has its default is not written, so the defaults in `conversation.py` are part of the format:
changing one there would change chats on file.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, Field, fields
from datetime import datetime
from operator import attrgetter
from typing import Any

from bot.core.conversation import Conversation, OpenQuestion, WaitingFlow
from bot.core.protocol import Priority

_KINDS = (Conversation, OpenQuestion, WaitingFlow)
_NEVER = object()  # equals no value: a field without a default is always written
_MOMENTS = frozenset({"asked_at", "rung_at", "closes", "ask_again_at", "not_before"})
_ENTRIES = (("interrupted", OpenQuestion), ("recent", OpenQuestion), ("waiting", WaitingFlow))
_AT_HAND = 1000
# What was just read and stays as it is need not be put into words again to be written.
_as_read: dict[int, tuple[object, dict[str, object]]] = {}
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def _default(field: Field[Any]) -> object:
    if field.default_factory is not MISSING:
        return field.default_factory()
    return _NEVER if field.default is MISSING else field.default


_NAMES = {kind: tuple(field.name for field in fields(kind)) for kind in _KINDS}
_DEFAULTS = {kind: tuple(_default(field) for field in fields(kind)) for kind in _KINDS}
_GETTERS = {kind: attrgetter(*_NAMES[kind]) for kind in _KINDS}


def conversation_to_json(conversation: Conversation) -> str:
    """The conversation as compact JSON. Instants keep their offset, sets are sorted."""
    return _encode(dict(_written(conversation)))


def conversation_from_json(text: str, version: int | None = None) -> Conversation:
    """The conversation that `conversation_to_json` wrote.

    A field that the text lacks has its default; one that this version does not know raises
    TypeError, so that no state is dropped unseen. `version` is given where it is kept beside it.
    """
    raw = json.loads(text)
    if version is not None:
        raw["version"] = version
    return _to_conversation(raw)


def _written(thing: Conversation | OpenQuestion | WaitingFlow) -> Iterator[tuple[str, object]]:
    kind = type(thing)
    values = _GETTERS[kind](thing)
    for name, value, default in zip(_NAMES[kind], values, _DEFAULTS[kind], strict=True):
        if value != default:
            yield name, _plain(value)


def _plain(value: object) -> object:
    made = _PLAIN.get(type(value))
    if made is not None:
        return made(value)
    return dict(value) if isinstance(value, Mapping) else value


def _nested(thing: Any) -> dict[str, object]:  # noqa: ANN401 - one of _KINDS
    known = _as_read.get(id(thing))
    return known[1] if known and known[0] is thing else dict(_written(thing))


_PLAIN: dict[type, Callable[[Any], object]] = {
    **dict.fromkeys(_KINDS, _nested),
    datetime: datetime.isoformat,
    frozenset: sorted,
    tuple: lambda entries: [_nested(entry) for entry in entries],
}


def _to_conversation(raw: dict[str, Any]) -> Conversation:
    rich = dict(raw)
    for name, kind in _ENTRIES:
        if name in raw:
            rich[name] = tuple(_entry(kind, each) for each in raw[name])
    rich["open"] = _entry(OpenQuestion, raw["open"]) if raw.get("open") else None
    rich["escalated"] = frozenset(raw.get("escalated", ()))
    rich["coach"] = _to_conversation(raw["coach"]) if raw.get("coach") is not None else None
    return Conversation(**rich)


def _entry(kind: Any, raw: dict[str, Any]) -> Any:  # noqa: ANN401 - one of _KINDS
    rich = dict(raw)
    for name in _MOMENTS & raw.keys():
        rich[name] = datetime.fromisoformat(raw[name]) if raw[name] else None
    if "priority" in raw:
        rich["priority"] = Priority(raw["priority"])
    made = kind(**rich)
    if len(_as_read) >= _AT_HAND:
        _as_read.clear()
    _as_read[id(made)] = (made, raw)
    return made
