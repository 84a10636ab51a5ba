"""Clearances as found and as left, valve by valve."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from jobs.calc.clearances.readings import compare_as_left
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.clearances.places import Key, Measured, Place, key_of, measured_at, places
from jobs.job.results import JobResults
from jobs.models import ClearanceReading, ClearanceSet
from workshop.models import EngineSpec


@dataclass(frozen=True)
class BeforeAfter:
    """One valve gap as found and as left; None if it was not measured."""

    place: Place
    found: Measured | None
    left: Measured | None

    @property
    def found_and_left(self) -> tuple[Measured | None, Measured | None]:
        return self.found, self.left

    @property
    def now(self) -> Measured | None:
        """Return the reading as left, or as found if in range and not measured again."""
        if self.left is not None or self.found is None or not self.found.is_in:
            return self.left
        return self.found


@dataclass(frozen=True)
class History:
    """All valve gaps of an engine as found and as left on one job."""

    rows: list[BeforeAfter]

    @property
    def found(self) -> list[Measured]:
        return [row.found for row in self.rows if row.found is not None]

    @property
    def left(self) -> list[Measured]:
        return [row.left for row in self.rows if row.left is not None]

    @property
    def open(self) -> list[BeforeAfter]:
        """Return gaps that are out of range, or not certain, by the latest reading."""
        last = [(row, row.left or row.found) for row in self.rows]
        return [row for row, measured in last if measured and measured.judgement and not measured.is_in]

    @property
    def unmeasured(self) -> list[BeforeAfter]:
        return [row for row in self.rows if row.found is None and row.left is None]

    @property
    def summary(self) -> str:
        """Summarise in one sentence, such as '9 of 12 were out of range; all 12 now on target'."""
        parts = [found_in_words(self.found), left_in_words(self.rows) if self.left else ""]
        return "; ".join(part for part in parts if part)


def history_of(spec: EngineSpec, sets: Mapping[ClearanceSet, Iterable[ClearanceReading]]) -> History:
    """Return the latest reading as found and as left at every gap; sets in the order of measuring."""
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


def readings_by_set(results: JobResults) -> dict[ClearanceSet, list[ClearanceReading]]:
    """Return the readings of each set that has some, in the order of measuring."""
    readings: dict[ClearanceSet, list[ClearanceReading]] = {
        measured: [] for measured in results.rows(ClearanceSet)
    }
    for reading in results.rows(ClearanceReading):
        readings[reading.clearance_set].append(reading)
    return {measured: rows for measured, rows in readings.items() if rows}


def clearances_before_after(results: JobResults) -> History | None:
    """Return the clearances valve by valve, or None if the engine is not known."""
    spec = results.job.bike.engine_spec
    return history_of(spec, results.get(readings_by_set)) if spec else None


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


def surprise(measured: Measured, predicted_mm: Decimal | None, lengths: LengthFormatter = IN_MM) -> str:
    """Return a sentence if the clearance as left is not what the shim plan predicted, else ""."""
    if predicted_mm is None:
        return ""
    return compare_as_left(predicted_mm, measured.reading).describe(lengths)
