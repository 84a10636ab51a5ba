"""Drawings for paper: lines and shapes by matplotlib, texts as text in the sheet's own fonts.

Coordinates are millimetres from the upper left corner; a drawing is placed at the size it was drawn for. What
the bike was before is grey, thin, dashed and hollow; what it is now is petrol, thick, solid and filled. Text
as text needs no outlines, so that a page is quickly set and can be searched.
"""

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

from jobs.calc.units.numbers import format_number
from reports.typesetting.glyphs import with_pictures_as_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, SOFT, RULE, TINT = "#14191d", "#4b565e", "#c4cbd0", "#e9edef"
NOW, WAS, ALERT, BAND = "#0b5468", "#6b767e", "#a33a12", "#b4ccd4"
PT_PER_MM = 72 / 25.4
FINEST_MM = 0.4  # closer points of a curve cannot be told apart on paper
FONT = "Sheet Sans, Sheet Emoji, Sheet Spare, Sheet Thai, Sheet Devanagari, Sheet CJK"
BEFORE_STYLE: dict[str, Any] = {"color": WAS, "linewidth": 1.1, "linestyle": (0, (4, 2))}
NOW_STYLE: dict[str, Any] = {"color": NOW, "linewidth": 1.9, "linestyle": "-"}
# Further lines of one picture differ by dash and weight too, and are labelled beside the line.
MORE_STYLES: tuple[dict[str, Any], ...] = (
    NOW_STYLE,
    {"color": INK, "linewidth": 1.2, "linestyle": (0, (7, 1.5))},
    {"color": ALERT, "linewidth": 1.2, "linestyle": (0, (5, 1.5, 1, 1.5))},
    {"color": SOFT, "linewidth": 1.4, "linestyle": (0, (1, 1.2))},
)

Values = Sequence[float | None]


@dataclass(frozen=True)
class Scale:
    """A linear scale from values to millimetres."""

    low: float
    high: float
    from_mm: float
    to_mm: float

    def __call__(self, value: float) -> float:
        span = (self.high - self.low) or 1.0
        return self.from_mm + (value - self.low) / span * (self.to_mm - self.from_mm)

    def ticks(self, count: int) -> list[float]:
        """Return round values inside the scale."""
        from matplotlib.ticker import MaxNLocator

        found = MaxNLocator(count, steps=[1, 2, 2.5, 5, 10]).tick_values(self.low, self.high)
        slack = 1e-9 * abs(self.high - self.low)
        return [float(tick) for tick in found if self.low - slack <= tick <= self.high + slack]


def format_ticks(ticks: Sequence[float], *, signed: bool = False) -> list[str]:
    """Format the ticks of an axis, all with as many decimals as one of them needs."""
    places = max((len(f"{abs(tick):.6g}".partition(".")[2]) for tick in ticks), default=0)
    return [format_number(tick, places, signed=signed) for tick in ticks]


