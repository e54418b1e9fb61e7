"""A conversation as JSON text and back, exactly: what the store keeps between two steps."""

import json
from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

from bot.core.conversation import Conversation, OpenQuestion, WaitingFlow
from bot.core.protocol import Priority

_FIELDS = {
    kind: tuple(field.name for field in fields(kind))
    for kind in (Conversation, OpenQuestion, WaitingFlow)
}
_MOMENTS = frozenset({"asked_at", "rung_at", "closes", "ask_again_at", "not_before"})


def conversation_to_json(conversation: Conversation) -> str:
    """The conversation as compact JSON. Instants keep their offset, sets are sorted."""
    return json.dumps(_conversation(conversation), ensure_ascii=False, separators=(",", ":"))


def conversation_from_json(text: str) -> Conversation:
    """The conversation that `conversation_to_json` wrote.

    A field that the text lacks (written by an older version) has its default; one that this
    version does not know raises TypeError, so that no state is dropped unseen.
    """
    return _to_conversation(json.loads(text))


def _conversation(conversation: Conversation) -> dict[str, Any]:
    raw = {name: getattr(conversation, name) for name in _FIELDS[Conversation]}
    for name in ("interrupted", "waiting", "recent"):
        raw[name] = [_entry(entry) for entry in raw[name]]
    raw["open"] = _entry(conversation.open) if conversation.open else None
    raw["escalated"] = sorted(conversation.escalated)
    raw["coach"] = _conversation(conversation.coach) if conversation.coach else None
    return raw


def _entry(entry: OpenQuestion | WaitingFlow) -> dict[str, Any]:
    return {name: _plain(getattr(entry, name)) for name in _FIELDS[type(entry)]}


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.isoformat()
    return dict(value) if isinstance(value, Mapping) else value


def _to_conversation(raw: dict[str, Any]) -> Conversation:
    rich = dict(raw)
    for name, kind in (("interrupted", OpenQuestion), ("recent", OpenQuestion)):
        rich[name] = tuple(kind(**_rich(entry)) for entry in raw.get(name, ()))
    rich["waiting"] = tuple(WaitingFlow(**_rich(entry)) for entry in raw.get("waiting", ()))
    rich["open"] = OpenQuestion(**_rich(raw["open"])) if raw.get("open") else None
    rich["escalated"] = frozenset(raw.get("escalated", ()))
    rich["coach"] = _to_conversation(raw["coach"]) if raw.get("coach") else None
    return Conversation(**rich)


def _rich(entry: dict[str, Any]) -> dict[str, Any]:
    rich = dict(entry)
    for name in _MOMENTS & rich.keys():
        rich[name] = datetime.fromisoformat(rich[name]) if rich[name] else None
    rich["priority"] = Priority(rich.get("priority", Priority.TEACHING))
    return rich
