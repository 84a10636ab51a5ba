"""Clearance readings between storage and arithmetic, judged against the engine spec."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from django.utils.translation import gettext as _

from jobs.calc.clearances.readings import ClearanceVerdict, Judgement, Reading, judge
from jobs.calc.units.length_format import LengthFormatter
from jobs.models import ClearanceReading, ShimPlanRow
from workshop.models import ClearanceKind, EngineSpec, ShopProfile, Valve
from workshop.units.display import length_formatter

Key = tuple[str, str]  # valve key, gap


@dataclass(frozen=True)
class ValveGap:
    """One gap of one valve, with its limits from the engine spec."""

    valve: Valve
    gap: ClearanceKind
    names_gap: bool  # whether the valve has two gaps, so that the label must say which
    low_mm: Decimal | None
    high_mm: Decimal | None
    target_mm: Decimal | None
    tolerance_mm: Decimal
    camshaft: str

    @property
    def key(self) -> Key:
        return self.valve.key, self.gap.value

    @property
    def slug(self) -> str:
        return f"{self.valve.key}-{self.gap.value}"

    @property
    def label(self) -> str:
        return f"{self.valve.label}, {_(self.gap.value)}" if self.names_gap else self.valve.label

    @property
    def has_range(self) -> bool:
        return self.low_mm is not None and self.high_mm is not None

    @property
    def effective_target_mm(self) -> Decimal:
        """Return the target, or the middle of the range if none is set."""
        if self.target_mm is not None:
            return self.target_mm
        if self.low_mm is None or self.high_mm is None:
            raise ValueError(f"{self.label} has no range in the engine spec.")
        return (self.low_mm + self.high_mm) / 2

    def judge(self, reading: Reading) -> Judgement | None:
        """Judge a reading, or return None if the spec has no range for this gap."""
        if self.low_mm is None or self.high_mm is None:
            return None
        return judge(reading, self.low_mm, self.high_mm, self.target_mm, self.tolerance_mm)


def valve_gaps(spec: EngineSpec) -> list[ValveGap]:
    """Return every gap of an engine, cylinder by cylinder."""
    return [
        ValveGap(
            valve,
            gap,
            spec.has_closing,
            *spec.limits(valve.side, gap),
            spec.target_tolerance_mm,
            spec.camshaft(valve),
        )
        for valve in spec.valves
        for gap in spec.gaps
    ]


def describe_limits(valve_gap: ValveGap, shop: ShopProfile) -> str:
    """Return the range and target of a gap in the shop's unit: '0.10 to 0.20 mm, target 0.16'."""
    if valve_gap.low_mm is None or valve_gap.high_mm is None:
        return "no range in the engine spec"
    lengths = length_formatter(shop.length_unit)
    aim = "" if valve_gap.target_mm is None else f", target {lengths.format_number(valve_gap.target_mm)}"
    return f"{lengths.format_range(valve_gap.low_mm, valve_gap.high_mm)}{aim}"


def gap_key(row: ClearanceReading | ShimPlanRow) -> Key:
    return f"{row.cylinder}-{row.side}-{row.position}", row.gap


def to_reading(row: ClearanceReading) -> Reading:
    return Reading(row.clearance_mm, row.goes_mm, row.not_goes_mm)


def verdict_slug(judgement: Judgement | None) -> str:
    """Return a verdict as templates and style sheets name it: 'on-target', 'cannot-tell'."""
    return judgement.verdict.name.lower().replace("_", "-") if judgement else ""


@dataclass(frozen=True)
class JudgedReading:
    """A reading at one gap with its verdict."""

    valve_gap: ValveGap
    row: ClearanceReading
    reading: Reading

    @cached_property
    def judgement(self) -> Judgement | None:
        """The verdict on the reading; a trend needs none."""
        return self.valve_gap.judge(self.reading)

    @property
    def verdict(self) -> str:
        return verdict_slug(self.judgement)

    def hint(self, lengths: LengthFormatter) -> str:
        """Return what to measure next if the reading is not certain."""
        return self.judgement.hint(lengths) if self.judgement else ""

    @property
    def is_out(self) -> bool:
        return self.judgement is not None and self.judgement.verdict.is_out

    @property
    def is_in(self) -> bool:
        return self.judgement is not None and self.judgement.verdict.is_in

    @property
    def is_on_target(self) -> bool:
        return self.judgement is not None and self.judgement.verdict is ClearanceVerdict.ON_TARGET


def measured_at(valve_gap: ValveGap, row: ClearanceReading | None) -> JudgedReading | None:
    if row is None:
        return None
    return JudgedReading(valve_gap, row, to_reading(row))


def readings_by_gap(
    spec: EngineSpec, rows: Iterable[ClearanceReading]
) -> list[tuple[ValveGap, JudgedReading | None]]:
    """Return every gap of the engine with its reading, or None if not measured."""
    by_key = {gap_key(row): row for row in rows}
    return [(valve_gap, measured_at(valve_gap, by_key.get(valve_gap.key))) for valve_gap in valve_gaps(spec)]


def orphaned_readings(spec: EngineSpec, rows: Iterable[ClearanceReading]) -> list[ClearanceReading]:
    """Return readings of valves that the engine spec lacks, because it was changed since."""
    known = {valve_gap.key for valve_gap in valve_gaps(spec)}
    return [row for row in rows if gap_key(row) not in known]
