"""The few shapes that the pictures are made of, as SVG 1.1 text."""

from collections.abc import Iterable
from html import escape
from textwrap import wrap

FONT = "font-family='DejaVu Sans, Verdana, Arial, sans-serif'"
INK, QUIET, ALARM, PAPER = "#1b2733", "#5b6875", "#a3121d", "#ffffff"


def page(width: float, height: float, title: str, shapes: Iterable[str], paper: str = PAPER) -> str:
    """A whole picture on paper, white if not told; `title` is what a screen reader says of it."""
    head = (
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{width:.0f}' height='{height:.0f}' "
        f"viewBox='0 0 {width:.0f} {height:.0f}' role='img' {FONT}>"
    )
    ground = f"<rect width='100%' height='100%' fill='{paper}'/>"
    return "\n".join((head, f"<title>{escape(title)}</title>", ground, *shapes, "</svg>", ""))


def box(
    x: float, y: float, width: float, height: float, fill: str, edge: str = INK, round_by: int = 6
) -> str:
    """A rectangle with rounded corners."""
    return (
        f"<rect x='{x:.1f}' y='{y:.1f}' width='{width:.1f}' height='{height:.1f}' "
        f"rx='{round_by}' fill='{fill}' stroke='{edge}'/>"
    )


def words(
    x: float, y: float, text: str, size: int = 11, ink: str = INK, *, bold: bool = False,
    anchor: str = "start",
) -> str:  # fmt: skip
    """One line of text; `y` is its base line."""
    weight = " font-weight='bold'" if bold else ""
    return (
        f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size}' fill='{ink}' "
        f"text-anchor='{anchor}'{weight}>{escape(text)}</text>"
    )


def curve(points: list[tuple[float, float]], ink: str = QUIET) -> str:
    """A smooth line from left to right through the points, with an arrow head at the last."""
    (x, y), *rest = points
    steps = [f"M{x:.1f},{y:.1f}"]
    for next_x, next_y in rest:
        bend = (next_x - x) / 2
        steps.append(
            f"C{x + bend:.1f},{y:.1f} {next_x - bend:.1f},{next_y:.1f} {next_x:.1f},{next_y:.1f}"
        )
        x, y = next_x, next_y
    head = f"<path d='M{x:.1f},{y:.1f}l-8,-4v8z' fill='{ink}'/>"
    return f"<path d='{' '.join(steps)}' fill='none' stroke='{ink}' stroke-width='1.4'/>{head}"


def rule(x: float, y: float, to_x: float, to_y: float, ink: str = "#d5dbe1") -> str:
    """A thin straight line."""
    return f"<path d='M{x:.1f},{y:.1f}L{to_x:.1f},{to_y:.1f}' stroke='{ink}'/>"


def folded(text: str, letters: int, most: int) -> list[str]:
    """The text in lines of at most `letters`; what is beyond `most` lines ends in three dots."""
    lines = wrap(text, letters) or [""]
    if len(lines) > most:
        return [*lines[: most - 1], lines[most - 1][: letters - 3] + "..."]
    return lines
