"""Throttle tables of a tune, by riding mode."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from jobs.calc.dyno.curves import Flag
from jobs.calc.throttle import tables as calc
from jobs.calc.units.numbers import format_number
from jobs.job.results import JobResults
from jobs.models import ThrottleTable, TuneRevision
from jobs.tunes.revisions import line_of, tune_in_bike

FIRST_FIFTH = f"first {calc.SPANS_PCT[20.0]}"


AS_RECEIVED, IN_BIKE = "as received", "in the bike"


def as_calc(table: ThrottleTable) -> calc.ThrottleMap:
    """The table as the arithmetic takes it.

    Raises
    ------
    ValueError
        What is stored is no throttle table.
    """
    return calc.ThrottleMap(table.grip_pct, table.engine_speed_rpm, table.plate_pct)


@dataclass(frozen=True)
class Judged:
    """A table with its gains and what its checks say; ``read`` is None where it is no table at all."""

    table: ThrottleTable
    read: calc.ThrottleMap | None
    gains: Mapping[float, float]
    flags: tuple[Flag, ...]
    step: calc.LargestStep | None


def judge(table: ThrottleTable) -> Judged:
    try:
        read = as_calc(table)
    except ValueError as problem:
        return Judged(table, None, {}, (Flag("no-table", str(problem)),), None)
    return Judged(table, read, read.gains, read.find_problems(), read.largest_step)


@dataclass(frozen=True)
class Mode:
    """One riding mode: its table as received and as it is in the bike, and what was tried on the way.

    Attributes
    ----------
    received, loaded : Judged or None
        The same one where the mode was never changed; ``received`` is None where its first table
        belongs to a later tune, ``loaded`` where no table of it is in the bike.
    others : list
        Tables of the mode that are neither.
    """

    name: str
    received: Judged | None
    loaded: Judged | None
    others: list[ThrottleTable] = field(default_factory=list)

    @property
    def shown(self) -> Judged | None:
        return self.loaded or self.received

    @property
    def tables(self) -> list[tuple[str, Judged]]:
        """What there is to show, each under its name; an unchanged table once."""
        if self.received and self.loaded and self.received.table == self.loaded.table:
            return [(f"{AS_RECEIVED}, {IN_BIKE}", self.received)]
        named = ((AS_RECEIVED, self.received), (IN_BIKE, self.loaded))
        return [(name, judged) for name, judged in named if judged]

    @property
    def for_whom(self) -> str:
        tables = [judged.table for judged in (self.loaded, self.received) if judged]
        return next((table.for_whom for table in tables if table.for_whom), "")

    @property
    def is_changed(self) -> bool:
        return len(self.tables) > 1

    @cached_property
    def words(self) -> list[str]:
        """How the mode opens against what it did as received, or what its table does by itself."""
        if self.is_changed and self.received and self.loaded:
            return compared(self.received, self.loaded, (table_named(0), self.name))
        return [own_words(self.shown)] if self.shown else ["No table of this mode is in the bike."]

    @property
    def sentence(self) -> str:
        """The one thing to say of it: how it opens over the first fifth of the grip."""
        return next((words for words in self.words if FIRST_FIFTH in words), self.words[0])

    @property
    def flags(self) -> tuple[Flag, ...]:
        return self.shown.flags if self.shown else ()


def table_named(number: int) -> str:
    return f"the table {AS_RECEIVED}" if number == 0 else f"tune {number}"


def compared(first: Judged, second: Judged, names: tuple[str, str]) -> list[str]:
    """How one table opens against another in words, or why that can't be said."""
    if first.read is None or second.read is None:
        return []
    try:
        found = calc.compare_maps(first.read, second.read, names)
    except ValueError as problem:
        return [str(problem)]
    far = (
        f"They lie furthest apart at {found.at_grip_pct:g} % grip and {format_number(found.at_rpm)} 1/min: "
        f"{format_number(found.largest_pct, 1, signed=True)} % plate."
    )
    return [*(sentence[0].upper() + sentence[1:] for sentence in found.sentences), far]


