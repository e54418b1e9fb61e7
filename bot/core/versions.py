"""Conversations under way end on the version of the content that they began with."""

from collections.abc import Iterator
from dataclasses import replace

from bot.core.conversation import Conversation, OpenQuestion
from bot.core.flow import Flow, FlowBook
from bot.core.machine import build


def under_way(conversation: Conversation) -> Iterator[OpenQuestion]:
    """The questions that still wait for an answer, the coach's own among them."""
    yield from conversation.interrupted
    if conversation.open is not None:
        yield conversation.open
    if conversation.coach is not None:
        yield from under_way(conversation.coach)


def begun_with(conversation: Conversation) -> frozenset[tuple[str, str]]:
    """(flow, revision) of every question under way, and (flow, "") of flows that wait their turn.

    What of these the live content lacks must be loaded from the versions stored before.
    """
    waiting = [*conversation.waiting, *(conversation.coach.waiting if conversation.coach else ())]
    return frozenset((q.flow, q.revision) for q in under_way(conversation)) | frozenset(
        (flow.flow, "") for flow in waiting
    )


def lacks(book: FlowBook, flow: str, revision: str) -> bool:
    """True when the live content has not this revision; no revision: not this flow at all."""
    live = book.flows.get(flow)
    return live is None or (revision not in ("", live.revision))


def as_begun(book: FlowBook, conversation: Conversation) -> FlowBook:
    """The book for one turn of this chat: live, but for the flows that began on an older version.

    A flow of that name that opens in the same turn speaks the older version too; the next one
    speaks the live one.
    """
    if not book.retired:
        return book
    old: dict[str, Flow] = {}
    for name, revision in sorted(begun_with(conversation)):
        found = book.retired.get((name, revision))
        if found is None and name not in book.flows:
            found = _any_revision(book, name)
        if found is not None and lacks(book, name, revision):
            old[name] = found
    if not old:
        return book
    machines = {name: build(flow) for name, flow in old.items() if flow.states}
    return replace(book, flows={**book.flows, **old}, machines={**book.machines, **machines})


def _any_revision(book: FlowBook, name: str) -> Flow | None:
    """A flow that was taken out altogether and still waits its turn: its newest stored version."""
    return next((flow for (kept, _), flow in book.retired.items() if kept == name), None)
