"""What a month came to, on one page: alarms, how long each step took, silence, new dates, rests."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from bot.core.escalation import Case, Step
from bot.play.month import Month
from bot.service import views

STEPS = {
    Step.NURSE_NOTIFIED: "a person told",
    Step.PATIENT_TOLD: "patient told what to do",
    Step.ACKNOWLEDGED: "taken",
    Step.PATIENT_REACHED: "patient reached",
    Step.DECIDED: "decided",
    Step.CLOSED: "closed",
}
GRAVITY = ("emergency", "urgent", "today", "routine")


@dataclass(frozen=True, slots=True)
class Rests:
    """What should be empty at the end of a month; each is counted on the record itself."""

    overdue_prompts: int  # due in the past and neither sent, nor skipped, nor with the nurse
    unsent: int  # messages that wait although nothing hinders them
    late_cases: int  # open cases past their time without anybody having been told in that time
    silent_chats: int  # open questions after which nothing would ever happen

    @property
    def nothing(self) -> bool:
        """True when there are none."""
        return not (self.overdue_prompts or self.unsent or self.late_cases or self.silent_chats)


def rests(month: Month) -> Rests:
    """Look through the record for what was left over."""
    engine, now = month.practice.engine, month.now
    seen = views.worklist(month.practice, now)
    charts = [views.chart(month.practice, patient) for patient in views.everyone(engine)]
    left = [p for c in charts for p in views.planned(month.practice, c.patient.id) if p.due < now]
    open_chats = [c for c in charts if c.conversation.open and not c.conversation.paused]
    return Rests(
        overdue_prompts=len(left),
        unsent=sum(line.state == "queued" for line in views.threads(engine)),
        late_cases=sum(
            1 for s in seen if s.deadline is None or s.deadline < now - timedelta(hours=1)
        ),
        silent_chats=sum(1 for _ in open_chats) if views.next_moment(engine) is None else 0,
    )


def page(month: Month, seconds: float) -> RenderableType:
    """The whole month."""
    cases = [s.case for s in views.worklist(month.practice, month.now, closed=True)]
    return Group(
        _head(month, cases, seconds),
        Text(),
        _alarms(cases),
        Text(),
        _steps(cases),
        Text(),
        *_people(month, cases),
        *_left(month, cases),
    )


def _head(month: Month, cases: Sequence[Case], seconds: float) -> Text:
    joined = sum(1 for p in month.people if p.coach_phone and p.coach_joins)
    spanish = sum(1 for p in month.people if p.wish.language == "es")
    text = Text(f"{month.start:%d %B %Y} to {month.end:%d %B %Y}: ", style="bold")
    text.append(
        f"{len(month.people)} invented patients, {spanish} in Spanish, {joined} with a coach\n"
    )
    text.append(f"{month.post.sent} messages out, {month.written} in, {len(cases)} escalations")
    text.append(f"  (played in {seconds:.0f} s)", style="dim")
    return text


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False)
    table.add_column(columns[0], no_wrap=True)
    for column in columns[1:]:
        table.add_column(column, justify="right")
    return table


def _alarms(cases: Iterable[Case]) -> Table:
    table = _table(
        "Escalations opened, by the reason that opened them", "reason", "number", "of it"
    )
    found = Counter((case.opened.severity, case.reasons[0]) for case in cases)
    by_gravity: dict[str, list[str]] = {}
    for (severity, reason), number in found.most_common():
        by_gravity.setdefault(severity, []).append(f"{reason.replace('_', ' ')} {number}")
    for severity in GRAVITY:
        if severity in by_gravity:
            total = sum(n for (s, _), n in found.items() if s == severity)
            table.add_row(severity, str(total), ", ".join(by_gravity[severity]))
    table.columns[2].justify = "left"
    return table


def _steps(cases: Sequence[Case]) -> Table:
    table = _table("Median time from opening to each step", "step", *GRAVITY)
    for step, name in STEPS.items():
        table.add_row(name, *(_median(cases, severity, step) for severity in GRAVITY))
    return table


def _median(cases: Iterable[Case], severity: str, step: Step) -> str:
    spans = []
    for case in cases:
        at = next((e.at for e in case.entries if e.step is step), None)
        if case.severity == severity and at is not None:
            spans.append((at - case.opened.at) / timedelta(minutes=1))
    if not spans:
        return "-"
    minutes = median(spans)
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h"


def _people(month: Month, cases: Sequence[Case]) -> list[Text]:
    names = {patient: person.wish.reference for person, patient in month.patients.values()}

    def who(reason: str) -> list[str]:
        found = {names[case.patient] for case in cases if reason in case.reasons}
        return sorted(found)

    first = {names[n]: p.wish.surgery.on for p, n in month.patients.values()}
    moved = []
    for person, patient in {n: (p, n) for p, n in month.patients.values()}.values():
        operation = views.chart(month.practice, patient).operation
        before, after = first[person.wish.reference], operation.surgery.on
        if after != before:
            moved.append(f"{person.wish.reference} {before:%d %b} to {after:%d %b}")
        elif operation.status == "postponed":
            moved.append(f"{person.wish.reference} {before:%d %b}, no new date yet")
    return [
        _listed("Fell silent", who("silent")),
        _listed("Stopped the messages", who("opt_out")),
        _listed("Wrong number", who("wrong_number")),
        _listed("Given another date", sorted(moved)),
    ]


def _listed(title: str, names: Sequence[str]) -> Text:
    text = Text(f"{title}: {len(names)}", style="bold")
    text.append(f"  {', '.join(names)}" if names else "", style="not bold")
    return text


def _left(month: Month, cases: Sequence[Case]) -> list[Text]:
    left = rests(month)
    still = [c for c in cases if not c.closed]
    told_late = sum(1 for c in cases if _rounds(c) > 1)
    lines = [
        Text(f"The next on call had to be told: {told_late} of {len(cases)} escalations"),
        Text(f"Open at the end, all within their time: {len(still)}"),
    ]
    verdict = "Nothing left over." if left.nothing else f"LEFT OVER: {left}"
    lines.append(Text(verdict, style="bold green" if left.nothing else "bold red"))
    return lines


def _rounds(case: Case) -> int:
    """How many people were told before somebody took the case."""
    told = 0
    for entry in case.entries:
        if entry.step is Step.ACKNOWLEDGED:
            break
        told += entry.step is Step.NURSE_NOTIFIED
    return told


def first_day() -> datetime:
    """The invented month's first instant, in UTC."""
    return datetime.fromisoformat("2027-03-01T14:00:00+00:00")
