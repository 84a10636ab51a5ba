"""A chart of all valves of a job before and after, against range and target.

Positions are in per cent of the chart's width, so that its texts keep their size on a phone.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from jobs.calc.units.length_format import LengthFormatter
from jobs.clearances.before_after import BeforeAfter, History
from jobs.clearances.places import Measured
from workshop.models import ShopProfile
from workshop.units.display import convert, label, length_formatter

STEPS = {"mm": (0.02, 0.05, 0.1, 0.2, 0.5), "in": (0.001, 0.002, 0.005, 0.01, 0.02)}
MOST_STEPS = 8
SLACK = 1e-6  # of a step: 0.35 / 0.05 is 7 whatever its binary fractions make of it


@dataclass(frozen=True)
class Axis:
    """Scale from a length in mm to a position in per cent."""

    low_mm: float
    high_mm: float

    def at(self, length_mm: float | Decimal) -> float:
        return (float(length_mm) - self.low_mm) / (self.high_mm - self.low_mm) * 100

    def place(self, length_mm: float | Decimal) -> str:
        return f"{self.at(length_mm):.2f}%"

    def width(self, low_mm: float | Decimal, high_mm: float | Decimal) -> str:
        return f"{self.at(high_mm) - self.at(low_mm):.2f}%"


@dataclass(frozen=True)
class Mark:
    """One reading: its position and the interval it may lie in."""

    at: str
    low: str
    high: str
    is_bracket: bool


@dataclass(frozen=True)
class PictureRow:
    label: str
    words: str  # what the row shows, for those who do not see it
    range_at: str
    range_width: str  # '' where the spec has no range
    target_at: str  # '' where it has no target
    found: Mark | None
    left: Mark | None


@dataclass(frozen=True)
class Tick:
    at: str
    text: str


@dataclass(frozen=True)
class ClearancePicture:
    rows: list[PictureRow]
    ticks: list[Tick]
    unit: str
    has_target: bool
    has_left: bool


def picture_of(history: History | None, shop: ShopProfile) -> ClearancePicture | None:
    """Build the chart of what was measured on a job, or None if nothing was."""
    shown = [row for row in history.rows if row.found or row.left] if history else []
    if not shown:
        return None
    unit = shop.length_unit
    step_mm, first, last = scale(lengths_of(shown), unit)
    axis = Axis(first * step_mm, last * step_mm)
    places = 2 if unit == "mm" else 3
    ticks = [
        Tick(axis.place(number * step_mm), f"{convert(number * step_mm, 'mm', unit):.{places}f}")
        for number in range(first, last + 1)
    ]
    rows = [picture_row(row, axis, length_formatter(unit)) for row in shown]
    return ClearancePicture(
        rows, ticks, label(unit), any(row.target_at for row in rows), any(row.left for row in rows)
    )


def lengths_of(rows: Iterable[BeforeAfter]) -> list[float]:
    """Return all lengths that the axis has to cover."""
    lengths: list[float] = []
    for row in rows:
        limits = (row.place.low_mm, row.place.high_mm)
        lengths += [float(each) for each in limits if each is not None]
        lengths += [end for each in row.found_and_left if each for end in ends_of(each)]
    return lengths


def ends_of(measured: Measured) -> tuple[float, float]:
    return measured.reading.low_mm, measured.reading.high_mm


def scale(lengths_mm: list[float], unit: str) -> tuple[float, int, int]:
    """Return the step between ticks in mm, and the first and last tick number, with room at both ends."""
    steps_mm = [float(convert(step, unit, "mm")) for step in STEPS[unit]]
    for step_mm in steps_mm:
        first = max(0, math.ceil(min(lengths_mm) / step_mm - SLACK) - 1)
        last = math.floor(max(lengths_mm) / step_mm + SLACK) + 1
        if last - first <= MOST_STEPS:
            break
    return step_mm, first, last


def picture_row(row: BeforeAfter, axis: Axis, lengths: LengthFormatter) -> PictureRow:
    place = row.place
    span, target_at = ("", ""), ""
    if place.low_mm is not None and place.high_mm is not None:
        span = axis.place(place.low_mm), axis.width(place.low_mm, place.high_mm)
    if place.target_mm is not None:
        target_at = axis.place(place.target_mm)
    return PictureRow(
        label=place.label,
        words="; ".join(words_of(row, lengths)),
        range_at=span[0],
        range_width=span[1],
        target_at=target_at,
        found=mark_of(row.found, axis),
        left=mark_of(row.left, axis),
    )


def mark_of(measured: Measured | None, axis: Axis) -> Mark | None:
    if measured is None:
        return None
    reading = measured.reading
    low, high = (axis.place(end) for end in ends_of(measured))
    return Mark(axis.place(reading.best_mm), low, high, reading.is_bracket)


def words_of(row: BeforeAfter, lengths: LengthFormatter) -> list[str]:
    parts = [row.place.label]
    for when, measured in zip(("as found", "as left"), row.found_and_left, strict=True):
        if measured:
            verdict = f", {measured.judgement.word}" if measured.judgement else ""
            parts.append(f"{when} {measured.reading.describe(lengths)}{verdict}")
    return parts
