"""Charts as SVG within a page or slide: colours come from classes, so that they follow light and dark.

Before is grey and dashed, after is solid; lines also differ without colour. Numbers follow the language
in use.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from jobs.calc.units.numbers import format_number
from jobs.mixture.tables import SHADES

WIDTH, HEIGHT = 640, 400
LEFT, TOP, BOTTOM = 66, 44, 70
MIN_RIGHT, MAX_RIGHT, CHARACTER = 90, 250, 12.5  # room for the labels of the lines, by their longest
LABEL_STEP = 26
ROW = 34
MAX_ROWS = 24
FEW = "few"

Values = Sequence[float | None]


@dataclass(frozen=True)
class Line:
    """One curve; ``role`` is before, after, or other-1 to other-3, and gives it its look."""

    label: str
    x: Values
    y: Values
    role: str = "after"
    low: Values | None = None
    high: Values | None = None


@dataclass(frozen=True)
class LineChart:
    """One set of axes; ``marked`` are stretches of x that carry a label."""

    lines: Sequence[Line]
    x_label: str
    y_label: str
    marked: Sequence[tuple[float, float]] = ()
    marked_label: str = ""
    from_zero: bool = False
    digits: int = 0


@dataclass(frozen=True)
class ValveRow:
    label: str
    low: float
    high: float
    before: float | None
    after: float | None


@dataclass(frozen=True)
class Cell:
    """A cell of a mixture map: its text, and how far off target it is as a fraction."""

    text: str
    off: float | None
    few: bool = False


def ticks(low: float, high: float, count: int = 5) -> list[float]:
    """Return round values within the range."""
    if high <= low:
        return [low]
    raw = (high - low) / count
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw)
    first = math.ceil(low / step - 1e-9)
    return [place * step for place in range(first, math.floor(high / step + 1e-9) + 1)]


def points(xs: Values, ys: Values) -> list[list[tuple[float, float]]]:
    """Return the stretches of a curve without gaps."""
    found: list[list[tuple[float, float]]] = [[]]
    for x, y in zip(xs, ys, strict=False):
        if x is None or y is None:
            found.append([])
        else:
            found[-1].append((x, y))
    return [stretch for stretch in found if stretch]


class Axes:
    """Scales of a chart, from values to the picture."""

    def __init__(self, chart: LineChart) -> None:
        xs = [x for line in chart.lines for stretch in points(line.x, line.y) for x, _ in stretch]
        ys = [
            y
            for line in chart.lines
            for values in (line.y, line.low or (), line.high or ())
            for y in values
            if y is not None
        ]
        longest = max(len(line.label) for line in chart.lines)
        self.right = WIDTH - min(MAX_RIGHT, max(MIN_RIGHT, 20 + CHARACTER * longest))
        self.low_x, self.high_x = min(xs), max(xs)
        low, high = min(ys), max(ys)
        if chart.from_zero:
            low, high = min(low, 0), max(high, 0)
        margin = (high - low or 1) * 0.06
        self.low_y, self.high_y = (low if low == 0 else low - margin), high + margin

    def x(self, value: float) -> float:
        return LEFT + (value - self.low_x) / (self.high_x - self.low_x or 1) * (self.right - LEFT)

    def y(self, value: float) -> float:
        share = (value - self.low_y) / (self.high_y - self.low_y)
        return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def line_chart(chart: LineChart, alt: str) -> str:
    """Draw curves with their labels at the right; empty if there is nothing to draw."""
    if not any(points(line.x, line.y) for line in chart.lines):
        return ""
    axes = Axes(chart)
    parts = [*frame(chart, axes)]
    for line in chart.lines:
        parts += curve(line, axes)
    parts += end_labels(chart.lines, axes)
    return svg(parts, HEIGHT, alt)


def svg(parts: Sequence[str], height: float, alt: str) -> SafeString:
    head = (
        f'<svg class="screen-chart" viewBox="0 0 {WIDTH} {height:g}" role="img" aria-label="{escape(alt)}">'
    )
    # Every text in the parts was escaped when it was drawn.
    return mark_safe(f"{head}{''.join(parts)}</svg>")


def text(x: float, y: float, content: str, *, anchor: str = "start", look: str = "soft") -> str:
    return f'<text class="{look}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(content)}</text>'


def frame(chart: LineChart, axes: Axes) -> Iterator[str]:
    bottom = HEIGHT - BOTTOM
    for from_x, to_x in chart.marked:
        x, width = axes.x(from_x), axes.x(to_x) - axes.x(from_x)
        yield f'<rect class="marked" x="{x:.1f}" y="{TOP}" width="{width:.1f}" height="{bottom - TOP}"/>'
    if chart.marked and chart.marked_label:
        middle = (axes.x(chart.marked[0][0]) + axes.x(chart.marked[0][1])) / 2
        yield text(middle, bottom - 12, chart.marked_label, anchor="middle", look="strong")
    for level in ticks(axes.low_y, axes.high_y):
        y = axes.y(level)
        look = "zero" if level == 0 else "grid"
        yield f'<path class="{look}" d="M{LEFT} {y:.1f}H{axes.right:.1f}"/>'
        yield text(LEFT - 10, y + 7, format_number(level, decimals(axes.low_y, axes.high_y)), anchor="end")
    for speed in ticks(axes.low_x, axes.high_x, 4):
        yield text(axes.x(speed), bottom + 26, format_number(speed), anchor="middle")
    yield text(8, 24, chart.y_label)
    yield text(axes.right, HEIGHT - 12, chart.x_label, anchor="end")


def decimals(low: float, high: float) -> int:
    raw = (high - low) / 5
    return max(0, -math.floor(math.log10(raw) + 1e-9)) if raw < 1 else 0


def curve(line: Line, axes: Axes) -> Iterator[str]:
    if line.low and line.high:
        above = [point for stretch in points(line.x, line.high) for point in stretch]
        below = [point for stretch in points(line.x, line.low) for point in stretch]
        outline = [*above, *reversed(below)]
        yield f'<path class="band {line.role}" d="{path(outline, axes)}Z"/>'
    for stretch in points(line.x, line.y):
        yield f'<path class="line {line.role}" d="{path(stretch, axes)}"/>'


def path(stretch: Sequence[tuple[float, float]], axes: Axes) -> str:
    return "M" + "L".join(f"{axes.x(x):.1f} {axes.y(y):.1f}" for x, y in stretch)


def end_labels(lines: Sequence[Line], axes: Axes) -> Iterator[str]:
    """Yield a label for each line at its right end, moved apart so that none covers another."""
    drawn = [(line, points(line.x, line.y)) for line in lines]
    ends = sorted((axes.y(found[-1][-1][1]), line.label, line) for line, found in drawn if found)
    places: list[float] = []
    for y, _, _ in ends:
        places.append(max(y, places[-1] + LABEL_STEP) if places else y)
    spare = max(0.0, places[-1] - (HEIGHT - BOTTOM))
    for y, (_, _, line) in zip(places, ends, strict=True):
        yield text(axes.right + 10, y - spare + 7, line.label, look=f"label {line.role}")


def valve_chart(rows: Sequence[ValveRow], x_label: str, names: tuple[str, str, str], alt: str) -> str:
    """Draw each valve's clearance before and after against its range; empty if there are too many valves."""
    if not rows or len(rows) > MAX_ROWS:
        return ""
    values = [v for row in rows for v in (row.low, row.high, row.before, row.after) if v is not None]
    low, high = min(values), max(values)
    margin = (high - low or 1) * 0.08
    low, high = low - margin, high + margin
    left, right, top = 236, 20, 48
    height = top + ROW * len(rows) + 70

    def x(value: float) -> float:
        return left + (value - low) / (high - low) * (WIDTH - left - right)

    parts = [
        f'<rect class="range" x="{left}" y="12" width="28" height="14"/>', text(left + 36, 26, names[0]),
        f'<circle class="before" cx="{left + 148}" cy="19" r="7"/>', text(left + 162, 26, names[1]),
        f'<circle class="after" cx="{left + 264}" cy="19" r="7"/>', text(left + 278, 26, names[2]),
    ]  # fmt: skip
    for level in ticks(low, high, 4):
        parts.append(f'<path class="grid" d="M{x(level):.1f} {top}V{height - 62}"/>')
        parts.append(text(x(level), height - 38, format_number(level, 2), anchor="middle"))
    for place, row in enumerate(rows):
        y = top + ROW * place + ROW / 2
        parts.append(text(4, y + 6, row.label, look="row"))
        span = x(row.high) - x(row.low)
        parts.append(f'<rect class="range" x="{x(row.low):.1f}" y="{y - 9}" width="{span:.1f}" height="18"/>')
        if row.before is not None and row.after is not None:
            parts.append(f'<path class="moved" d="M{x(row.before):.1f} {y}H{x(row.after):.1f}"/>')
        if row.before is not None:
            parts.append(f'<circle class="before" cx="{x(row.before):.1f}" cy="{y}" r="7"/>')
        if row.after is not None:
            parts.append(f'<circle class="after" cx="{x(row.after):.1f}" cy="{y}" r="7"/>')
    parts.append(text(WIDTH - right, height - 10, x_label, anchor="end"))
    return svg(parts, height, alt)