class Drawing:
    """A picture that is being drawn."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        import matplotlib
        from matplotlib.figure import Figure

        # Every drawing uses the same value, so setting it again from another thread changes nothing.
        matplotlib.rcParams["svg.hashsalt"] = "lash-lambda"
        self.width_mm, self.height_mm = width_mm, height_mm
        self.figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4))
        self.axes: Axes = self.figure.add_axes((0, 0, 1, 1), xlim=(0, width_mm), ylim=(height_mm, 0))
        self.axes.axis("off")
        self.figure.patch.set_visible(False)
        self.texts: list[str] = []

    def line(self, x: Iterable[float], y: Iterable[float], **style: Any) -> None:
        from matplotlib.lines import Line2D

        self.axes.add_line(Line2D([*x], [*y], **{"solid_capstyle": "round", "clip_on": False, **style}))

    def band(
        self, x: Sequence[float], low: Sequence[float], high: Sequence[float], colour: str = BAND
    ) -> None:
        """Fill between two curves; NaN ends a piece."""
        import numpy as np
        from matplotlib.patches import Polygon

        ends = np.array([low, high], dtype=float)
        inside = np.isfinite(ends).all(axis=0)
        for piece in np.split(np.arange(len(x)), np.flatnonzero(np.diff(inside)) + 1):
            if inside[piece[0]]:
                xs = np.array(x, dtype=float)[piece]
                points = np.column_stack(
                    [np.append(xs, xs[::-1]), np.append(ends[0, piece], ends[1, piece][::-1])]
                )
                self.axes.add_patch(Polygon(points, facecolor=colour, linewidth=0, zorder=0.5, clip_on=False))

    def box(self, left: float, top: float, width: float, height: float, **style: Any) -> None:
        from matplotlib.patches import Rectangle

        self.axes.add_patch(
            Rectangle(
                (left, top), width, height, **{"linewidth": 0, "zorder": 0.2, "clip_on": False, **style}
            )
        )

    def marks(self, x: Sequence[float], y: Sequence[float], **style: Any) -> None:
        self.line(x, y, linestyle="none", marker="o", **style)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 7.0,
        bold: bool = False,
        colour: str = SOFT,
        anchor: str = "start",
    ) -> None:
        """Write words with their baseline at a point; ``anchor`` is start, middle or end."""
        weight = ' font-weight="700"' if bold else ""
        self.texts.append(
            f'<text x="{x * PT_PER_MM:.2f}" y="{y * PT_PER_MM:.2f}" font-size="{size:g}" '
            f'text-anchor="{anchor}" fill="{colour}"{weight}>{with_pictures_as_text(escape(words))}</text>'
        )

    def x_axis(self, scale: Scale, y: float, count: int = 8, unit: str = "", *, labels: bool = True) -> None:
        """Draw the axis with its unit after the last tick."""
        self.line([scale.from_mm, scale.to_mm], [y, y], color=SOFT, linewidth=0.6)
        ticks = scale.ticks(count)
        for tick, words in zip(ticks, format_ticks(ticks), strict=True):
            x = scale(tick)
            self.line([x, x], [y, y + 0.7], color=SOFT, linewidth=0.6)
            if labels:
                last = f"\N{NO-BREAK SPACE}{unit}" if unit and tick == ticks[-1] else ""
                at_edge = last and x + 8 > self.width_mm
                self.text(
                    min(x + 6, self.width_mm) if at_edge else x,
                    y + 3.4,
                    words + last,
                    anchor="end" if at_edge else "middle",
                )

    def y_axis(
        self, scale: Scale, x: float, count: int = 5, *, signed: bool = False, labels: bool = True
    ) -> None:
        self.line([x, x], [scale.from_mm, scale.to_mm], color=SOFT, linewidth=0.6)
        ticks = scale.ticks(count)
        for tick, words in zip(ticks, format_ticks(ticks, signed=signed), strict=True):
            y = scale(tick)
            self.line([x - 0.7, x], [y, y], color=SOFT, linewidth=0.6)
            if labels:
                self.text(x - 1.2, y + 0.9, words, anchor="end")

    def svg(self) -> str:
        """Return the picture, without a date, so that the same values give the same bytes."""
        from matplotlib.backends.backend_svg import FigureCanvasSVG

        from reports.typesetting.printing_lock import printing_lock

        out = io.StringIO()
        with printing_lock():
            FigureCanvasSVG(self.figure).print_svg(out, metadata={"Date": None, "Creator": None})
        self.figure.clear()
        texts = f'<g font-family="{FONT}">{"".join(self.texts)}</g>'
        body = out.getvalue().replace("</svg>", f"{texts}</svg>")
        start = body.index("<svg")
        return body[start:]


def thinned(x: Values, *curves: Values | None, span_mm: float) -> list[list[float]]:
    """Return an axis and its curves with no more points than paper can show, None as NaN."""
    import numpy as np

    step = max(1, len(x) // max(1, int(span_mm / FINEST_MM)))
    given = (x, *curves)
    return [
        np.array([np.nan if value is None else value for value in curve], dtype=float)[::step].tolist()
        if curve is not None
        else [float("nan")] * len(range(0, len(x), step))
        for curve in given
    ]
