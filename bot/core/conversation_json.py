"""A conversation as JSON text and back, exactly: what the store keeps between two steps.

What has its default is not written, so the defaults in `conversation.py` are part of the format:
changing one there would change chats on file.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, Field, fields
from datetime import datetime
from functools import lru_cache
from operator import attrgetter
from typing import Any

from bot.core.changed import replace
from bot.core.conversation import Conversation, OpenQuestion, WaitingFlow
from bot.core.protocol import Priority
from bot.core.same import Same

_Kind = Conversation | OpenQuestion | WaitingFlow
_KINDS = (Conversation, OpenQuestion, WaitingFlow)
_NEVER = object()  # equals no value: a field without a default is always written
_MOMENTS = frozenset({"asked_at", "rung_at", "closes", "ask_again_at", "not_before"})
_ENTRIES = (("interrupted", OpenQuestion), ("recent", OpenQuestion), ("waiting", WaitingFlow))
_AT_HAND = 1000  # turns; some 10 kB each, words included
# A chat that this process wrote it need not read out of its text again. The text itself is the key,
# so one that anybody else has moved on meanwhile is not found.
_at_hand: dict[str, Conversation] = {}
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
    text = _encode(dict(_written(conversation)))
    _keep_at_hand(text, conversation)
    return text


def conversation_from_json(text: str, version: int | None = None) -> Conversation:
    """The conversation that `conversation_to_json` wrote.

    A field that the text lacks has its default; one that this version does not know raises
    TypeError, so that no state is dropped unseen. `version` is given where it is kept beside it.
    """
    found = _at_hand.get(text)
    if found is None:
        found = _to_conversation(json.loads(text))
        _keep_at_hand(text, found)
    if version is None or version == found.version:
        return found
    return replace(found, version=version)


def _keep_at_hand(text: str, conversation: Conversation) -> None:
    if len(_at_hand) >= _AT_HAND:
        _at_hand.clear()
    _at_hand[text] = conversation


def _written(thing: _Kind) -> Iterator[tuple[str, object]]:
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


def _nested(thing: _Kind) -> dict[str, object]:
    return _in_words(Same(thing))


@lru_cache(maxsize=4096)  # most of a chat stays as it is from turn to turn
def _in_words(thing: Same[_Kind]) -> dict[str, object]:
    return dict(_written(thing.it))


def _as_it_is(value: object) -> object:
    return value


_PLAIN: dict[type, Callable[[Any], object]] = {
    **dict.fromkeys(_KINDS, _nested),
    **dict.fromkeys((str, int, bool, type(None), Priority), _as_it_is),
    dict: dict,
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
    return kind(**rich)
