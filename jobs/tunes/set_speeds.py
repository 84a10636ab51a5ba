"""Idle speed and rev limit as the tune sets them, over all jobs of the bike."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.job.results import JobResults
from jobs.models import TuneChange, TuneChangeKind, TuneRevision
from jobs.tunes.revisions import ancestry, changes_by_revision, tune_in_bike
from jobs.tunes.road_use import TuneStep, tune_steps
from workshop.units.display import parse_number

RPM_UNITS = {"", "1/min", "rpm", "r/min", "min-1", "min⁻¹", "u/min"}


@dataclass(frozen=True)
class SetSpeed:
    """An engine speed and what sets it."""

    rpm: float
    source: str


def rev_limit_in_bike(results: JobResults) -> SetSpeed | None:
    """Return the rev limit of the tune in the bike, or that of the engine spec."""
    return find_set_speed(results, results.get(tune_in_bike), TuneChangeKind.Sets.REV_LIMIT)


def find_set_speed(
    results: JobResults, revision: TuneRevision | None, sets: TuneChangeKind.Sets
) -> SetSpeed | None:
    """Return the engine speed that a tune of this job sets, or that of the engine spec.

    A tune has the changes of those it is based on, and of those that earlier jobs left in the bike.
    """
    for change in reversed(list(changes_in(results, revision))):
        rpm = parse_rpm(change) if change.kind.sets == sets else None
        if rpm is not None:
            return SetSpeed(rpm, change.revision.label)
    spec = results.job.bike.engine_spec
    rpm = getattr(spec, sets.value, None)
    return SetSpeed(rpm, _("engine spec")) if rpm else None


def changes_in(results: JobResults, revision: TuneRevision | None) -> Iterable[TuneChange]:
    """Return the changes in a tune of this job since the last calibration as built, the oldest first."""
    line = list(reversed(ancestry(revision, results.rows(TuneRevision))))
    own = results.get(changes_by_revision)
    steps: Sequence[TuneStep] = [
        *(step for step in results.get(tune_steps) if step.revision.job_id != results.job.pk),
        *(TuneStep(tune, own.get(tune.pk, [])) for tune in line),
    ]
    as_built = [k for k, step in enumerate(steps) if step.revision.is_as_built]
    return [change for step in steps[as_built[-1] if as_built else 0 :] for change in step.changes]


def parse_rpm(change: TuneChange) -> float | None:
    """Return the engine speed that a change sets; None for another unit, a difference, or no number."""
    text = re.sub(r"(?<=\d)[\s’'](?=\d{3}\b)", "", change.to_value.strip())
    if change.unit.strip().casefold() not in RPM_UNITS or text[:1] in "+-−":
        return None
    try:
        rpm = float(parse_number(text))
    except ValueError:
        return None
    return rpm if rpm > 0 else None
