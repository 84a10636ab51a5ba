"""Contents of the boxes of the clearance form, and how they are parsed."""

import re
from dataclasses import dataclass, replace
from decimal import Decimal

from django import forms

from jobs.calc.units.factors import identify_unit
from jobs.calc.units.length_format import format_mm
from jobs.clearances.valve_gaps import JudgedReading, ValveGap
from jobs.models import ShimPlanRow
from workshop.units.display import Plausible, format_plain, parse_number

FIGURE = r"\d+[.,]?\d*|[.,]\d+"
GAP_AS_TYPED = re.compile(rf"({FIGURE})(?:\s*[-–/]\s*({FIGURE}))?\s*([^\d\s.,/–-].*)?", re.ASCII)
MEASURED = Plausible(0, 999)  # a gap or a shim: three decimals are never thousands
HOW_TO_WRITE = (
    "Enter 0.12 or 0,12. Between two blades enter 0.10-0.12: the largest that goes, then the smallest that "
    "does not."
)


def in_mm(length_mm: Decimal | None) -> str:
    return "" if length_mm is None else format_mm(length_mm)


def limit_text(limit_mm: Decimal | None) -> str:
    """Write a limit with every digit, for the script that judges input against it."""
    return "" if limit_mm is None else format_plain(limit_mm)


@dataclass(frozen=True)
class GapInput:
    """Input of a clearance box: one value, or the two blades."""

    figures: tuple[Decimal, ...]
    unit: str


def parse_gap(text: str, unit: str) -> GapInput:
    """Parse a clearance; a unit after it overrides the shop's own.

    Raises
    ------
    ValueError
        It cannot be parsed; the sentence says how to write it.
    """
    found = GAP_AS_TYPED.fullmatch(text.strip())
    named = identify_unit(found[3], "length") if found and found[3] else unit
    if found is None or named not in ("mm", "in", "thou"):
        raise ValueError(f"“{text.strip()[:30]}” is not a clearance. {HOW_TO_WRITE}")
    return GapInput(tuple(parse_number(figure, MEASURED) for figure in (found[1], found[2]) if figure), named)


def has_three_decimals(text: str) -> bool:
    """Return True if a shim's thickness has three decimals, which leaves nothing to ask."""
    return re.fullmatch(r"\d[.,]\d{3}", text.strip().removesuffix("mm").strip(), re.ASCII) is not None


def combined_gap(opening: ValveGap, closing: ValveGap) -> ValveGap:
    """Return the gap that a loaded value is checked against: both clearances added."""
    low_mm = add_limits(opening.low_mm, closing.low_mm)
    high_mm = add_limits(opening.high_mm, closing.high_mm)
    return replace(closing, low_mm=low_mm, high_mm=high_mm, target_mm=None)


def add_limits(one_mm: Decimal | None, other_mm: Decimal | None) -> Decimal | None:
    return None if one_mm is None or other_mm is None else one_mm + other_mm


@dataclass
class Box:
    """The inputs at one place, for the template."""

    valve_gap: ValveGap
    clearance: forms.BoundField
    stops: forms.BoundField
    marked: forms.BoundField | None
    measured: forms.BoundField | None
    limits: dict[str, str]  # in mm: low, high, target, tolerance, predicted, within
    stored: JudgedReading | None  # judged until the browser judges what is typed
    planned: ShimPlanRow | None

    @property
    def errors(self) -> list[str]:
        fields = (self.clearance, self.stops, self.marked, self.measured)
        return [str(error) for field in fields if field is not None for error in field.errors]