def own_words(judged: Judged) -> str:
    gain = judged.gains.get(20.0, float("nan"))
    if np.isnan(gain):
        return f"The table does not hold the {FIRST_FIFTH} of the grip."
    return f"The plate opens {format_number(gain, 2)} % for each % of grip over the {FIRST_FIFTH} of it."


def tables_at(
    revision: TuneRevision | None, revisions: Sequence[TuneRevision], tables: Iterable[ThrottleTable]
) -> dict[str, ThrottleTable]:
    """The tables that a revision carries, by mode: its own, else those of what it was made from."""
    carried: dict[str, ThrottleTable] = {}
    by_revision: dict[int, list[ThrottleTable]] = {}
    for table in tables:
        by_revision.setdefault(table.revision_id, []).append(table)
    for each in line_of(revision, revisions):
        for table in by_revision.get(each.pk, []):
            carried.setdefault(table.mode, table)
    return carried


def modes_of(
    revisions: Sequence[TuneRevision], tables: Sequence[ThrottleTable], in_bike: TuneRevision | None
) -> list[Mode]:
    """Every mode of a job, in the order of the words on the bike."""
    received = {table.mode: table for table in tables if table.revision.number == 0}
    loaded = tables_at(in_bike, revisions, tables)
    found = []
    for name in sorted({table.mode for table in tables}):
        first, last = received.get(name), loaded.get(name)
        others = [table for table in tables if table.mode == name and table not in (first, last)]
        found.append(Mode(name, judge(first) if first else None, judge(last) if last else None, others))
    return found


def throttle_tables(results: JobResults) -> list[ThrottleTable]:
    """List the job's tables in the order of tunes and modes."""
    return sorted(results.rows(ThrottleTable), key=lambda table: (table.revision.number, table.mode))


def riding_modes(results: JobResults) -> list[Mode]:
    tables = results.get(throttle_tables)
    return modes_of(results.rows(TuneRevision), tables, results.get(tune_in_bike))


def modes_against_each_other(modes: Sequence[Mode]) -> list[tuple[str, list[str]]]:
    """Each mode in the bike against the first of them, in words."""
    return against_each_other({mode.name: mode.loaded for mode in modes if mode.loaded})


def against_each_other(tables: Mapping[str, Judged]) -> list[tuple[str, list[str]]]:
    """Each mode of a revision against the first of them, in words."""
    return [
        (f"{name} against {first}", compared(tables[first], judged, (first, name)))
        for first in list(tables)[:1]
        for name, judged in tables.items()
        if name != first
    ]


def judged_of(
    revision: TuneRevision | None, revisions: Sequence[TuneRevision], tables: Iterable[ThrottleTable]
) -> dict[str, Judged]:
    """The modes of one revision, each with its table, in the order of the words on the bike."""
    carried = tables_at(revision, revisions, tables)
    return {mode: judge(carried[mode]) for mode in sorted(carried)}


@dataclass(frozen=True)
class TableDifference:
    """How a mode's table differs between two revisions."""

    mode: str
    words: list[str]


def table_differences(
    results: JobResults, first: TuneRevision, second: TuneRevision
) -> list[TableDifference]:
    """Return the modes whose tables are not the same in two tunes."""
    revisions, tables = results.rows(TuneRevision), results.get(throttle_tables)
    before, after = (tables_at(revision, revisions, tables) for revision in (first, second))
    found = []
    for mode in sorted(before.keys() | after.keys()):
        one, other = before.get(mode), after.get(mode)
        if one is None or other is None:
            has, lacks = (first, second) if one else (second, first)
            found.append(TableDifference(mode, [f"{has} has a table of this mode, {lacks} has none."]))
        elif one.as_arrays() != other.as_arrays():
            names = (table_named(first.number), table_named(second.number))
            found.append(TableDifference(mode, compared(judge(one), judge(other), names)))
    return found


def speeds_of(modes: Sequence[Mode]) -> list[float]:
    """Engine speeds at which the tables in question have points, to choose from."""
    return sorted(
        {float(rpm) for mode in modes for _, judged in mode.tables for rpm in judged.table.engine_speed_rpm}
    )
