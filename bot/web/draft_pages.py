"""The educator's draft: change a file beside what is live, check it, see whom it touches, publish.

Everything works as plain forms. What a form was begun from comes back with it, so nobody overwrites
what somebody else did meanwhile.
"""

from starlette.responses import Response

from bot.content.faults import ContentFaults, Fault
from bot.content.line_changes import line_changes
from bot.content.snapshot import Snapshot, snapshot
from bot.service import drafting
from bot.service.drafting import DraftFault
from bot.service.publishing import PublishFault, faults_of
from bot.service.touched import Touched
from bot.service.views_log import choices
from bot.store.drafts import Draft
from bot.web.draft_views import by_kind, changed_names, for_everyone, raw, shown_faults, sides
from bot.web.visit import Visit

HOME, FILE = "/content/draft", "/content/draft/file"


def page(visit: Visit) -> Response:
    """The draft that is open, or the button that begins one."""
    return _shown(visit)


def start(visit: Visit) -> Response:
    """Begin a draft from what is live."""
    try:
        drafting.start(visit.app.engine, live(visit), visit.who, visit.now)
    except DraftFault as fault:
        return _shown(visit, 409, str(fault))
    return visit.goto(HOME, said="begun")


def file(visit: Visit) -> Response:
    """One file of the draft beside the live one; without a name, the draft."""
    draft, name = drafting.current(visit.app.engine), visit.field("name")
    if draft is None or not name:
        return _shown(visit)
    return _file(visit, draft, name)


def save(visit: Visit) -> Response:
    """Store the text of a file; with `then` = check, check the whole draft."""
    name, text = visit.field("name"), raw(visit, "text")
    try:
        changed = drafting.save(
            visit.app.engine, name, text, visit.field("seen"), visit.who, visit.now
        )
    except DraftFault as fault:
        draft = drafting.current(visit.app.engine)
        if draft is None:
            return _shown(visit, 409, str(fault))
        return _file(visit, draft, name, 409, refused=str(fault), typed=text)
    draft = drafting.current(visit.app.engine)
    if visit.field("then") == "check" and draft is not None:
        return _file(visit, draft, name, faults=_faults(visit, draft))
    return visit.goto(FILE, name=name, said="saved" if changed else "same")


def check(visit: Visit) -> Response:
    """Every fault of the draft; nothing is changed."""
    draft = drafting.current(visit.app.engine)
    return _shown(visit, faults=_faults(visit, draft) if draft else None)


def touched(visit: Visit) -> Response:
    """Every patient who would get other messages; nothing is changed."""
    draft = drafting.current(visit.app.engine)
    if draft is None:
        return _shown(visit)
    try:
        found = visit.app.touched(drafting.content_of(draft))
    except ContentFaults as wrong:
        return _shown(visit, 422, _UNFIT, faults=wrong.faults)
    visit.saw(None, "previewed content", patients=[one.patient for one in found])
    return _shown(visit, found=found)


def renew(visit: Visit) -> Response:
    """Take in what went live since the draft was begun."""
    try:
        both = drafting.renew(visit.app.engine, live(visit), visit.who, visit.now)
    except DraftFault as fault:
        return _shown(visit, 409, str(fault))
    return visit.goto(HOME, said="renewed", both=", ".join(both))


def put_away(visit: Visit) -> Response:
    """End the draft without publishing it."""
    try:
        drafting.put_away(visit.app.engine, visit.who, visit.now)
    except DraftFault as fault:
        return _shown(visit, 409, str(fault))
    return visit.goto(HOME, said="away")


def publish(visit: Visit) -> Response:
    """Let the draft go live, unless it has faults or something changed since it was looked at."""
    note = visit.field("note")
    if not note:
        return _shown(visit, 422, "Say what changes and why, for the log. Nothing was changed.")
    try:
        drafting.publish_draft(
            visit.app.engine,
            live(visit),
            visit.field("seen"),
            lambda new: visit.app.publish(new, visit.who, note),
            visit.who,
            visit.now,
        )
    except ContentFaults as wrong:
        return _shown(visit, 422, _UNFIT, faults=wrong.faults)
    except (DraftFault, PublishFault) as fault:
        return _shown(visit, 409, str(fault))
    return visit.goto("/content", said="published")


_UNFIT = "The draft has faults, so it cannot go live. Nothing was changed: mend these first."


def live(visit: Visit) -> Snapshot:
    """What patients get now."""
    return drafting.live_content(visit.app.engine, snapshot(visit.app.flows))


def _faults(visit: Visit, draft: Draft) -> tuple[Fault, ...]:
    return faults_of(drafting.content_of(draft), visit.now.date())


def _shown(
    visit: Visit,
    status: int = 200,
    refused: str = "",
    faults: tuple[Fault, ...] | None = None,
    found: tuple[Touched, ...] | None = None,
) -> Response:
    draft, now_live = drafting.current(visit.app.engine), live(visit)
    changed = changed_names(draft, now_live)
    return visit.page(
        "draft.html",
        status,
        draft=draft,
        content=drafting.content_of(draft) if draft else None,
        old=draft is not None and draft.base != now_live.revision,
        changed=changed,
        everyone=for_everyone(changed),
        kinds=by_kind(draft.files) if draft else (),
        log=drafting.log(visit.app.engine),
        faults=None if faults is None else shown_faults(faults, draft.files if draft else {}),
        found=found,
        zone=choices(visit.app.practice).zone,
        refused=refused,
        said=visit.field("said"),
        both=visit.field("both"),
    )


def _file(
    visit: Visit,
    draft: Draft,
    name: str,
    status: int = 200,
    *,
    refused: str = "",
    typed: str | None = None,
    faults: tuple[Fault, ...] | None = None,
) -> Response:
    if name not in draft.files:
        raise LookupError(f"No file {name} in the draft.")
    shown = sides(draft, live(visit), name)
    text = shown["draft"] if typed is None else typed
    return visit.page(
        "draft_file.html",
        status,
        shown=shown,
        text=text,
        changes=tuple(line_changes(shown["live"], text)),
        faults=None if faults is None else shown_faults(faults, draft.files),
        refused=refused,
        said=visit.field("said") if status == 200 else "",
    )
