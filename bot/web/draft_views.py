"""What the pages of a draft show: its files by kind, its faults with their lines."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bot.content.faults import Fault
from bot.content.snapshot import Snapshot
from bot.service.drafting import changed_in, mark_of
from bot.store.drafts import Draft
from bot.web.visit import Visit

KINDS = (  # the beginning of a path, and what stands there
    ("talks/", "Conversations"),
    ("protocol/", "When each is sent"),
    ("rules/", "Rules of the hospital and its surgeons"),
    ("answers", "Questions and answers"),
    ("lexicon/", "Words by which replies are understood"),
    ("", "Everything else"),
)


@dataclass(frozen=True, slots=True)
class ShownFault:
    """A fault with the line that it is about. `name` is "" where it is in no file of the draft."""

    code: str
    place: str
    name: str
    line: int
    text: str
    what: str
    mend: str


def shown_faults(faults: Iterable[Fault], files: Mapping[str, str]) -> tuple[ShownFault, ...]:
    """The faults as an educator reads them: the file by its name, the line with its text."""
    return tuple(_shown(fault, files) for fault in faults)


def _shown(fault: Fault, files: Mapping[str, str]) -> ShownFault:
    place = fault.file.rsplit("flows/", 1)[-1]
    name = place if place in files else ""
    lines = files.get(place, "").splitlines()
    text = lines[fault.line - 1].strip() if 0 < fault.line <= len(lines) else ""
    return ShownFault(fault.code, place, name, fault.line, text, fault.what, fault.mend)


def by_kind(files: Iterable[str]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The files under the headings of KINDS, each once."""
    groups: dict[str, list[str]] = {title: [] for _, title in KINDS}
    for name in sorted(files):
        groups[next(title for start, title in KINDS if name.startswith(start))].append(name)
    return tuple((title, tuple(names)) for title, names in groups.items() if names)


def sides(draft: Draft, live: Snapshot, name: str) -> dict[str, str]:
    """One file as it is live and in the draft."""
    text = draft.files[name]
    return {"name": name, "live": live.files.get(name, ""), "draft": text, "mark": mark_of(text)}


def changed_names(draft: Draft | None, live: Snapshot) -> tuple[str, ...]:
    """The files that differ from what is live."""
    return changed_in(draft, live) if draft else ()


def for_everyone(names: Iterable[str]) -> tuple[str, ...]:
    """Changed files that work in every chat and so in no list of patients."""
    return tuple(n for n in names if not n.startswith(("talks/", "protocol/", "rules/", "sources")))


def raw(visit: Visit, name: str) -> str:
    """A field of the form with every space as it was typed."""
    value = visit.form.get(name, "")
    return value if isinstance(value, str) else ""
