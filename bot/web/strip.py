"""Draws one patient's countdown as a strip across the weeks, up to the day after surgery."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from html import escape
from zoneinfo import ZoneInfo

from bot.content.pictures import svg
from bot.core.readiness import Sign
from bot.service.chart import Chart
from bot.service.views_patient import Planned

NAMES, STEP, TOP, LEAST_DAYS, ROOM = 118.0, 19.0, 58.0, 14, 1080.0
LANES: tuple[tuple[str, Callable[[Planned], bool]], ...] = (  # what is drawn in which row
    ("Safety", lambda p: p.dated.to == "patient" and p.dated.priority == "safety"),
    ("Washes, fasting", lambda p: p.dated.to == "patient" and p.dated.priority == "time_critical"),
    (
        "Tasks, teaching",
        lambda p: p.dated.to in ("patient", "nurse") and p.dated.priority == "teaching",
    ),
    ("Coach", lambda p: p.dated.to == "coach"),
)
# The page's own colours, light or dark: the strip stands in the page, not in a file of its own.
GOOD, INFO, BAD, FAINT = "var(--good)", "var(--info)", "var(--bad)", "var(--edge)"
INK, QUIET, LINE = "var(--ink)", "var(--soft)", "var(--line)"
PAPER, MARKED = "var(--card)", "var(--warn-wash)"


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where a day stands: `width` is that of one day."""

    first: date
    width: float

    def left(self, on: date) -> float:
        return NAMES + self.width * (on - self.first).days

    def middle(self, on: date) -> float:
        return self.left(on) + self.width / 2


def strip(chart: Chart, countdown: Sequence[Planned], now: datetime) -> str:
    """The strip as SVG for the page itself: a column for each day, a sign for each message."""
    surgery = chart.operation.surgery
    zone = ZoneInfo(surgery.zone)
    began = chart.patient.enrolled_at  # what was missed before it stands on this day
    days = [max(one.dated.due, began).astimezone(zone).date() for one in countdown]
    first = min([*days, surgery.on - timedelta(days=LEAST_DAYS)])
    last = max([*days, surgery.on + timedelta(days=1)])
    width = max(20.0, ROOM / ((last - first).days + 1))

    scale = _Scale(first, width)
    lanes, bottom = _lanes(countdown, days, scale)
    today = now.astimezone(zone).date()
    shapes = [
        *_grid(scale, last, bottom, surgery.on),
        *lanes,
        *(_today(scale.middle(today), bottom) if first <= today <= last else ()),
        *_legend(bottom),
    ]
    title = f"Countdown of {chart.patient.name} to {surgery.on:%d %b %Y}"
    return svg.page(scale.left(last) + width + 12, bottom + 44, title, shapes, PAPER)


def _lanes(
    countdown: Sequence[Planned], days: Sequence[date], scale: _Scale
) -> tuple[list[str], float]:
    shapes: list[str] = []
    y = TOP
    for name, belongs in LANES:
        stacked: dict[date, int] = {}
        own = [(on, one) for on, one in zip(days, countdown, strict=True) if belongs(one)]
        if not own:
            continue
        for on, one in own:
            place = stacked.get(on, 0)
            stacked[on] = place + 1
            shapes += _sign(scale.middle(on), y + STEP * place + STEP / 2 + 3, one)
        shapes.append(svg.words(10, y + STEP / 2 + 7, name, 12, INK, bold=True))
        y += STEP * max(stacked.values()) + 8
        shapes.append(svg.rule(10, y, scale.left(max(days)) + 2 * scale.width, y, LINE))
        y += 2
    return shapes, y


def _sign(x: float, y: float, one: Planned) -> Iterator[str]:
    told = f"<title>{escape(one.title)}: {escape(one.mark.word)}</title>"
    match one.mark.sign:
        case Sign.DONE:
            yield f"<g>{told}<circle cx='{x:.1f}' cy='{y:.1f}' r='7.5' fill='{GOOD}'/>"
            yield f"<path d='M{x - 3.5:.1f},{y:.1f}l2.6,3l4.6,-6' stroke='{PAPER}' stroke-width='2' fill='none'/></g>"  # noqa: E501
        case Sign.WAITING:
            yield f"<g>{told}<circle cx='{x:.1f}' cy='{y:.1f}' r='6.5' fill='{PAPER}' stroke='{INFO}' stroke-width='2'/></g>"  # noqa: E501
        case Sign.LATE:
            yield f"<g>{told}<path d='M{x:.1f},{y - 8:.1f}l8.5,15h-17z' fill='{BAD}'/>"
            yield f"<path d='M{x:.1f},{y - 3:.1f}v5m0,2v2' stroke='{PAPER}' stroke-width='2'/></g>"
        case _:
            yield f"<g>{told}<path d='M{x - 5:.1f},{y:.1f}h10' stroke='{FAINT}' stroke-width='3'/></g>"  # noqa: E501


def _grid(scale: _Scale, last: date, bottom: float, surgery: date) -> Iterator[str]:
    left, width = scale.left(surgery), scale.width
    yield f"<rect x='{left:.1f}' y='22' width='{width:.1f}' height='{bottom - 22:.1f}' fill='{MARKED}'/>"  # noqa: E501
    yield svg.words(scale.middle(surgery), 16, "Surgery", 12, INK, bold=True, anchor="middle")
    on = scale.first
    while on <= last:
        if on.weekday() == 0:
            yield svg.rule(scale.left(on), 24, scale.left(on), bottom, LINE)
            yield svg.words(scale.left(on) + 3, 36, f"{on:%d %b}", 11, QUIET)
        days = (surgery - on).days
        if days % 7 == 0 or 0 <= days <= 3:
            number = f"{-days:+d}" if days else "0"
            yield svg.words(scale.middle(on), 52, number, 10, INK, anchor="middle")
        on += timedelta(days=1)
    yield svg.words(10, 36, "week of", 11, QUIET)
    yield svg.words(10, 52, "days to surgery", 10, QUIET)


def _today(x: float, bottom: float) -> Iterator[str]:
    yield f"<path d='M{x:.1f},22V{bottom:.1f}' stroke='{INK}' stroke-width='2' stroke-dasharray='4 3'/>"  # noqa: E501
    yield svg.words(x, 16, "Today", 12, INK, bold=True, anchor="middle")


def _legend(bottom: float) -> Iterator[str]:
    y = bottom + 26
    yield f"<circle cx='22' cy='{y:.1f}' r='7.5' fill='{GOOD}'/><path d='M18.5,{y:.1f}l2.6,3l4.6,-6' stroke='{PAPER}' stroke-width='2' fill='none'/>"  # noqa: E501
    yield svg.words(36, y + 4, "done or told", 12, INK)
    yield f"<circle cx='142' cy='{y:.1f}' r='6.5' fill='{PAPER}' stroke='{INFO}' stroke-width='2'/>"
    yield svg.words(156, y + 4, "waiting", 12, INK)
    yield f"<path d='M232,{y - 8:.1f}l8.5,15h-17z' fill='{BAD}'/>"
    yield f"<path d='M232,{y - 3:.1f}v5m0,2v2' stroke='{PAPER}' stroke-width='2'/>"
    yield svg.words(246, y + 4, "late", 12, INK)
    yield f"<path d='M298,{y:.1f}h10' stroke='{FAINT}' stroke-width='3'/>"
    yield svg.words(316, y + 4, "not needed", 12, INK)
