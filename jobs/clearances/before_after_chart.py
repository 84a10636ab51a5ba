"""A chart of all valves of a job before and after, against range and target.

Positions are in per cent of the chart's width, so that its texts keep their size on a phone.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from jobs.calc.clearances.readings import ClearanceVerdict
from jobs.calc.units.length_format import LengthFormatter
from jobs.clearances.before_after import BeforeAfter, ClearancesBeforeAfter
from jobs.clearances.valve_gaps import JudgedReading
from workshop.models import ShopProfile
from workshop.units.display import convert, label, length_formatter

STEPS = {"mm": (0.02, 0.05, 0.1, 0.2, 0.5), "in": (0.001, 0.002, 0.005, 0.01, 0.02)}
MAX_STEPS = 8
# What needs work comes first.
VERDICT_ORDER = (
    ClearanceVerdict.TIGHT,
    ClearanceVerdict.LOOSE,
    ClearanceVerdict.CANNOT_TELL,
    ClearanceVerdict.OFF_TARGET,
    ClearanceVerdict.IN_RANGE,
    ClearanceVerdict.ON_TARGET,
    "",
)
SLACK = 1e-6  # of a step: 0.35 / 0.05 is 7 whatever its binary fractions make of it


@dataclass(frozen=True)
class ScaleAxis:
    """Scale from a length in mm to a position in per cent."""

    low_mm: float
    high_mm: float

    def at(self, length_mm: float | Decimal) -> float:
        return (float(length_mm) - self.low_mm) / (self.high_mm - self.low_mm) * 100

    def position(self, length_mm: float | Decimal) -> str:
        return f"{self.at(length_mm):.2f}%"

    def width(self, low_mm: float | Decimal, high_mm: float | Decimal) -> str:
        return f"{self.at(high_mm) - self.at(low_mm):.2f}%"


@dataclass(frozen=True)
class ReadingMark:
    """One reading: its position and the interval it may lie in."""

    at: str
    low: str
    high: str
    is_bracket: bool


@dataclass(frozen=True)
class ChartRow:
    group: str  # the verdict as found, or as left if it was not measured before
    label: str
    words: str  # text alternative of the row
    range_at: str
    range_width: str  # "" if the spec has no range
    target_at: str  # "" if it has no target
    found: ReadingMark | None
    left: ReadingMark | None


@dataclass(frozen=True)
class Tick:
    at: str
    text: str


@dataclass(frozen=True)
class BeforeAfterChart:
    rows: list[ChartRow]
    ticks: list[Tick]
    unit: str
    has_target: bool
    has_left: bool


def build_chart(history: ClearancesBeforeAfter | None, shop: ShopProfile) -> BeforeAfterChart | None:
    """Build the chart of what was measured on a job, or None if nothing was."""
    shown = [row for row in history.rows if row.found or row.left] if history else []
    if not shown:
        return None
    unit = shop.length_unit
    step_mm, first, last = scale(plotted_lengths(shown), unit)
    axis = ScaleAxis(first * step_mm, last * step_mm)
    decimals = 2 if unit == "mm" else 3
    ticks = [
        Tick(axis.position(number * step_mm), f"{convert(number * step_mm, 'mm', unit):.{decimals}f}")
        for number in range(first, last + 1)
    ]
    shown.sort(key=lambda row: VERDICT_ORDER.index(chart_verdict(row)))
    rows = [build_chart_row(row, axis, length_formatter(unit)) for row in shown]
    return BeforeAfterChart(
        rows, ticks, label(unit), any(row.target_at for row in rows), any(row.left for row in rows)
    )


def chart_verdict(row: BeforeAfter) -> str:
    first = row.found or row.left
    return str(first.judgement.verdict) if first and first.judgement else ""


def plotted_lengths(rows: Iterable[BeforeAfter]) -> list[float]:
    """Return all lengths that the axis has to cover."""
    lengths: list[float] = []
    for row in rows:
        limits = (row.valve_gap.low_mm, row.valve_gap.high_mm)
        lengths += [float(limit) for limit in limits if limit is not None]
        lengths += [end for measured in row.as_found_as_left if measured for end in axis_limits(measured)]
    return lengths


def axis_limits(measured: JudgedReading) -> tuple[float, float]:
    return measured.reading.low_mm, measured.reading.high_mm


def scale(lengths_mm: list[float], unit: str) -> tuple[float, int, int]:
    """Return the step between ticks in mm, and the first and last tick number, with room at both ends."""
    steps_mm = [float(convert(step, unit, "mm")) for step in STEPS[unit]]
    for step_mm in steps_mm:
        first = max(0, math.ceil(min(lengths_mm) / step_mm - SLACK) - 1)
        last = math.floor(max(lengths_mm) / step_mm + SLACK) + 1
        if last - first <= MAX_STEPS:
            break
    return step_mm, first, last


def build_chart_row(row: BeforeAfter, axis: ScaleAxis, lengths: LengthFormatter) -> ChartRow:
    valve_gap = row.valve_gap
    span, target_at = ("", ""), ""
    if valve_gap.low_mm is not None and valve_gap.high_mm is not None:
        span = axis.position(valve_gap.low_mm), axis.width(valve_gap.low_mm, valve_gap.high_mm)
    if valve_gap.target_mm is not None:
        target_at = axis.position(valve_gap.target_mm)
    first, verdict = row.found or row.left, chart_verdict(row)
    when = "as found" if row.found else "as left"
    return ChartRow(
        group=f"{verdict} {when}" if verdict and first else "no range in the engine spec",
        label=valve_gap.label,
        words="; ".join(describe_row(row, lengths)),
        range_at=span[0],
        range_width=span[1],
        target_at=target_at,
        found=reading_mark(row.found, axis),
        left=reading_mark(row.left, axis),
    )


def reading_mark(measured: JudgedReading | None, axis: ScaleAxis) -> ReadingMark | None:
    if measured is None:
        return None
    reading = measured.reading
    low, high = (axis.position(end) for end in axis_limits(measured))
    return ReadingMark(axis.position(reading.best_mm), low, high, reading.is_bracket)


def describe_row(row: BeforeAfter, lengths: LengthFormatter) -> list[str]:
    parts = [row.valve_gap.label]
    for when, measured in zip(("as found", "as left"), row.as_found_as_left, strict=True):
        if measured:
            verdict = f", {measured.judgement.word}" if measured.judgement else ""
            parts.append(f"{when} {measured.reading.describe(lengths)}{verdict}")
    return parts
