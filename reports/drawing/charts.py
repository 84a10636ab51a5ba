"""Charts for paper: plain values in, SVG out. They use matplotlib's object interface, without shared state.

As received is grey and dashed, as left is solid. Lines also differ without colour, and every axis names its
unit. Text is drawn as outlines, so that the PDF needs no font for it.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings

from jobs.calc.units.numbers import format_number
from reports.typesetting.printing_lock import printing_lock

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

INK = "#1d2126"
QUIET = "#5f6872"
GRID = "#d9dde1"
ACCENT = "#0b5c6b"
BEFORE = "#7a828a"
RANGE = "#e4edef"
LEAN, RICH = "#b3541e", "#2c6690"  # two hues that stay apart for colour-blind readers
LINES = ["solid", "dashed", "dashdot", "dotted"]
WIDTH_IN = 6.9
BELOW_IN = 0.42
CHARACTER_IN = 0.062  # widest character of a tick label

Values = Sequence[float | None]


@dataclass(frozen=True)
class ChartLine:
    """One curve; ``low`` and ``high`` are its band, if it has one."""

    label: str
    x: Values
    y: Values
    before: bool = False
    low: Values | None = None
    high: Values | None = None


@dataclass(frozen=True)
class Panel:
    """One set of axes: its lines, labels with units, and a level or range to compare with."""

    y_label: str
    lines: Sequence[ChartLine]
    level: float | None = None
    level_label: str = ""
    zero: bool = False
    y_range: tuple[float, float] | None = None


@dataclass(frozen=True)
class ValveMark:
    """One valve gap before and after, with its range and target, in the unit shown."""

    label: str
    low: float
    high: float
    target: float | None
    before: float | None
    after: float | None


@dataclass(frozen=True)
class GridCell:
    text: str
    off_target: float | None
    few: bool = False


@dataclass(frozen=True)
class GridChart:
    """Measured mixture by engine speed (columns) and throttle (rows), with a value in every cell."""

    columns: Sequence[str]
    rows: Sequence[str]
    cells: Sequence[Sequence[GridCell]]
    x_label: str
    y_label: str
    limit: float = field(default=0.15)


@cache
def font_file(weight: str) -> Path:
    return next(
        (Path(settings.BASE_DIR) / "static" / "vendor").glob(f"ibm-plex-sans-*/IBMPlexSans-{weight}.ttf")
    )


def font(size: float = 8, weight: str = "Regular") -> "FontProperties":
    from matplotlib.font_manager import FontProperties

    return FontProperties(fname=font_file(weight), size=size)


def new_figure(
    height_in: float, left_in: float = 0.62, top_in: float = 0.08, gap_in: float = 0.14
) -> "Figure":
    """Return an empty figure as wide as the sheet, with fixed room for labels.

    Fitting the room to the labels would cost a second drawing.
    """
    import matplotlib
    from matplotlib.figure import Figure

    # Every chart uses the same value, so setting it again from another thread changes nothing.
    matplotlib.rcParams["svg.hashsalt"] = "lash-lambda"
    figure = Figure(figsize=(WIDTH_IN, height_in))
    figure.subplots_adjust(
        left=left_in / WIDTH_IN,
        right=1 - 0.1 / WIDTH_IN,
        bottom=BELOW_IN / height_in,
        top=1 - top_in / height_in,
        hspace=gap_in,
    )
    return figure


def to_svg(figure: "Figure") -> str:
    """Return the figure as SVG, without a date, so that the same values give the same bytes."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    with printing_lock():
        FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None})
    figure.clear()
    return out.getvalue()


def style_axes(axes: "Axes", x_label: str, y_label: str) -> None:
    """Style the axes with grey lines and the project's font."""
    axes.set_xlabel(x_label, fontproperties=font(8, "Medium"), color=QUIET)
    axes.set_ylabel(y_label, fontproperties=font(8, "Medium"), color=QUIET)
    axes.grid(True, color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(QUIET)
    axes.tick_params(colors=QUIET, length=3)
    for text in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        text.set_fontproperties(font(8))


def format_tick(value: float, position: float = 0) -> str:
    """Format a tick label like numbers in sentences, with the decimals the value has."""
    return format_number(value, len(f"{abs(value):g}".partition(".")[2]))


def draw_line(axes: "Axes", line: ChartLine, order: int) -> None:
    import numpy as np

    colour = BEFORE if line.before else (ACCENT, INK, LEAN, RICH)[order % 4]
    style = (0, (5, 3)) if line.before else LINES[order % 4]
    x, y = np.array([line.x, line.y], dtype=float)  # None becomes NaN, a gap in the line
    if line.low is not None and line.high is not None:
        low, high = np.array([line.low, line.high], dtype=float)
        axes.fill_between(x, low, high, color=colour, alpha=0.18, linewidth=0)
    axes.plot(x, y, color=colour, linestyle=style, linewidth=1.4, label=line.label)


def draw_panel(axes: "Axes", panel: Panel, x_label: str) -> None:
    after = 0
    for line in panel.lines:
        draw_line(axes, line, after)
        after += not line.before
    if panel.level is not None:
        axes.axhline(panel.level, color=INK, linewidth=0.8, linestyle=(0, (1, 2)), label=panel.level_label)
    if panel.zero:
        axes.axhline(0, color=INK, linewidth=0.8)
    if panel.y_range:
        axes.set_ylim(*panel.y_range)
    style_axes(axes, x_label, panel.y_label)
    if x_label:
        axes.xaxis.set_major_formatter(format_tick)
    if axes.get_legend_handles_labels()[1]:
        axes.legend(prop=font(7.5), frameon=False, loc="best", labelcolor=INK, handlelength=3)


def line_chart(panels: Sequence[Panel], x_label: str, panel_height_in: float = 2.1) -> str:
    """Draw panels one above the other over a shared axis, each with its own unit.

    Raises
    ------
    ValueError
        There is no panel to draw.
    """
    if not panels:
        raise ValueError("A chart needs at least one panel.")
    figure = new_figure(panel_height_in * len(panels) + BELOW_IN)
    grid = figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0]
    for axes, panel in zip(grid, panels, strict=True):
        draw_panel(axes, panel, x_label if axes is grid[-1] else "")
    return to_svg(figure)


