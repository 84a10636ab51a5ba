"""A bike's clearances over distance or engine hours, with a panel for each side of a cylinder."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from jobs.calc.units.numbers import format_number
from jobs.clearances.trend_chart import TrendChart, TrendPanel, ValveTrend
from reports.drawing.charts import (
    ACCENT,
    BELOW_IN,
    GRID,
    INK,
    LEAN,
    QUIET,
    RANGE,
    font,
    new_figure,
    style_axes,
    to_svg,
)
from reports.drawing.pictures import Picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLUMNS = 2
ROWS_IN_PICTURE = 5
ROW_IN = 1.55
TITLE_IN = 0.3  # for the title of a panel
LEGEND_IN = 0.42
TARGET_DASHES: Any = (0, (8, 2, 1, 2))
# Colour, dashes and mark of each valve in a panel: any one of them is enough to distinguish it.
LINE_STYLES: list[tuple[str, Any, str]] = [
    (ACCENT, "solid", "o"),
    (LEAN, (0, (6, 2.5)), "s"),
    (INK, (0, (1.2, 1.6)), "^"),
]


def clearance_history_pictures(chart: TrendChart | None, name: str = "clearance-history") -> list[Picture]:
    """Draw a bike's clearances over its jobs.

    Parameters
    ----------
    chart : TrendChart or None
        Result of ``build_trend_chart``, in the shop's units; None if nothing was measured at a known distance
        or hour.
    name : str
        Prefix of the names of the pictures.

    Returns
    -------
    list of Picture
        At most ten panels each, as wide as a sheet's other charts; empty if there is nothing to draw.
        A filled mark is as measured; a hollow one is adjusted to the current shim or setting. The line is the
        trend with its 95 % interval, extended at most by the length of the history. A cross with a bar is the
        point where it reaches a limit.
    """
    if chart is None:
        return []
    names = list(dict.fromkeys(valve.name for panel in chart.panels for valve in panel.valves))
    step = COLUMNS * ROWS_IN_PICTURE
    pages = [chart.panels[start : start + step] for start in range(0, len(chart.panels), step)]
    pictures = []
    for number, panels in enumerate(pages, 1):
        which = f" ({number} of {len(pages)})" if len(pages) > 1 else ""
        pictures.append(
            Picture(
                f"{name}-{number}",
                _draw_chart(chart, panels, names),
                f"Valve clearances over {_use(chart)}{which}, recalculated for the shim or "
                "setting fitted now. Shaded: range. Lines: trend with 95 % interval.",
                " ".join(_describe(panels)),
            )
        )
    return pictures


def _use(chart: TrendChart) -> str:
    return "engine hours" if chart.use_unit == "h" else "distance"


def _describe(panels: Sequence[TrendPanel]) -> list[str]:
    return [
        f"{valve.label.capitalize()}: {valve.sentence.removesuffix('.')}."
        for panel in panels
        for valve in panel.valves
    ]


def _draw_chart(chart: TrendChart, panels: Sequence[TrendPanel], names: Sequence[str]) -> str:
    rows = -(-len(panels) // COLUMNS)
    height = rows * (ROW_IN + TITLE_IN) + BELOW_IN + LEGEND_IN
    figure = new_figure(height, top_in=LEGEND_IN + TITLE_IN, gap_in=TITLE_IN / ROW_IN)
    figure.subplots_adjust(wspace=0.2)
    grid = figure.subplots(rows, COLUMNS, squeeze=False, sharex=True).ravel()
    for index, axes in enumerate(grid):
        if index >= len(panels):
            axes.set_visible(False)
            continue
        _draw_panel(axes, panels[index], names)
        axes.set_xlim(chart.shown_from, chart.shown_to)
        is_last = index + COLUMNS >= len(panels)
        x_label = f"{chart.use_label} ({chart.use_unit})" if is_last else ""
        style_axes(axes, x_label, f"clearance ({chart.clearance_unit})" if index % COLUMNS == 0 else "")
        axes.tick_params(labelbottom=is_last)
        axes.xaxis.set_major_formatter(lambda use, _: format_number(use))
        for text in axes.get_xticklabels():
            text.set_fontproperties(font(8))
    has_target = any(panel.target is not None for panel in panels)
    figure.legend(
        handles=_legend(names, has_target),
        prop=font(7.5),
        frameon=False,
        loc="upper center",
        ncols=4,
        labelcolor=INK,
        handlelength=3.2,
    )
    return to_svg(figure)


def _draw_panel(axes: "Axes", panel: TrendPanel, names: Sequence[str]) -> None:
    if panel.low is not None and panel.high is not None:
        axes.axhspan(panel.low, panel.high, facecolor=RANGE, edgecolor=GRID, linewidth=0.8, zorder=0)
    if panel.target is not None:
        axes.axhline(panel.target, color=QUIET, linewidth=0.8, linestyle=TARGET_DASHES, zorder=1)
    for valve in panel.valves:
        _draw_valve(axes, valve, *LINE_STYLES[names.index(valve.name) % len(LINE_STYLES)])
    axes.set_ylim(panel.shown_from, panel.shown_to)
    axes.set_title(
        panel.title.capitalize(), fontproperties=font(8.5, "SemiBold"), color=INK, loc="left", pad=4
    )


def _draw_valve(axes: "Axes", valve: ValveTrend, colour: str, dashes: Any, mark: str) -> None:
    uses = [point.use for point in valve.line]
    if uses:
        low, high = [point.low for point in valve.line], [point.high for point in valve.line]
        axes.fill_between(uses, low, high, color=colour, alpha=0.13, linewidth=0)
        axes.plot(uses, [point.value for point in valve.line], color=colour, linestyle=dashes, linewidth=1.3)
    for point in valve.points:
        if point.high > point.low:
            axes.plot([point.use] * 2, [point.low, point.high], color=colour, linewidth=0.9)
        face = colour if point.as_measured else "white"
        axes.plot(point.use, point.value, mark, markersize=4.2, markerfacecolor=face, markeredgecolor=colour)
    if valve.crossing is not None:
        crossing = valve.crossing
        axes.plot(
            [crossing.low, crossing.high],
            [crossing.limit] * 2,
            color=colour,
            linewidth=1.6,
            solid_capstyle="butt",
        )
        axes.plot(crossing.use, crossing.limit, "x", markersize=6, markeredgewidth=1.6, color=colour)


def _legend(names: Sequence[str], has_target: bool) -> list[Any]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [
        Line2D([], [], color=colour, linestyle=dashes, marker=mark, markersize=4.2, linewidth=1.3, label=name)
        for name, (colour, dashes, mark) in zip(names, LINE_STYLES, strict=False)
    ]
    handles.append(Patch(facecolor=RANGE, edgecolor=GRID, label="range"))
    if has_target:
        handles.append(Line2D([], [], color=QUIET, linewidth=0.8, linestyle=TARGET_DASHES, label="target"))
    hollow: dict[str, Any] = {
        "marker": "o",
        "linestyle": "none",
        "markerfacecolor": "white",
        "markersize": 4.2,
    }
    label = "measured with a different shim or setting"
    handles.append(Line2D([], [], markeredgecolor=INK, label=label, **hollow))
    cross: dict[str, Any] = {"marker": "x", "markersize": 6, "linewidth": 1.6, "color": INK}
    handles.append(Line2D([], [], label="limit reached, 95 %", **cross))
    return handles
