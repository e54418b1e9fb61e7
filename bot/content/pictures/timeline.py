"""The whole protocol as a timeline: a row for each prompt, by anchor, with its day and window."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bot.content.pictures import svg
from bot.content.pictures.states import said, span
from bot.core.protocol import Anchor, Priority, Prompt, Protocol, Rules

ROW, DAY, NAMES, TOP, NOTES = 18.0, 27.0, 250.0, 92.0, 340.0
FIRST, LAST = -33, 1  # days to surgery that have a column
INKS = {Priority.SAFETY: "#a3121d", Priority.TIME_CRITICAL: "#b25c00", Priority.TEACHING: "#2d6aa3"}
TEXTS = {
    Priority.SAFETY: "safety: asked first",
    Priority.TIME_CRITICAL: "time-critical: asked second",
    Priority.TEACHING: "teaching: asked last",
}
BANDS: Mapping[Anchor, str] = {
    Anchor.ENROLMENT: "From enrolment (elapsed time; drawn as if it were at the left edge)",
    Anchor.SURGERY_DATE: "Days before surgery (local clock time)",
    Anchor.WASH_DAY: "Each wash day of the practice (here: the hospital's own)",
    Anchor.LAST_DOSE: "Each medicine that a prescriber stops: days from its last dose",
    Anchor.LAST_FOOD: "Before the end of food (elapsed time)",
    Anchor.LAST_DRINK: "Before the end of drinks (elapsed time)",
    Anchor.ARRIVAL: "Before the arrival (elapsed time)",
    Anchor.START: "Before the start (elapsed time)",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One prompt on the timeline. No `days`: its day is not counted from the surgery."""

    prompt: Prompt
    label: str
    days: tuple[int, ...]
    order: tuple[int, str]


def timeline(protocol: Protocol, rules: Rules) -> str:
    """The protocol as SVG, in the order of the days."""
    width = NAMES + DAY * (LAST - FIRST + 1) + NOTES
    lines = [_line(prompt, rules) for prompt in protocol.prompts]
    shapes: list[str] = []
    y = TOP
    for anchor, title in BANDS.items():
        band = sorted((li for li in lines if li.prompt.when.anchor == anchor), key=_order)
        if band:
            y += ROW * 1.5
            shapes.append(svg.words(12, y - 5, title, 12, bold=True))
            shapes.append(svg.rule(12, y, width - 12, y, svg.QUIET))
        for line in band:
            shapes += _drawn(line, y)
            y += ROW
    head = list(_head(protocol, y))
    return svg.page(width, y + 20, protocol.title, [*head, *shapes])


def _order(line: Line) -> tuple[int, str]:
    return line.order


def _line(prompt: Prompt, rules: Rules) -> Line:
    when = prompt.when
    at = f"{when.at:%H:%M}" if when.at else ""
    if when.anchor is Anchor.SURGERY_DATE and when.first_day is not None:
        days = tuple(range(when.first_day, (when.last_day or 0) + 1))
        return Line(prompt, f"{at} daily", days, (days[0], at))
    if when.anchor is Anchor.SURGERY_DATE:
        return Line(prompt, at, (when.days,), (when.days, at))
    if when.anchor is Anchor.WASH_DAY:
        low, high = _span_of_washes(prompt)
        days = tuple(d + when.days for d in sorted(rules.wash_days) if low <= d <= high)
        label = at or f"{span(-when.minutes)} before"
        return Line(prompt, label, days, (days[0] if days else LAST, at))
    if when.anchor is Anchor.LAST_DOSE:
        return Line(prompt, f"{at} on day {when.days:+d}", (), (when.days, at))
    return _instant(prompt)


def _span_of_washes(prompt: Prompt) -> tuple[int, int]:
    when = prompt.when
    low = -99 if when.first_day is None else when.first_day
    return low, 0 if when.last_day is None else when.last_day


def _instant(prompt: Prompt) -> Line:
    minutes, anchor = prompt.when.minutes, prompt.when.anchor
    if anchor is Anchor.ENROLMENT:
        days = FIRST + minutes // 1440
        return Line(prompt, f"after {span(minutes)}", (days,), (days, f"{minutes:06}"))
    return Line(prompt, f"{span(-minutes)} before", (0,), (0, f"{minutes + 9999:06}"))


def _x(day: int) -> float:
    return NAMES + DAY * (day - FIRST)


def _head(protocol: Protocol, bottom: float) -> Iterator[str]:
    yield svg.words(12, 28, f"{protocol.title} ({protocol.name})", 17, bold=True)
    x = 12.0
    for priority, text in TEXTS.items():
        yield f"<circle cx='{x + 5:.1f}' cy='46' r='5' fill='{INKS[priority]}'/>"
        yield svg.words(x + 15, 50, text, 11, svg.QUIET)
        x += 40 + 6.6 * len(text)
    yield svg.words(x, 50, "bar: how long it still helps;  ring: for the coach", 11, svg.QUIET)
    for day in range(FIRST, LAST + 1):
        middle = _x(day) + DAY / 2
        text = "0" if day == 0 else f"{day:+d}"
        yield svg.words(middle, TOP - 12, text, 10, svg.INK, bold=day == 0, anchor="middle")
        if day == 0:
            yield f"<rect x='{_x(0):.1f}' y='{TOP - 4:.1f}' width='{DAY}' height='{bottom - TOP:.1f}' fill='#fdf0d5'/>"  # noqa: E501
        yield svg.rule(_x(day), TOP - 4, _x(day), bottom)
    yield svg.words(12, TOP - 12, "days to surgery (0: the day itself)", 10, svg.QUIET)


def _drawn(line: Line, y: float) -> Iterator[str]:
    prompt, ink = line.prompt, INKS[line.prompt.priority]
    yield svg.words(12, y + 13, line.label, 10, svg.QUIET)
    yield svg.words(118, y + 13, prompt.id.replace("_", " "), 11, bold=True)
    for day in line.days:
        left = _x(day) + DAY / 2
        long = min(prompt.window_minutes / 1440 * DAY, _x(LAST + 1) - left)
        if len(line.days) == 1 and long > 4:
            yield f"<rect x='{left:.1f}' y='{y + 7:.1f}' width='{long:.1f}' height='4' fill='{ink}' opacity='0.3'/>"  # noqa: E501
        fill = svg.PAPER if prompt.to == "coach" else ink
        yield f"<circle cx='{left:.1f}' cy='{y + 9:.1f}' r='5' fill='{fill}' stroke='{ink}' stroke-width='2'/>"  # noqa: E501
    yield svg.words(_x(LAST + 1) + 10, y + 13, _note(prompt), 10, svg.QUIET)


def _note(prompt: Prompt) -> str:
    parts = [f"to the {prompt.to}" if prompt.to != "patient" else ""]
    parts += [said(test) for test in prompt.only_if]
    parts += [f"not if {said(test)}" for test in prompt.not_if]
    parts.append(f"helps for {span(prompt.window_minutes)}")
    parts.append("may go out at dawn" if prompt.time_critical else "")
    return ", ".join(part for part in parts if part)
