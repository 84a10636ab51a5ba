"""The frame of matplotlib's charts on paper: figure, axes, ticks. Text is drawn as outlines."""

import io
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings

from reports.typesetting.printing_lock import printing_lock

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

INK = "#1d2126"
QUIET = "#5f6872"
GRID = "#d9dde1"
ACCENT = "#0b5c6b"
RANGE = "#e4edef"
LEAN = "#b3541e"
WIDTH_IN = 6.9
BELOW_IN = 0.42


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
