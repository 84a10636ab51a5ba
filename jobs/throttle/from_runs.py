"""Throttle tables of a job: by mode, as received and as loaded, and what held and idle runs say of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from jobs.calc.throttle.closed_throttle import Idle, measure_idle
from jobs.calc.throttle.hold_drift import DriftVerdict, HoldDrift, estimate_hold_drift
from jobs.job.results import JobResults
from jobs.models import Run, TuneRevision
from jobs.runs.channel_files import load_channels

HOLD_CHANNELS = ("time_s", "grip_pct", "plate_pct", "engine_speed_rpm")


IDLE_CHANNELS = ("time_s", "engine_speed_rpm")


@dataclass(frozen=True)
class HeldGrip:
    """Whether the plate holds at a held grip with one tune, from how many held runs."""

    revision: TuneRevision | None
    runs: list[Run]
    result: HoldDrift

    @property
    def label(self) -> str:
        return self.revision.label if self.revision else "no tune named"

    @property
    def needs_attention(self) -> bool:
        return self.result.verdict.is_drift

    @property
    def holds(self) -> bool:
        return self.result.verdict is DriftVerdict.HOLDS


def held_grips(results: JobResults) -> list[HeldGrip]:
    return held_grip(results.rows(Run))


def held_grip(runs: Iterable[Run]) -> list[HeldGrip]:
    """The held-grip check of every tune that has held runs with grip and plate, in the order of tunes."""
    by_tune: dict[int, list[Run]] = {}
    for run in runs:
        if is_held_with_plate(run):
            by_tune.setdefault(run.tune_revision_id or 0, []).append(run)
    checked = [HeldGrip(group[0].tune_revision, group, hold_of(group)) for group in by_tune.values()]
    return sorted(checked, key=lambda each: each.revision.number if each.revision else -1)


def is_held_with_plate(run: Run) -> bool:
    has_all = set(HOLD_CHANNELS) <= set(run.channel_names)
    return run.kind == Run.Kind.HELD and run.status == Run.Status.READ and not run.set_aside and has_all


def hold_of(runs: Sequence[Run]) -> HoldDrift:
    """All held runs of a tune together; a gap between them keeps each stretch inside its own run."""
    parts = [load_channels(run, HOLD_CHANNELS) for run in runs]
    joined = [np.concatenate([np.append(part[name], np.nan) for part in parts]) for name in HOLD_CHANNELS]
    return estimate_hold_drift(*joined)


@dataclass(frozen=True)
class IdleRun:
    """What an idle run says, or why it says nothing."""

    run: Run
    result: Idle | None
    problem: str = ""


def idle_runs(runs: Iterable[Run], target_rpm: float | None) -> list[IdleRun]:
    """Each idle run against the engine spec's idle speed."""
    wanted = [
        run
        for run in runs
        if run.kind == Run.Kind.IDLE and run.status == Run.Status.READ and not run.set_aside
    ]
    return [idle_of(run, target_rpm) for run in wanted]


def job_idles(results: JobResults) -> list[IdleRun]:
    spec = results.job.bike.engine_spec
    return idle_runs(results.rows(Run), spec.idle_rpm if spec else None)


def idle_of(run: Run, target_rpm: float | None) -> IdleRun:
    channels = load_channels(run, IDLE_CHANNELS)
    if len(channels) < len(IDLE_CHANNELS):
        return IdleRun(run, None, "The file has no time or no engine speed.")
    if not target_rpm:
        return IdleRun(run, None, "The engine spec gives no idle speed to hold it against.")
    try:
        return IdleRun(run, measure_idle(channels["time_s"], channels["engine_speed_rpm"], target_rpm))
    except ValueError as problem:
        return IdleRun(run, None, str(problem))
