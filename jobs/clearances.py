"""Clearance sets between storage and arithmetic: recorded, judged, set side by side."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction

from jobs.calc.clearances import Judgement, Reading, Verdict, compare_as_left, judge
from jobs.calc.length_words import IN_MM, LengthWords
from jobs.models import ClearanceReading, ClearanceSet, ShimPlanRow
from workshop.models import EngineSpec, Gap, Side, Valve
from workshop.units import exact_mm, label

Key = tuple[str, str]  # valve key, gap

STORED_TO_MM = Decimal("0.00001")
THINNEST_BLADE_MM = Decimal("0.01")
USUAL_CLEARANCE_MM = Decimal("0.2")  # where the spec has no range; common practice, no source

OUT_OF_RANGE = (Verdict.BELOW, Verdict.ABOVE)
IN_RANGE = (Verdict.ON_TARGET, Verdict.OFF_TARGET, Verdict.IN_RANGE)


@dataclass(frozen=True)
class Place:
    """One gap of one valve, with what the engine spec wants of it."""

    valve: Valve
    gap: Gap
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
        return f"{self.valve.label}, {self.gap.value}" if self.names_gap else self.valve.label

    @property
    def has_range(self) -> bool:
        return self.low_mm is not None and self.high_mm is not None

    @property
    def goal_mm(self) -> Decimal:
        """The blueprint target, or the middle of the range where none is set."""
        if self.target_mm is not None:
            return self.target_mm
        if self.low_mm is None or self.high_mm is None:
            raise ValueError(f"{self.label} has no range in the engine spec.")
        return (self.low_mm + self.high_mm) / 2

    def judge(self, reading: Reading) -> Judgement | None:
        """What the reading says here, or None where the spec has no range for it."""
        if self.low_mm is None or self.high_mm is None:
            return None
        return judge(reading, self.low_mm, self.high_mm, self.target_mm, self.tolerance_mm)


def places(spec: EngineSpec) -> list[Place]:
    """Every gap of an engine, cylinder by cylinder."""
    return [
        Place(
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


def key_of(row: ClearanceReading | ShimPlanRow) -> Key:
    return f"{row.cylinder}-{row.side}-{row.position}", row.gap


def reading_of(row: ClearanceReading) -> Reading:
    return Reading(row.clearance_mm, row.goes_mm, row.not_goes_mm)


def slug(judgement: Judgement | None) -> str:
    """A verdict as the templates and style sheets know it: 'on-target', 'cannot-tell'."""
    return judgement.verdict.name.lower().replace("_", "-") if judgement else ""


@dataclass(frozen=True)
class Measured:
    """What was measured at one place."""

    place: Place
    row: ClearanceReading
    reading: Reading
    judgement: Judgement | None

    @property
    def verdict(self) -> str:
        return slug(self.judgement)

    def hint(self, words: LengthWords) -> str:
        """What would tell more, where the reading can't be told."""
        unsure = self.judgement is not None and self.judgement.verdict is Verdict.CANNOT_TELL
        return self.judgement.told(words) if self.judgement and unsure else ""

    @property
    def is_out(self) -> bool:
        return self.judgement is not None and self.judgement.verdict in OUT_OF_RANGE

    @property
    def is_in(self) -> bool:
        return self.judgement is not None and self.judgement.verdict in IN_RANGE

    @property
    def is_on_target(self) -> bool:
        return self.judgement is not None and self.judgement.verdict is Verdict.ON_TARGET


def measured_at(place: Place, row: ClearanceReading | None) -> Measured | None:
    if row is None:
        return None
    reading = reading_of(row)
    return Measured(place, row, reading, place.judge(reading))


def measured_by_place(
    spec: EngineSpec, rows: Iterable[ClearanceReading]
) -> list[tuple[Place, Measured | None]]:
    """Every place of the engine with what was measured there, None where nothing was."""
    by_key = {key_of(row): row for row in rows}
    return [(place, measured_at(place, by_key.get(place.key))) for place in places(spec)]


def rows_of_no_place(spec: EngineSpec, rows: Iterable[ClearanceReading]) -> list[ClearanceReading]:
    """Readings of valves that the engine spec does not have; the bike's spec was changed since."""
    known = {place.key for place in places(spec)}
    return [row for row in rows if key_of(row) not in known]


# What was typed


def typed_as_mm(figure: Decimal, unit: str) -> Decimal:
    """A clearance as typed in a unit, as it is stored."""
    return exact_mm(figure, unit).quantize(STORED_TO_MM)