def shade(cell: Cell) -> str:
    """Return the class of a cell by how far from its target it is."""
    if cell.off is None:
        return "none"
    size = sum(abs(cell.off) > limit for limit in SHADES)
    return f"{'lean' if cell.off > 0 else 'rich'}-{size}" if size else "even"


def grid_chart(
    columns: Sequence[str],
    rows: Sequence[str],
    cells: Sequence[Sequence[Cell]],
    labels: tuple[str, str],
    alt: str,
) -> str:
    """Draw a mixture map: engine speed to the right, throttle upwards."""
    left, top, high = 70, 40, 40
    width = (WIDTH - left - 4) / max(len(columns), 1)
    height = top + high * len(rows) + 64
    parts = [text(8, 26, labels[1])]
    for order, (name, row) in enumerate(zip(reversed(rows), reversed(cells), strict=True)):
        y = top + high * order
        parts.append(text(left - 10, y + high / 2 + 7, name, anchor="end"))
        for place, cell in enumerate(row):
            x = left + width * place
            few = f" {FEW}" if cell.few else ""
            parts.append(
                f'<rect class="cell {shade(cell)}{few}" x="{x + 1:.1f}" y="{y + 1}" '
                f'width="{width - 2:.1f}" height="{high - 2}"/>'
            )
            if cell.text:
                middle = x + width / 2
                parts.append(text(middle, y + high / 2 + 6, cell.text, anchor="middle", look="in-cell"))
    every = math.ceil(len(columns) / 8)
    for place, name in enumerate(columns):
        if place % every == 0:
            parts.append(text(left + width * (place + 0.5), height - 38, name, anchor="middle"))
    parts.append(text(WIDTH - 4, height - 10, labels[0], anchor="end"))
    return svg(parts, height, alt)
