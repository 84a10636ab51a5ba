"""Record measured clearances."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction

from jobs.calc.clearances.readings import Reading
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.clearances.valve_gaps import ValveGap, gap_key
from jobs.models import ClearanceReading, ClearanceSet
from workshop.units.display import exact_mm, label

STORED_TO_MM = Decimal("0.00001")


MIN_BLADE_MM = Decimal("0.01")


USUAL_CLEARANCE_MM = Decimal("0.2")  # if the spec has no range. Rule of thumb, no published source.


def to_mm(figure: Decimal, unit: str) -> Decimal:
    """Convert a typed clearance to mm, as it is stored."""
    return exact_mm(figure, unit).quantize(STORED_TO_MM)


def plausibility_warning(
    figure: Decimal, unit: str, valve_gap: ValveGap, lengths: LengthFormatter = IN_MM
) -> str:
    """Return a sentence if a clearance looks like another unit or a misplaced point, else ""."""
    if is_plausible(to_mm(figure, unit), valve_gap):
        return ""
    message = f"{figure} {label(unit)} is not a plausible clearance here."
    other = [
        (name, in_mm) for name, in_mm in readings_in_other_units(figure) if is_plausible(in_mm, valve_gap)
    ]
    if not other:
        return f"{message} Check it and enter it in {label(unit)}."
    nearest = sorted(other, key=lambda reading: abs(reading[1] - middle_mm(valve_gap)))[:2]
    looks = " or ".join(f"{name} ({lengths(in_mm)})" for name, in_mm in nearest)
    return f"{message} It looks like {looks}. Enter it again, with a unit if needed (0.005 in)."


def readings_in_other_units(figure: Decimal) -> list[tuple[str, Decimal]]:
    """Return what the same digits would be in other units, in mm."""
    units = {
        "millimetres": (figure, "mm"),
        "tenths of a millimetre": (figure / 10, "mm"),
        "hundredths of a millimetre": (figure / 100, "mm"),
        "inches": (figure, "in"),
        "thousandths of an inch": (figure, "thou"),
    }
    return [(words, to_mm(number, unit)) for words, (number, unit) in units.items()]


def is_plausible(clearance_mm: Decimal, valve_gap: ValveGap) -> bool:
    """Return True if a clearance is plausible: zero, or a gap of a blade up to three times the range."""
    high_mm = valve_gap.high_mm if valve_gap.high_mm is not None else USUAL_CLEARANCE_MM
    return clearance_mm == 0 or MIN_BLADE_MM <= clearance_mm <= 3 * high_mm


def middle_mm(valve_gap: ValveGap) -> Decimal:
    return valve_gap.effective_target_mm if valve_gap.has_range else USUAL_CLEARANCE_MM


@dataclass(frozen=True)
class GapEntry:
    """The input for one gap; without a reading if nothing was measured."""

    valve_gap: ValveGap
    reading: Reading | None
    shim_marked_mm: Decimal | None = None
    shim_measured_mm: Decimal | None = None

    @property
    def values(self) -> dict[str, Any]:
        reading = self.reading
        return {
            "clearance_mm": reading and reading.value_mm,
            "goes_mm": reading and reading.goes_mm,
            "not_goes_mm": reading and reading.not_goes_mm,
            "shim_marked_mm": self.shim_marked_mm,
            "shim_measured_mm": self.shim_measured_mm,
        }


def describe_saved(measured: ClearanceSet, entries: Sequence[GapEntry]) -> str:
    """Say how many clearances were saved, and name the skipped ones."""
    skipped = [entry.valve_gap.label for entry in entries if entry.reading is None]
    saved = (
        f"Clearances {measured.get_when_display()} saved: {len(entries) - len(skipped)} of {len(entries)}."
    )
    return f"{saved} {len(skipped)} skipped: {'; '.join(skipped)}." if skipped else saved


@transaction.atomic
def record_clearances(*, measured: ClearanceSet, entries: Sequence[GapEntry]) -> ClearanceSet:
    """Save a set with its readings; a gap with nothing measured has no reading.

    Raises
    ------
    StaleRecord
        Someone saved the set since it was read; nothing is written.
    """
    measured.save()
    stored = {gap_key(row): row for row in measured.readings.all()}
    for entry in entries:
        record_entry(measured, entry, stored.get(entry.valve_gap.key))
    return measured


def record_entry(measured: ClearanceSet, entry: GapEntry, row: ClearanceReading | None) -> None:
    if entry.reading is None:
        if row is not None:
            row.delete()
        return
    valve = entry.valve_gap.valve
    if row is None:
        row = ClearanceReading(
            clearance_set=measured,
            cylinder=valve.cylinder,
            side=valve.side,
            position=valve.position,
            gap=entry.valve_gap.gap,
        )
    elif all(getattr(row, name) == value for name, value in entry.values.items()):
        return
    for name, value in entry.values.items():
        setattr(row, name, value)
    row.save()
