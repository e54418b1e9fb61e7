"""Draws the report's charts. The same figures give the same picture, drawn once.

Matplotlib writes SVG with style attributes, which our content policy refuses; they are rewritten
as the presentation attributes that mean the same.
"""

import io
import re
from collections.abc import Callable
from functools import lru_cache

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from bot.service.views_report import Completion, Count, Times

INK, SOFT = "#1b2326", "#4d585c"
FILLS = ("#1d5c35", "#9fb6a8", "#9c1f16", "#dfe3e0")  # done, not needed, not done, no record
HATCHES = ("", "..", "//", "")  # told apart without colour
_STYLE = re.compile(r'\sstyle="([^"]*)"')
_SETTINGS = {
    "svg.fonttype": "path",  # the reader's machine needs no font of ours
    "svg.hashsalt": "countdown",
    "font.family": "DejaVu Sans",
    "font.size": 11,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": SOFT,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.8,
}


def _drawn(width: float, height: float, draw: Callable[[Axes], None]) -> str:
    with rc_context(_SETTINGS):  # type: ignore[arg-type]  # its stubs list every setting by name
        figure = Figure(figsize=(width, height), layout="constrained", facecolor="white")
        axes = figure.add_subplot()
        draw(axes)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        written = io.StringIO()
        canvas = FigureCanvasSVG(figure)
        canvas.print_svg(written, metadata={"Date": None, "Creator": None})  # type: ignore[no-untyped-call]
    return without_styles(written.getvalue())


def without_styles(svg: str) -> str:
    """The same picture without anything inline that a strict content policy refuses."""
    svg = re.sub(r"<style[^>]*>.*?</style>", "", svg, flags=re.DOTALL)
    svg = svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)
    return _STYLE.sub(lambda found: " " + _attributes(found[1]), svg)


def _attributes(style: str) -> str:
    pairs = (part.split(":", 1) for part in style.split(";") if ":" in part)
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, value in pairs)


@lru_cache(maxsize=32)
def completion(rows: tuple[Completion, ...]) -> str:
    """Stacked bars: of each item how many did it, need not, did not, or have nothing on record."""

    def draw(axes: Axes) -> None:
        names = [row.title for row in rows]
        left = [0] * len(rows)
        parts = ("done", "not_needed", "not_done", "none")
        labels = ("Done", "Not needed", "Said not done", "No answer")
        for part, label, fill, hatch in zip(parts, labels, FILLS, HATCHES, strict=True):
            widths = [getattr(row, part) for row in rows]
            axes.barh(
                names, widths, left=left, label=label, color=fill, hatch=hatch, edgecolor="white",
                linewidth=0.8,
            )  # fmt: skip
            left = [a + b for a, b in zip(left, widths, strict=True)]
        axes.invert_yaxis()
        axes.set_xlabel("Patients whose day of surgery has come")
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.legend(
            loc="upper center",
            bbox_to_anchor=(0.3, -0.06 - 0.5 / max(len(rows), 1)),
            ncols=4,
            frameon=False,
        )

    return _drawn(10, 1.4 + 0.28 * max(len(rows), 1), draw)


@lru_cache(maxsize=32)
def counts(rows: tuple[Count, ...], axis: str) -> str:
    """Plain bars with their numbers."""

    def draw(axes: Axes) -> None:
        bars = axes.barh([r.label for r in rows], [r.number for r in rows], color="#1f5460")
        axes.bar_label(bars, padding=4)
        axes.invert_yaxis()
        axes.margins(x=0.1)
        axes.set_xlabel(axis)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))

    return _drawn(8, 0.9 + 0.42 * max(len(rows), 1), draw)


@lru_cache(maxsize=32)
def times(rows: tuple[Times, ...]) -> str:
    """Median minutes from the report to being taken, reached and closed, for each gravity."""

    def draw(axes: Axes) -> None:
        steps = ("taken", "reached", "closed")
        labels = ("Taken by a nurse", "Patient reached", "Closed")
        for place, (step, label) in enumerate(zip(steps, labels, strict=True)):
            values = [getattr(row, step)[1] or 0.0 for row in rows]
            at = [y + (place - 1) * 0.26 for y in range(len(rows))]
            fill = ("#1f5460", "#7fa3ac", "#c9d6d9")[place]
            bars = axes.barh(
                at, values, 0.24, label=label, color=fill, hatch=("", "//", "..")[place],
                edgecolor="white", linewidth=0.8,
            )  # fmt: skip
            axes.bar_label(bars, [f"{v:.0f}" if v else "none yet" for v in values], padding=3)
        axes.set_yticks(range(len(rows)), [row.severity.capitalize() for row in rows])
        axes.invert_yaxis()
        axes.margins(x=0.12)
        axes.set_xlabel("Median minutes from the report (of those that got so far)")
        if rows:
            axes.legend(loc="lower right", frameon=False)

    return _drawn(8, 1.1 + 0.95 * max(len(rows), 1), draw)
