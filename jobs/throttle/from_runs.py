"""Throttle-plate drift from held runs, and idle from idle runs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from jobs.calc.throttle.closed_throttle import Idle, measure_idle
from jobs.calc.throttle.hold_drift import DriftVerdict, HoldDrift, estimate_hold_drift
from jobs.calc.throttle.tables import ThrottleMap
from jobs.job.results import JobResults
from jobs.models import Run, ThrottleTable, TuneChangeKind, TuneRevision
from jobs.runs.channel_files import load_channels
from jobs.tunes.set_speeds import SetSpeed, find_set_speed
from jobs.tunes.throttle_tables import review_modes, throttle_tables

HOLD_CHANNELS = ("time_s", "grip_pct", "plate_pct", "engine_speed_rpm")


IDLE_CHANNELS = ("time_s", "engine_speed_rpm")


@dataclass(frozen=True)
class DriftCheck:
    """Throttle-plate drift at a steady grip with one tune, from its held runs."""

    revision: TuneRevision | None
    runs: list[Run]
    result: HoldDrift

    @property
    def label(self) -> str:
        return self.revision.label if self.revision else _("no tune")

    @property
    def needs_attention(self) -> bool:
        return self.result.verdict.is_drift

    @property
    def holds(self) -> bool:
        return self.result.verdict is DriftVerdict.HOLDS


def drift_checks(results: JobResults) -> list[DriftCheck]:
    return check_drift_by_tune(results.rows(Run), results.rows(TuneRevision), results.get(throttle_tables))


def check_drift_by_tune(
    runs: Iterable[Run], revisions: Sequence[TuneRevision], tables: Sequence[ThrottleTable]
) -> list[DriftCheck]:
    """Check the plate drift of each tune that has held runs with grip and plate, by its throttle tables."""
    by_tune: dict[int, list[Run]] = {}
    for run in runs:
        if is_held_with_plate(run):
            by_tune.setdefault(run.tune_revision_id or 0, []).append(run)
    checks = []
    for group in by_tune.values():
        reviews = review_modes(group[0].tune_revision, revisions, tables).values()
        maps = [review.throttle_map for review in reviews if review.throttle_map]
        checks.append(DriftCheck(group[0].tune_revision, group, check_drift(group, maps)))
    return sorted(checks, key=lambda check: check.revision.number if check.revision else -1)


def is_held_with_plate(run: Run) -> bool:
    has_all = set(HOLD_CHANNELS) <= set(run.channel_names)
    return run.kind == Run.Kind.HELD and run.status == Run.Status.READ and not run.set_aside and has_all


def check_drift(runs: Sequence[Run], throttle_maps: Sequence[ThrottleMap]) -> HoldDrift:
    """Estimate the plate drift from all held runs of a tune.

    A gap is put between the runs, so that no stretch spans two of them.
    """
    parts = [load_channels(run, HOLD_CHANNELS) for run in runs]
    joined = [np.concatenate([np.append(part[name], np.nan) for part in parts]) for name in HOLD_CHANNELS]
    time_s, grip, plate, speed = joined
    return estimate_hold_drift(time_s, grip, plate, speed, throttle_maps)


@dataclass(frozen=True)
class IdleRun:
    """Idle measured in one run, or the reason why it was not."""

    run: Run
    result: Idle | None
    problem: str = ""


def job_idles(results: JobResults) -> list[IdleRun]:
    """Check the idle runs, each against the idle speed of its tune."""
    return [
        check_idle(run, find_set_speed(results, run.tune_revision, TuneChangeKind.Sets.IDLE))
        for run in results.rows(Run)
        if run.kind == Run.Kind.IDLE and run.status == Run.Status.READ and not run.set_aside
    ]


def check_idle(run: Run, target: SetSpeed | None) -> IdleRun:
    channels = load_channels(run, IDLE_CHANNELS)
    if len(channels) < len(IDLE_CHANNELS):
        return IdleRun(run, None, _("The file has no time or engine speed."))
    if target is None:
        return IdleRun(run, None, _("Neither tune nor engine spec has an idle speed to compare with."))
    time_s, speed = channels["time_s"], channels["engine_speed_rpm"]
    try:
        return IdleRun(run, measure_idle(time_s, speed, target.rpm, target.source))
    except ValueError as problem:
        return IdleRun(run, None, str(problem))
