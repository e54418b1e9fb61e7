"""Trying a conversation of the draft step by step, as the patient. Nothing of it is stored.

The moves so far stand in the page's own form; each step plays them again from the start.
"""

from zoneinfo import ZoneInfo

from starlette.responses import Response

from bot.content.faults import ContentFaults
from bot.core.flow import FlowBook
from bot.service import drafting
from bot.service.rehearsing import (
    LONGEST_REPLY,
    MOST_MOVES,
    Rehearsal,
    Rehearsed,
    conversations,
    rehearse,
)
from bot.service.views_log import choices
from bot.web.draft_pages import live
from bot.web.draft_views import changed_names, shown_faults
from bot.web.pages import language_name
from bot.web.visit import Visit
from bot.wiring import staged

JOINTS = (("knee", "Knee"), ("hip", "Hip"))
WAIT, WRITE, AGAIN = "wait", "write", "again"


def page(visit: Visit) -> Response:
    """Choose what to try."""
    return _play(visit, None)


def step(visit: Visit) -> Response:
    """Play all moves so far and the new one."""
    zone = choices(visit.app.practice).zone
    wish = Rehearsal(
        flow=visit.field("flow"),
        on=visit.now.astimezone(ZoneInfo(zone)).date(),
        zone=zone,
        language=visit.field("language") or "en",
        joint="hip" if visit.field("joint") == "hip" else "knee",
        true=frozenset(_list(visit, "fact")),
        moves=_moves(visit),
    )
    return _play(visit, wish)


def _moves(visit: Visit) -> tuple[str, ...]:
    """The moves so far with the new one, none longer than a message may be."""
    if visit.field("act") == AGAIN:
        return ()
    before = _list(visit, "move")
    if visit.field("act") == WAIT:
        before.append("")
    elif visit.field("act") == WRITE and visit.field("text"):
        before.append(visit.field("text"))
    return tuple(move[:LONGEST_REPLY] for move in before[:MOST_MOVES])


def _list(visit: Visit, name: str) -> list[str]:
    return [value for value in visit.form.getlist(name) if isinstance(value, str)]


def _play(visit: Visit, wish: Rehearsal | None) -> Response:
    draft = drafting.current(visit.app.engine)
    if draft is None:
        return visit.page("draft_try.html", draft=None)
    try:
        practice = staged(drafting.content_of(draft))
    except ContentFaults as wrong:
        faults = shown_faults(wrong.faults, draft.files)
        return visit.page("draft_try.html", 422, draft=draft, faults=faults)
    try:
        known = _known(wish, practice.book)
        played = rehearse(practice, known) if known else None
    finally:
        practice.engine.dispose()
    return _stage(visit, practice.book, known, played, changed_names(draft, live(visit)))


def _known(wish: Rehearsal | None, book: FlowBook) -> Rehearsal | None:
    """What was wished, if the draft has the conversation, the language and the facts."""
    if wish is None or wish.flow not in dict(conversations(book)):
        return None
    sound = wish.language in book.languages and wish.true <= set(_yes_or_no(book))
    return wish if sound else None


def _yes_or_no(book: FlowBook) -> tuple[str, ...]:
    """The facts that can be ticked."""
    return tuple(name for name, value in book.fact_defaults.items() if value is False)


def _stage(
    visit: Visit,
    book: FlowBook,
    wish: Rehearsal | None,
    played: Rehearsed | None,
    changed: tuple[str, ...],
) -> Response:
    edited = {name.removeprefix("talks/").removesuffix(".yaml") for name in changed}
    flows = sorted(conversations(book), key=lambda pair: pair[0] not in edited)
    return visit.page(
        "draft_try.html",
        draft=True,
        faults=(),
        flows=[(name, f"{title}{' (changed)' if name in edited else ''}") for name, title in flows],
        languages=[(code, language_name(code)) for code in book.languages],
        facts=_yes_or_no(book),
        joints=JOINTS,
        titles=dict(flows),
        wish=wish,
        played=played,
        full=wish is not None and len(wish.moves) >= MOST_MOVES,
        zone=choices(visit.app.practice).zone,
        longest=LONGEST_REPLY,
    )
