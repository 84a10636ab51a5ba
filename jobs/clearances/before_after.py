"""Clearances as found and as left, valve by valve."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from jobs.calc.clearances.readings import ClearanceVerdict, compare_as_left
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.clearances.valve_gaps import JudgedReading, Key, ValveGap, gap_key, measured_at, valve_gaps
from jobs.job.results import JobResults
from jobs.models import ClearanceReading, ClearanceSet
from workshop.models import EngineSpec


@dataclass(frozen=True)
class BeforeAfter:
    """One valve gap as found and as left; None if it was not measured."""

    valve_gap: ValveGap
    found: JudgedReading | None
    left: JudgedReading | None

    @property
    def as_found_as_left(self) -> tuple[JudgedReading | None, JudgedReading | None]:
        return self.found, self.left

    @property
    def latest(self) -> JudgedReading | None:
        """Return the reading as left, or as found if in range and not measured again."""
        if self.left is not None or self.found is None or not self.found.is_in:
            return self.left
        return self.found


@dataclass(frozen=True)
class ClearancesBeforeAfter:
    """All valve gaps of an engine as found and as left on one job."""

    rows: list[BeforeAfter]

    @property
    def found(self) -> list[JudgedReading]:
        return [row.found for row in self.rows if row.found is not None]

    @property
    def left(self) -> list[JudgedReading]:
        return [row.left for row in self.rows if row.left is not None]

    @property
    def unresolved(self) -> list[BeforeAfter]:
        """Return gaps that are out of range, or not certain, by the latest reading."""
        last = [(row, row.left or row.found) for row in self.rows]
        return [row for row, measured in last if measured and measured.judgement and not measured.is_in]

    @property
    def unmeasured(self) -> list[BeforeAfter]:
        return [row for row in self.rows if row.found is None and row.left is None]

    @property
    def summary(self) -> str:
        """Summarise in one sentence, such as '9 of 12 out of range as found; all 12 on target as left'."""
        parts = [describe_as_found(self.found), describe_as_left(self.rows) if self.left else ""]
        return "; ".join(part for part in parts if part)


def pair_readings(
    spec: EngineSpec, sets: Mapping[ClearanceSet, Iterable[ClearanceReading]]
) -> ClearancesBeforeAfter:
    """Return the latest reading as found and as left at every gap; sets in the order of measuring."""
    last: dict[str, dict[Key, ClearanceReading]] = {when: {} for when in ClearanceSet.When.values}
    for measured, rows in sets.items():
        last[measured.when] |= {gap_key(row): row for row in rows}
    found, left = last[ClearanceSet.When.AS_FOUND], last[ClearanceSet.When.AS_LEFT]
    return ClearancesBeforeAfter(
        [
            BeforeAfter(
                valve_gap,
                measured_at(valve_gap, found.get(valve_gap.key)),
                measured_at(valve_gap, left.get(valve_gap.key)),
            )
            for valve_gap in valve_gaps(spec)
        ]
    )


def readings_by_set(results: JobResults) -> dict[ClearanceSet, list[ClearanceReading]]:
    """Return the readings of each set that has some, in the order of measuring."""
    readings: dict[int, list[ClearanceReading]] = defaultdict(list)
    for reading in results.rows(ClearanceReading):
        readings[reading.clearance_set_id].append(reading)
    sets = results.rows(ClearanceSet)
    return {measured: readings[measured.pk] for measured in sets if measured.pk in readings}


def clearances_before_after(results: JobResults) -> ClearancesBeforeAfter | None:
    """Return the clearances valve by valve, or None if the engine is not known."""
    spec = results.job.bike.engine_spec
    return pair_readings(spec, results.get(readings_by_set)) if spec else None


def describe_set(
    measured: Sequence[JudgedReading], total: int, when: str, found: Sequence[JudgedReading] = ()
) -> str:
    """Return the answer of one set, such as '16 of 16 on target as left; 5 tight as found'."""
    judged = [reading for reading in measured if reading.judgement is not None]
    out = count_out(judged)
    on_target = sum(reading.is_on_target for reading in judged)
    if not judged:
        answer = f"{len(measured)} of {total} measured {when}"
    elif out:
        count, verdicts = out.split(" ", 1)
        answer = f"{count} of {len(judged)} {verdicts} {when}"
    elif on_target == len(judged):
        answer = f"{on_target} of {len(judged)} on target {when}"
    else:
        answer = f"{len(judged)} of {len(judged)} in range {when}, {on_target} on target"
    missing = f"{total - len(measured)} not measured" if judged and len(measured) < total else ""
    before = f"{count_out(found)} as found" if count_out(found) else ""
    return "; ".join(part for part in (answer, missing, before) if part)


def count_out(measured: Iterable[JudgedReading]) -> str:
    """Count what is not in range, such as '5 tight, 1 not certain', or return ''."""
    counts = Counter(reading.judgement.verdict for reading in measured if reading.judgement)
    verdicts = (ClearanceVerdict.TIGHT, ClearanceVerdict.LOOSE, ClearanceVerdict.CANNOT_TELL)
    return ", ".join(f"{counts[verdict]} {verdict}" for verdict in verdicts if counts[verdict])


def describe_as_found(found: Sequence[JudgedReading]) -> str:
    judged = [measured for measured in found if measured.judgement is not None]
    if not judged:
        return ""
    out = sum(measured.is_out for measured in judged)
    unsure = sum(not measured.is_out and not measured.is_in for measured in judged)
    values = {"count": out, "all": len(judged)}
    text = (
        _("%(count)s of %(all)s out of range as found") if out else _("none of %(all)s out of range as found")
    )
    text = text % values
    return f"{text}, {_('%(count)s not certain') % {'count': unsure}}" if unsure else text


def describe_as_left(rows: Sequence[BeforeAfter]) -> str:
    left = [row.left for row in rows if row.left is not None]
    if len(left) == len(rows) and all(measured.is_on_target for measured in left):
        return _("all %(all)s on target as left") % {"all": len(rows)}
    if len(left) == len(rows) and all(measured.is_in for measured in left):
        on_target = sum(measured.is_on_target for measured in left)
        values = {"all": len(rows), "count": on_target}
        return _("all %(all)s in range as left, %(count)s on target") % values
    counts = {
        _("%(count)s on target"): sum(measured.is_on_target for measured in left),
        _("%(count)s in range"): sum(measured.is_in and not measured.is_on_target for measured in left),
        _("%(count)s out of range"): sum(measured.is_out for measured in left),
        _("%(count)s not certain"): sum(not measured.is_in and not measured.is_out for measured in left),
        _("%(count)s in range as found but not measured again"): sum(
            row.left is None and row.latest is not None for row in rows
        ),
        _("%(count)s not measured again"): sum(row.latest is None and row.left is None for row in rows),
    }
    named = ", ".join(words % {"count": count} for words, count in counts.items() if count)
    return _("as left: %(counts)s") % {"counts": named}


def prediction_mismatch(
    measured: JudgedReading, predicted_mm: Decimal | None, lengths: LengthFormatter = IN_MM
) -> str:
    """Return a sentence if the clearance as left is not what the shim plan predicted, else ""."""
    if predicted_mm is None:
        return ""
    return compare_as_left(predicted_mm, measured.reading).describe(lengths)