def blank_chart(panels: int, panel_height_in: float) -> str:
    """Return an empty SVG of the size of a line chart, for a trial layout."""
    height_in = panel_height_in * panels + BELOW_IN
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_IN}in" height="{height_in}in"/>'


def clearance_chart(marks: Sequence[ValveMark], unit: str) -> str:
    """Draw each valve on a line: range as a bar, target as a tick, before hollow, after filled."""
    longest = max((len(mark.label) for mark in marks), default=0)
    figure = new_figure(0.7 + 0.24 * len(marks), left_in=0.15 + CHARACTER_IN * longest, top_in=0.28)
    axes = figure.subplots()
    positions = list(range(len(marks)))[::-1]
    for y, mark in zip(positions, marks, strict=True):
        axes.barh(
            y,
            mark.high - mark.low,
            left=mark.low,
            height=0.62,
            color=RANGE,
            edgecolor=GRID,
            linewidth=0.6,
        )
        if mark.target is not None:
            axes.plot([mark.target] * 2, [y - 0.31, y + 0.31], color=ACCENT, linewidth=1.2)
        if mark.before is not None and mark.after is not None:
            axes.plot([mark.before, mark.after], [y, y], color=BEFORE, linewidth=0.8, linestyle=(0, (3, 2)))
        if mark.before is not None:
            axes.plot(mark.before, y, "o", markersize=5, markerfacecolor="white", markeredgecolor=BEFORE)
        if mark.after is not None:
            axes.plot(mark.after, y, "D", markersize=4, color=ACCENT)
    axes.set_yticks(positions, [mark.label for mark in marks])
    axes.set_ylim(-0.6, len(marks) - 0.4)
    style_axes(axes, f"clearance ({unit})", "")
    axes.grid(False, axis="y")
    handles = _clearance_legend(
        any(mark.target is not None for mark in marks), any(mark.after is not None for mark in marks)
    )
    axes.legend(
        handles=handles,
        prop=font(7.5),
        frameon=False,
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=4,
        labelcolor=INK,
    )
    return to_svg(figure)


def _clearance_legend(target: bool, after: bool) -> list[Any]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [Patch(facecolor=RANGE, edgecolor=GRID, label="range")]
    if target:
        handles.append(
            Line2D([], [], color=ACCENT, marker="|", linestyle="none", markersize=9, label="blueprint target")
        )
    handles.append(
        Line2D(
            [],
            [],
            marker="o",
            linestyle="none",
            markerfacecolor="white",
            markeredgecolor=BEFORE,
            label="as found",
        )
    )
    if after:
        handles.append(
            Line2D([], [], marker="D", linestyle="none", markersize=5, color=ACCENT, label="as left")
        )
    return handles


def shade(off_target: float | None, limit: float) -> tuple[float, float, float]:
    """Return the colour of a cell: white on target, one hue if lean, another if rich."""
    from matplotlib.colors import to_rgb

    if off_target is None:
        return to_rgb("#ffffff")
    share = min(abs(off_target) / limit, 1.0) * 0.75
    hue = to_rgb(LEAN if off_target > 0 else RICH)
    return (1 - share * (1 - hue[0]), 1 - share * (1 - hue[1]), 1 - share * (1 - hue[2]))


def grid_chart(grid: GridChart) -> str:
    """Draw a mixture grid with a value in every cell, in brackets if there are too few samples."""
    from matplotlib.patches import Rectangle

    figure = new_figure(0.55 + 0.27 * len(grid.rows))
    axes = figure.subplots()
    for r, row in enumerate(grid.cells):
        for c, cell in enumerate(row):
            colour = shade(cell.off_target, grid.limit)
            axes.add_patch(Rectangle((c, r), 1, 1, facecolor=colour, edgecolor=GRID, linewidth=0.6))
            dark = 0.2126 * colour[0] + 0.7152 * colour[1] + 0.0722 * colour[2] < 0.5
            text = f"({cell.text})" if cell.few else cell.text
            ink = "white" if dark else INK
            axes.text(c + 0.5, r + 0.5, text, ha="center", va="center", color=ink, fontproperties=font(7))
    axes.set_xlim(0, len(grid.columns))
    axes.set_ylim(0, len(grid.rows))
    axes.set_xticks([c + 0.5 for c in range(len(grid.columns))], list(grid.columns))
    axes.set_yticks([r + 0.5 for r in range(len(grid.rows))], list(grid.rows))
    style_axes(axes, grid.x_label, grid.y_label)
    axes.grid(False)
    return to_svg(figure)