def question_figure(figure: Decimal, unit: str, place: Place, words: LengthWords = IN_MM) -> str:
    """A sentence where a clearance looks like one in another unit or with the point misplaced, else ''."""
    if believable(typed_as_mm(figure, unit), place):
        return ""
    said = f"{figure} {label(unit)} can hardly be a clearance here"
    other = [(name, in_mm) for name, in_mm in other_readings(figure) if believable(in_mm, place)]
    if not other:
        return f"{said}. Look again, and write it in {label(unit)}."
    nearest = sorted(other, key=lambda each: abs(each[1] - middle_mm(place)))[:2]
    looks = " or ".join(f"{name} ({words(in_mm)})" for name, in_mm in nearest)
    return f"{said}: that looks like {looks}. Write it anew, with its unit if that is another (0.005 in)."


def other_readings(figure: Decimal) -> list[tuple[str, Decimal]]:
    """What the same digits would be in other units, in mm."""
    units = {
        "millimetres": (figure, "mm"),
        "tenths of a millimetre": (figure / 10, "mm"),
        "hundredths of a millimetre": (figure / 100, "mm"),
        "inches": (figure, "in"),
        "thousandths of an inch": (figure, "thou"),
    }
    return [(words, typed_as_mm(number, unit)) for words, (number, unit) in units.items()]


def believable(clearance_mm: Decimal, place: Place) -> bool:
    """Whether a valve can stand so: none at all, or what a blade can tell, up to three times the range."""
    high_mm = place.high_mm if place.high_mm is not None else USUAL_CLEARANCE_MM
    return clearance_mm == 0 or THINNEST_BLADE_MM <= clearance_mm <= 3 * high_mm


def middle_mm(place: Place) -> Decimal:
    return place.goal_mm if place.has_range else USUAL_CLEARANCE_MM


# The engine seen from above


@dataclass(frozen=True)
class SideRow:
    side: str
    boxes: list[Any]


@dataclass(frozen=True)
class CylinderPicture:
    number: int
    sides: list[SideRow]  # from the front of the bike to its rear


@dataclass(frozen=True)
class BankPicture:
    name: str
    cylinders: list[CylinderPicture]


BANK_NAMES = {
    EngineSpec.Arrangement.V: ("front bank", "rear bank"),
    EngineSpec.Arrangement.BOXER: ("left side", "right side"),
}


def seen_from_above(spec: EngineSpec, box_at: Callable[[Place], Any]) -> list[BankPicture]:
    """The engine as it stands in the bike, front upward, with a box of the caller's at each place."""
    by_valve: dict[tuple[int, str], list[Any]] = {}
    for place in places(spec):
        by_valve.setdefault((place.valve.cylinder, place.valve.side), []).append(box_at(place))
    names = BANK_NAMES.get(EngineSpec.Arrangement(spec.arrangement), ("",))
    banks = [BankPicture(name, []) for name in names]
    for cylinder in range(1, spec.cylinders + 1):
        sides = [SideRow(side, by_valve[cylinder, side]) for side in sides_from_front(spec, cylinder)]
        banks[spec.bank(cylinder)].cylinders.append(CylinderPicture(cylinder, sides))
    return [bank for bank in banks if bank.cylinders]


def orders_of_moving_on(spec: EngineSpec) -> dict[str, list[Place]]:
    """The orders in which a person may go round the engine; that of firing only where it is known."""
    drawn = [
        place
        for bank in seen_from_above(spec, lambda place: place)
        for cylinder in bank.cylinders
        for side in cylinder.sides
        for place in side.boxes
    ]
    sides = list(Side)
    orders = {
        "cylinder": drawn,
        "side": sorted(drawn, key=lambda place: sides.index(Side(place.valve.side))),
    }
    fires = spec.firing_cylinders
    if len(fires) > 1:
        orders["firing"] = sorted(drawn, key=lambda place: fires.index(place.valve.cylinder))
    return orders


def sides_from_front(spec: EngineSpec, cylinder: int) -> tuple[str, str]:
    """Which side of a cylinder head lies ahead of the other.

    The rear bank of a V is turned round: its intake faces that of the front bank across the valley.
    """
    turned = spec.arrangement == EngineSpec.Arrangement.V and spec.bank(cylinder) == 1
    intake_ahead = spec.intake_at_front != turned
    return (Side.INTAKE, Side.EXHAUST) if intake_ahead else (Side.EXHAUST, Side.INTAKE)


# Recording


@dataclass(frozen=True)
class Entry:
    """What was entered at one place; no reading where nothing was measured."""

    place: Place
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


@transaction.atomic
def record_clearances(*, measured: ClearanceSet, entries: Sequence[Entry]) -> ClearanceSet:
    """Save a set with its readings; a place with nothing measured has no reading.

    Raises
    ------
    StaleRecord
        Somebody saved the set since it was read; nothing is written.
    """
    measured.save()
    stored = {key_of(row): row for row in measured.readings.all()}
    for entry in entries:
        record_entry(measured, entry, stored.get(entry.place.key))
    return measured


