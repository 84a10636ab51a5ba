"""Throttle tables of a tune, by riding mode."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from jobs.calc.dyno.curves import Flag
from jobs.calc.throttle import tables as calc
from jobs.calc.units.numbers import format_digits, format_number
from jobs.job.results import JobResults
from jobs.job.sentences import upper_first
from jobs.models import ThrottleTable, TuneRevision
from jobs.tunes.revisions import ancestry, tune_in_bike
from workshop.csv_files import csv_text

PLATE_COLUMNS = ("tune", "mode", "for_whom", "grip_pct", "engine_speed_rpm", "plate_pct")


def to_map(table: ThrottleTable) -> calc.ThrottleMap:
    """Convert a stored table for the calculations.

    Raises
    ------
    ValueError
        The stored values are not a throttle table.
    """
    return calc.ThrottleMap(table.grip_pct, table.engine_speed_rpm, table.plate_pct)


@dataclass(frozen=True)
class TableReview:
    """A table with its gains and flags; ``throttle_map`` is None if the table is invalid."""

    table: ThrottleTable
    throttle_map: calc.ThrottleMap | None
    gains: Mapping[float, float]
    flags: tuple[Flag, ...]
    step: calc.LargestStep | None

    @property
    def values(self) -> tuple[Any, Any, Any]:
        """Grip, engine speed and plate: a table that a later tune repeats has the same."""
        return self.table.as_arrays()


def review_table(table: ThrottleTable) -> TableReview:
    try:
        throttle_map = to_map(table)
    except ValueError as problem:
        return TableReview(table, None, {}, (Flag("no-table", str(problem)),), None)
    return TableReview(
        table, throttle_map, throttle_map.gains, throttle_map.find_problems(), throttle_map.largest_step
    )


@dataclass(frozen=True)
class Mode:
    """A riding mode with its table as received, the one in the bike and those tried in between.

    Attributes
    ----------
    received, loaded : TableReview or None
        The same one if the mode was never changed; ``received`` is None if its first table
        belongs to a later tune, ``loaded`` if no table of it is in the bike.
    others : list
        Tables of the mode that are neither.
    """

    name: str
    received: TableReview | None
    loaded: TableReview | None
    others: list[ThrottleTable] = field(default_factory=list)

    @property
    def shown(self) -> TableReview | None:
        return self.loaded or self.received

    @property
    def tables(self) -> list[tuple[str, TableReview]]:
        """Tables to show with their names; an unchanged table once."""
        if self.received and self.loaded and self.received.values == self.loaded.values:
            return [(f"{_('as received')}, {_('in the bike')}", self.received)]
        named = ((_("as received"), self.received), (_("in the bike"), self.loaded))
        return [(name, review) for name, review in named if review]

    @property
    def for_whom(self) -> str:
        tables = [review.table for review in (self.loaded, self.received) if review]
        return next((table.for_whom for table in tables if table.for_whom), "")

    @property
    def is_changed(self) -> bool:
        return len(self.tables) > 1

    @cached_property
    def sentences(self) -> list[str]:
        """Description of how the mode opens, compared with as received if it was changed."""
        if self.is_changed and self.received and self.loaded:
            found = describe_difference(self.received, self.loaded, (table_name(0), self.name))
            return [*found, *describe_cap(self.loaded)]
        if self.shown is None:
            return [_("No table of this mode is in the bike.")]
        return [describe_table(self.shown), *describe_cap(self.shown)]

    @property
    def sentence(self) -> str:
        """Description of the first 20 % of the grip, as staff read it."""
        return next((text for text in self.sentences if "first 20 % of the grip" in text), self.sentences[0])

    @property
    def flags(self) -> tuple[Flag, ...]:
        return self.shown.flags if self.shown else ()


def table_name(number: int) -> str:
    return _("the table as received") if number == 0 else _("tune %(number)s") % {"number": number}


def describe_difference(first: TableReview, second: TableReview, names: tuple[str, str]) -> list[str]:
    """Describe how one table opens compared with another, or why they cannot be compared."""
    if first.throttle_map is None or second.throttle_map is None:
        return []
    try:
        comparison = calc.compare_maps(first.throttle_map, second.throttle_map, names)
    except ValueError as problem:
        return [str(problem)]
    return [*map(upper_first, comparison.sentences), describe_largest(comparison)]


def describe_largest(comparison: calc.MapDifference) -> str:
    if comparison.is_same_at_all_rpm:
        texts = (
            _("Largest difference: at %(grip)s %% grip the plate is %(points)s percentage points more open."),
            _("Largest difference: at %(grip)s %% grip the plate is %(points)s percentage points less open."),
        )
    else:
        texts = (
            _(
                "Largest difference: at %(grip)s %% grip and %(speed)s rpm the plate is %(points)s "
                "percentage points more open."
            ),
            _(
                "Largest difference: at %(grip)s %% grip and %(speed)s rpm the plate is %(points)s "
                "percentage points less open."
            ),
        )
    return texts[comparison.largest_pct < 0] % {
        "points": format_number(abs(comparison.largest_pct), 1),
        "grip": format_digits(comparison.at_grip_pct),
        "speed": format_number(comparison.at_rpm),
    }


def describe_table(review: TableReview) -> str:
    gain = review.gains.get(20.0, float("nan"))
    if np.isnan(gain):
        return _("The table does not cover the first 20 % of the grip.")
    text = _("Over the first 20 %% of the grip, the plate opens %(gain)s %% per 1 %% of grip.")
    return text % {"gain": format_number(gain, 2)}


def describe_cap(review: TableReview) -> list[str]:
    """Say that a mode stops short of the full plate, which it is made for."""
    cap = review.throttle_map.cap if review.throttle_map else None
    if cap is None:
        return []
    text = _(
        "At full grip the plate stops at %(plate)s %% (at %(speed)s rpm), by design. Plate opening "
        "is not torque: at low engine speed a part-open plate may give nearly full torque."
    )
    return [text % {"plate": format_digits(cap[0]), "speed": format_number(cap[1])}]


def effective_tables(
    revision: TuneRevision | None, revisions: Sequence[TuneRevision], tables: Iterable[ThrottleTable]
) -> dict[str, ThrottleTable]:
    """Return the tables in effect with a revision by mode: its own or inherited ones."""
    effective: dict[str, ThrottleTable] = {}
    by_revision: dict[int, list[ThrottleTable]] = {}
    for table in tables:
        by_revision.setdefault(table.revision_id, []).append(table)
    for ancestor in ancestry(revision, revisions):
        for table in by_revision.get(ancestor.pk, []):
            effective.setdefault(table.mode, table)
    return effective


def build_modes(
    revisions: Sequence[TuneRevision], tables: Sequence[ThrottleTable], in_bike: TuneRevision | None
) -> list[Mode]:
    """Return the riding modes of a job, sorted by name."""
    received = {table.mode: table for table in tables if table.revision.number == 0}
    loaded = effective_tables(in_bike, revisions, tables)
    found = []
    for name in sorted({table.mode for table in tables}):
        first, last = received.get(name), loaded.get(name)
        others = [table for table in tables if table.mode == name and table not in (first, last)]
        found.append(
            Mode(name, review_table(first) if first else None, review_table(last) if last else None, others)
        )
    return found


def throttle_tables(results: JobResults) -> list[ThrottleTable]:
    """List the job's tables in the order of tunes and modes."""
    return sorted(results.rows(ThrottleTable), key=lambda table: (table.revision.number, table.mode))


