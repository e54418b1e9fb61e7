"""One conversation as a state diagram: what it says, what may be answered, where that leads."""

from collections.abc import Iterator
from dataclasses import dataclass

from bot.content.pictures import svg
from bot.content.pictures.layout import Placed, leads_back, place
from bot.core.flow import Flow, Reply, Silence, State
from bot.core.protocol import FactTest

WIDTH, LINE, LETTERS = 300.0, 15.0, 44
HEAD, FOOT, LEGEND = 24.0, 8.0, 62.0
QUESTION, PASSING, END = "#e3eefb", "#f4f4f2", "#e2f3e4"


@dataclass(frozen=True, slots=True)
class Row:
    """One line in a box. `to` is the state that it leads to."""

    text: str
    to: str | None = None
    ink: str = svg.INK


def state_diagram(flow: Flow) -> str:
    """The conversation as SVG: boxes from left to right in the order of the talk."""
    rows = {name: list(_rows(flow, state)) for name, state in flow.states.items()}
    arrows = [(name, row.to) for name, found in rows.items() for row in found if row.to]
    back = leads_back(flow.start, arrows)
    forward = [arrow for arrow in dict.fromkeys(arrows) if arrow not in back]
    sizes = {name: (WIDTH, HEAD + FOOT + LINE * len(found)) for name, found in rows.items()}
    placed = place(flow.start, sizes, forward)
    shapes = [svg.words(20, 30, f"{flow.title} ({flow.name})", 17, bold=True), *_legend()]
    for name, found in rows.items():
        shapes += _arrows(name, found, placed)
    for name, found in rows.items():
        shapes += _card(flow.states[name], found, placed.corners[name], back)
    return svg.page(max(placed.width, 760), placed.height + LEGEND, flow.title, shapes)


def _legend() -> Iterator[str]:
    x = 20.0
    for fill, text in (
        (QUESTION, "a question: waits for a reply"),
        (PASSING, "passes on by itself"),
        (END, "the end of the talk"),
    ):
        yield svg.box(x, 42, 12, 12, fill, round_by=2)
        yield svg.words(x + 17, 52, text, 11, svg.QUIET)
        x += 28 + 6.6 * len(text)
    yield svg.words(x, 52, "an alarm, STOP or HELP is heard in every state", 11, svg.ALARM)


def _rows(flow: Flow, state: State) -> Iterator[Row]:
    if state.say:
        text = flow.wording.get(state.say, {}).get("en", "")
        for line in svg.folded(f'"{text}"', LETTERS, 4):
            yield Row(line, ink=svg.QUIET)
    yield from _replies(flow, state)
    for tests, target in state.branch:
        condition = " and ".join(said(test) for test in tests)
        yield Row(f"if {condition}" if condition else "for all others", target)
    if state.silence:
        for line in svg.folded(_silence(state.silence), LETTERS, 3):
            yield Row(line, ink=svg.ALARM if state.silence.escalate else svg.INK)
    yield from _on_entering(state)


def _on_entering(state: State) -> Iterator[Row]:
    for item, value in state.record:
        yield Row(f"notes {item}: {value}")
    for name, minutes in state.starts:
        yield Row(f"opens {name} after {span(minutes)}" if minutes else f"opens {name}")
    if state.escalate:
        yield Row(f"tells a nurse: {state.escalate}", ink=svg.ALARM)
    if state.go:
        yield Row("then", state.go)
    if state.end:
        yield Row(f"end: {state.end}")


def _replies(flow: Flow, state: State) -> Iterator[Row]:
    """One row for each different thing that follows, with all the replies that lead to it."""
    grouped: dict[tuple[str | None, int, str | None], list[str]] = {}
    for key, reply in state.replies.items():
        grouped.setdefault((reply.go, reply.wait_minutes, reply.escalate), []).append(key)
    for keys in grouped.values():
        text = " / ".join(_offered(flow, state, key) for key in keys)
        reply = state.replies[keys[0]]
        for line in svg.folded(text + _besides(reply), LETTERS - 2, 2)[:-1]:
            yield Row(line)
        yield Row(svg.folded(text + _besides(reply), LETTERS - 2, 2)[-1], reply.go)


