"""Where the boxes of a state diagram stand: columns from left to right, few crossings.

The method is the layered drawing of directed graphs (Sugiyama, Tagawa and Toda 1981, from memory):
take out what leads back, put every box one column beyond the boxes before it, let long arrows keep
a lane of their own in the columns they pass, and order each column by the mean of its neighbours.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

GAP_X, GAP_Y, LANE = 70.0, 22.0, 14.0
SWEEPS = 6
Arrow = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Placed:
    """Left upper corners of the boxes, and for each arrow the lanes that it runs through."""

    corners: Mapping[str, tuple[float, float]]
    lanes: Mapping[Arrow, tuple[tuple[float, float], ...]]
    width: float
    height: float


@dataclass(slots=True)
class _Grid:
    """Columns of names; a lane is named by its arrow and column."""

    columns: list[list[str]]
    before: dict[str, list[str]] = field(default_factory=dict)
    after: dict[str, list[str]] = field(default_factory=dict)

    def join(self, source: str, target: str) -> None:
        self.after.setdefault(source, []).append(target)
        self.before.setdefault(target, []).append(source)


def leads_back(start: str, arrows: Iterable[Arrow]) -> set[Arrow]:
    """The arrows that return to a state still on the way to them."""
    onward: dict[str, list[str]] = {}
    for source, target in arrows:
        onward.setdefault(source, []).append(target)
    back: set[Arrow] = set()
    done: set[str] = set()

    def walk(name: str, way: tuple[str, ...]) -> None:
        for target in onward.get(name, ()):
            if target in (*way, name):
                back.add((name, target))
            elif target not in done:
                walk(target, (*way, name))
        done.add(name)

    walk(start, ())
    return back


def place(start: str, sizes: Mapping[str, tuple[float, float]], arrows: list[Arrow]) -> Placed:
    """Positions for boxes of the given (width, height); arrows must not lead back."""
    column = _columns(start, sizes, arrows)
    grid = _grid(column, arrows)
    for sweep in range(SWEEPS):
        _sort(grid, grid.before if sweep % 2 == 0 else grid.after, reverse=sweep % 2 == 1)
    return _positions(grid, sizes, arrows, column)


def _columns(
    start: str, sizes: Mapping[str, tuple[float, float]], arrows: list[Arrow]
) -> dict[str, int]:
    """The longest way from the start to each box, in arrows."""
    column = dict.fromkeys(sizes, 0)
    column[start] = 0
    for _ in sizes:
        for source, target in arrows:
            column[target] = max(column[target], column[source] + 1)
    return column


def _lane(arrow: Arrow, column: int) -> str:
    return f"{arrow[0]}>{arrow[1]}@{column}"


def _grid(column: Mapping[str, int], arrows: list[Arrow]) -> _Grid:
    grid = _Grid([[] for _ in range(max(column.values()) + 1)])
    for name, at in column.items():
        grid.columns[at].append(name)
    for arrow in arrows:
        source, target = arrow
        last = source
        for at in range(column[source] + 1, column[target]):
            lane = _lane(arrow, at)
            grid.columns[at].append(lane)
            grid.join(last, lane)
            last = lane
        grid.join(last, target)
    return grid


def _sort(grid: _Grid, near: Mapping[str, list[str]], *, reverse: bool) -> None:
    """Order every column by the mean place of each box's neighbours in the column beside it."""
    at = {name: float(n) for names in grid.columns for n, name in enumerate(names)}
    for names in reversed(grid.columns) if reverse else grid.columns:

        def mean(name: str) -> float:
            others = near.get(name)
            return sum(at[other] for other in others) / len(others) if others else at[name]

        names.sort(key=mean)
        at.update((name, float(n)) for n, name in enumerate(names))


def _positions(
    grid: _Grid,
    sizes: Mapping[str, tuple[float, float]],
    arrows: list[Arrow],
    column: Mapping[str, int],
) -> Placed:
    tall = {name: sizes.get(name, (0.0, LANE))[1] for names in grid.columns for name in names}
    top = _tops(grid, tall)
    lefts, x = [], GAP_Y
    for names in grid.columns:
        lefts.append(x)
        x += max(sizes.get(name, (0.0, 0.0))[0] for name in names) + GAP_X
    corners = {name: (lefts[column[name]], top[name]) for name in sizes}
    width = max(sizes[name][0] for name in sizes)
    lanes = {arrow: tuple(_through(arrow, column, lefts, top, width)) for arrow in arrows}
    return Placed(
        corners, lanes, x - GAP_X + GAP_Y, max(top[name] + tall[name] for name in top) + GAP_Y
    )


def _through(
    arrow: Arrow,
    column: Mapping[str, int],
    lefts: list[float],
    top: Mapping[str, float],
    width: float,
) -> Iterable[tuple[float, float]]:
    for at in range(column[arrow[0]] + 1, column[arrow[1]]):
        y = top[_lane(arrow, at)] + LANE / 2
        yield lefts[at], y
        yield lefts[at] + width, y


def _tops(grid: _Grid, tall: Mapping[str, float]) -> dict[str, float]:
    """Each box as near to the middle of the boxes before it as its column allows."""
    top: dict[str, float] = {}
    for names in grid.columns:
        floor = 0.0
        for name in names:
            middles = [top[b] + tall[b] / 2 for b in grid.before.get(name, ()) if b in top]
            wished = sum(middles) / len(middles) - tall[name] / 2 if middles else floor
            top[name] = max(floor, wished)
            floor = top[name] + tall[name] + GAP_Y
    return top