def riding_modes(results: JobResults) -> list[Mode]:
    tables = results.get(throttle_tables)
    return build_modes(results.rows(TuneRevision), tables, results.get(tune_in_bike))


def compare_modes(modes: Sequence[Mode]) -> list[tuple[str, list[str]]]:
    """Compare the modes in the bike with the first of them."""
    return compare_tables({mode.name: mode.loaded for mode in modes if mode.loaded})


def compare_tables(tables: Mapping[str, TableReview]) -> list[tuple[str, list[str]]]:
    """Describe how the modes of a revision open compared with the first of them."""
    return [
        (
            _("%(mode)s compared with %(other)s") % {"mode": name, "other": first},
            describe_difference(tables[first], review, (first, name)),
        )
        for first in list(tables)[:1]
        for name, review in tables.items()
        if name != first
    ]


def steeper_ends(tables: Mapping[str, TableReview]) -> list[str]:
    """Return a warning for each mode that opens less than another at first and ends steeper."""
    maps = {name: review.throttle_map for name, review in tables.items() if review.throttle_map}
    return calc.find_steeper_ends(maps)


def review_modes(
    revision: TuneRevision | None, revisions: Sequence[TuneRevision], tables: Iterable[ThrottleTable]
) -> dict[str, TableReview]:
    """Review the tables of one revision by mode, sorted by mode."""
    effective = effective_tables(revision, revisions, tables)
    return {mode: review_table(effective[mode]) for mode in sorted(effective)}


@dataclass(frozen=True)
class TableDifference:
    """Difference of a mode's table between two revisions."""

    mode: str
    sentences: list[str]


def table_differences(
    results: JobResults, first: TuneRevision, second: TuneRevision
) -> list[TableDifference]:
    """Return the modes whose tables differ between two tunes."""
    revisions, tables = results.rows(TuneRevision), results.get(throttle_tables)
    before, after = (effective_tables(revision, revisions, tables) for revision in (first, second))
    found = []
    for mode in sorted(before.keys() | after.keys()):
        one, other = before.get(mode), after.get(mode)
        if one is None or other is None:
            has, lacks = (first, second) if one else (second, first)
            found.append(TableDifference(mode, [f"{has} has a table of this mode, {lacks} has none."]))
        elif one.as_arrays() != other.as_arrays():
            names = (table_name(first.number), table_name(second.number))
            found.append(
                TableDifference(mode, describe_difference(review_table(one), review_table(other), names))
            )
    return found


def table_speeds(modes: Sequence[Mode]) -> list[float]:
    """Return the engine speeds at which tables of these modes have points."""
    return sorted(
        {float(rpm) for mode in modes for _, review in mode.tables for rpm in review.table.engine_speed_rpm}
    )


def plates_csv(tables: Iterable[ThrottleTable]) -> str:
    """Return every point of every table as CSV, a row each; empty without any."""
    rows: list[Sequence[Any]] = [
        [table.revision.label, table.mode, table.for_whom, grip, speed, plate]
        for table in tables
        for grip, plates in table.rows
        for speed, plate in zip(table.engine_speed_rpm, plates, strict=True)
    ]
    return csv_text(PLATE_COLUMNS, rows) if rows else ""