def _offered(flow: Flow, state: State, key: str) -> str:
    if key in state.choices:
        return f"{state.choices.index(key) + 1} {flow.labels.get(key, {}).get('en', key)}"
    return "any other words" if key == "any" else f"({key.replace('_', ' ')})"


def _besides(reply: Reply) -> str:
    wait = f": asks again in {span(reply.wait_minutes)}" if reply.wait_minutes else ""
    nurse = f": tells a nurse ({reply.escalate})" if reply.escalate else ""
    stays = ": stays open" if reply.go is None and not reply.wait_minutes else ""
    return wait + nurse + stays


def _silence(silence: Silence) -> str:
    steps = [f"no reply: again after {span(silence.nudge_after)}"]
    if silence.nudges == 0:
        steps = [f"no reply: {span(silence.nudge_after)}"]
    elif silence.nudges > 1:
        steps[0] += f" ({silence.nudges} times)"
    if silence.coach_after is not None:
        steps.append(f"the coach after {span(silence.coach_after)}")
    if silence.nurse_after is not None:
        steps.append(f"a nurse after {span(silence.nurse_after)}")
    return ", ".join(steps) + (f" ({silence.escalate})" if silence.escalate else ", then it ends")


def span(minutes: int) -> str:
    """A length of time in the largest unit that it fills."""
    for unit, size in (("d", 1440), ("h", 60)):
        if minutes and minutes % size == 0:
            return f"{minutes // size} {unit}"
    return f"{minutes} min"


def said(test: FactTest) -> str:
    """A condition in words."""
    name = test.fact.replace("_", " ")
    if test.at_least is not None or test.below is not None:
        low = f" {test.at_least} or more" if test.at_least is not None else ""
        high = f" below {test.below}" if test.below is not None else ""
        return name + low + high
    if test.values in ((True,), (False,)):
        return name if test.values[0] else f"not {name}"
    return f"{name} is {' or '.join(map(str, test.values))}"


def _row_y(top: float, place_in_box: int) -> float:
    return top + LEGEND + HEAD + LINE * place_in_box + LINE - 4


def _arrows(name: str, rows: list[Row], placed: Placed) -> Iterator[str]:
    left, top = placed.corners[name]
    for number, row in enumerate(rows):
        lanes = placed.lanes.get((name, row.to or ""))
        if row.to is None or lanes is None:
            continue
        to_x, to_y = placed.corners[row.to]
        points = [(left + WIDTH, _row_y(top, number) - 4)]
        points += [(x, y + LEGEND) for x, y in lanes]
        yield svg.curve([*points, (to_x, to_y + LEGEND + HEAD / 2)])


def _card(
    state: State, rows: list[Row], corner: tuple[float, float], back: set[tuple[str, str]]
) -> Iterator[str]:
    left, top = corner[0], corner[1] + LEGEND
    fill = QUESTION if state.asked else END if state.end else PASSING
    yield svg.box(left, top, WIDTH, HEAD + FOOT + LINE * len(rows), fill)
    yield svg.words(left + 10, top + 17, state.id.replace("_", " "), 13, bold=True)
    if state.asked:
        kind = state.asked.value.replace("_", " ")
        yield svg.words(left + WIDTH - 10, top + 17, kind, 10, svg.QUIET, anchor="end")
    for number, row in enumerate(rows):
        y = _row_y(corner[1], number)
        yield svg.words(left + 10, y, row.text, 11, row.ink)
        if row.to and (state.id, row.to) in back:
            text = f"back to {row.to.replace('_', ' ')}"
            yield svg.words(left + WIDTH - 6, y, text, 10, "#0b5cad", bold=True, anchor="end")
        elif row.to:
            yield f"<circle cx='{left + WIDTH:.1f}' cy='{y - 4:.1f}' r='3' fill='{svg.QUIET}'/>"