def record_entry(measured: ClearanceSet, entry: Entry, row: ClearanceReading | None) -> None:
    if entry.reading is None:
        if row is not None:
            row.delete()
        return
    valve = entry.place.valve
    if row is None:
        row = ClearanceReading(
            clearance_set=measured,
            cylinder=valve.cylinder,
            side=valve.side,
            position=valve.position,
            gap=entry.place.gap,
        )
    elif all(getattr(row, name) == value for name, value in entry.values.items()):
        return
    for name, value in entry.values.items():
        setattr(row, name, value)
    row.save()


# As found and as left, side by side


@dataclass(frozen=True)
class BeforeAfter:
    """One place as found and as left; None where it was not measured."""

    place: Place
    found: Measured | None
    left: Measured | None

    @property
    def found_and_left(self) -> tuple[Measured | None, Measured | None]:
        return self.found, self.left

    @property
    def now(self) -> Measured | None:
        """As left, or as found where it was in range and not measured again."""
        if self.left is not None or self.found is None or not self.found.is_in:
            return self.left
        return self.found


@dataclass(frozen=True)
class History:
    """All places of an engine as found and as left on one job."""

    rows: list[BeforeAfter]

    @property
    def found(self) -> list[Measured]:
        return [row.found for row in self.rows if row.found is not None]

    @property
    def left(self) -> list[Measured]:
        return [row.left for row in self.rows if row.left is not None]

    @property
    def open(self) -> list[BeforeAfter]:
        """Places that are out of range, or can't be told, by the last that was measured there."""
        last = [(row, row.left or row.found) for row in self.rows]
        return [row for row, measured in last if measured and measured.judgement and not measured.is_in]

    @property
    def unmeasured(self) -> list[BeforeAfter]:
        return [row for row in self.rows if row.found is None and row.left is None]

    @property
    def summary(self) -> str:
        """The whole in one sentence, such as '9 of 12 were out of range; all 12 now on target'."""
        parts = [found_in_words(self.found), left_in_words(self.rows) if self.left else ""]
        return "; ".join(part for part in parts if part)


def history_of(spec: EngineSpec, sets: Mapping[ClearanceSet, Iterable[ClearanceReading]]) -> History:
    """What was last found, and what was last left, at every place; sets in the order of measuring."""
    last: dict[str, dict[Key, ClearanceReading]] = {when: {} for when in ClearanceSet.When.values}
    for measured, rows in sets.items():
        last[measured.when] |= {key_of(row): row for row in rows}
    found, left = last[ClearanceSet.When.AS_FOUND], last[ClearanceSet.When.AS_LEFT]
    return History(
        [
            BeforeAfter(
                place, measured_at(place, found.get(place.key)), measured_at(place, left.get(place.key))
            )
            for place in places(spec)
        ]
    )


def found_in_words(found: Sequence[Measured]) -> str:
    judged = [each for each in found if each.judgement is not None]
    if not judged:
        return ""
    out = sum(each.is_out for each in judged)
    unsure = sum(not each.is_out and not each.is_in for each in judged)
    text = f"{out} of {len(judged)} were out of range" if out else f"none of {len(judged)} was out of range"
    return f"{text}, {unsure} could not be told" if unsure else text


def left_in_words(rows: Sequence[BeforeAfter]) -> str:
    left = [row.left for row in rows if row.left is not None]
    if len(left) == len(rows) and all(each.is_on_target for each in left):
        return f"all {len(rows)} now on target"
    if len(left) == len(rows) and all(each.is_in for each in left):
        on_target = sum(each.is_on_target for each in left)
        return f"all {len(rows)} now in range, {on_target} of them on target"
    counts = {
        "on target": sum(each.is_on_target for each in left),
        "in range": sum(each.is_in and not each.is_on_target for each in left),
        "out of range": sum(each.is_out for each in left),
        "cannot be told": sum(not each.is_in and not each.is_out for each in left),
        "in range as found and not measured again": sum(
            row.left is None and row.now is not None for row in rows
        ),
        "not measured again": sum(row.now is None and row.left is None for row in rows),
    }
    return "now " + ", ".join(f"{count} {words}" for words, count in counts.items() if count)


def surprise(measured: Measured, predicted_mm: Decimal | None, words: LengthWords = IN_MM) -> str:
    """A sentence where a clearance as left is not what the shim plan predicted, else ''."""
    if predicted_mm is None:
        return ""
    return compare_as_left(predicted_mm, measured.reading).told(words) or ""
