"""Torque over ignition advance at each engine speed and grip that was held, from the held runs of a job."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from jobs.calc.dyno.ignition import BestAdvance, fit_best_advance
from jobs.calc.mixture.steady import find_steady_samples
from jobs.job.results import JobResults
from jobs.models import Run
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.throttle.runs_by_tune import observed_torque

NEEDED = ("time_s", "engine_speed_rpm", "grip_pct", "ignition_advance_deg")
# Holds so near to one another are at one point of the engine. Rules of thumb, no published source.
SPEED_STEP_RPM, GRIP_STEP_PCT = 250.0, 5.0
# The advance is the same until it is further than this from the mean so far; shorter spells are left out.
SAME_ADVANCE_DEG, MIN_SPELL_S = 1.0, 0.5


@dataclass(frozen=True)
class AdvancePoint:
    """The mean of a spell at one advance within a hold: [1/min], [%], [°], [N·m] as observed."""

    run: Run
    engine_speed_rpm: float
    grip_pct: float
    advance_deg: float
    torque_nm: float


@dataclass(frozen=True, eq=False)
class IgnitionSweep:
    """The points at one engine speed and grip, with the best advance if there are enough."""

    engine_speed_rpm: float
    grip_pct: float
    points: tuple[AdvancePoint, ...]
    result: BestAdvance | None


def ignition_sweeps(results: JobResults) -> list[IgnitionSweep]:
    """Return a sweep for each engine speed and grip held at more than one advance."""
    cells: dict[tuple[float, float], list[AdvancePoint]] = {}
    for run in results.rows(Run):
        if run.kind == Run.Kind.HELD and run.status == Run.Status.READ and run.counts:
            for point in advance_points(run):
                cell = (
                    SPEED_STEP_RPM * round(point.engine_speed_rpm / SPEED_STEP_RPM),
                    GRIP_STEP_PCT * round(point.grip_pct / GRIP_STEP_PCT),
                )
                cells.setdefault(cell, []).append(point)
    return [
        build_sweep(speed, grip, sorted(points, key=lambda point: point.advance_deg))
        for (speed, grip), points in sorted(cells.items())
        if len(points) > 1 and np.ptp([point.advance_deg for point in points]) > SAME_ADVANCE_DEG
    ]


def build_sweep(speed: float, grip: float, points: Sequence[AdvancePoint]) -> IgnitionSweep:
    advance, torque = ([getattr(p, name) for p in points] for name in ("advance_deg", "torque_nm"))
    return IgnitionSweep(speed, grip, tuple(points), fit_best_advance(advance, torque))


def advance_points(run: Run) -> Iterator[AdvancePoint]:
    """Yield a point for each spell at one advance in the holds of a run."""
    if not set(NEEDED) <= set(run.channel_names):
        return
    channels = load_channels(run, [*NEEDED, "torque_nm", "power_kw"])
    torque = observed_torque(run, channels)
    if torque is None:
        return
    time, speed, grip, advance = (channels[name] for name in NEEDED)
    holds = find_steady_samples(time, speed, grip).hold
    usable = (holds >= 0) & np.isfinite(advance) & np.isfinite(torque)
    for hold in np.unique(holds[usable]):
        rows = np.flatnonzero(usable & (holds == hold))
        for spell in split_by_advance(advance[rows]):
            at = rows[spell]
            if time[at[-1]] - time[at[0]] >= MIN_SPELL_S:
                means = (float(channel[at].mean()) for channel in (speed, grip, advance, torque))
                yield AdvancePoint(run, *means)


def split_by_advance(advance_deg: FloatArray) -> list[slice]:
    """Return the spells in which the advance stays near its mean so far."""
    spells, start, total = [], 0, 0.0
    for row, value in enumerate(advance_deg.tolist()):
        if row > start and abs(value - total / (row - start)) > SAME_ADVANCE_DEG:
            spells.append(slice(start, row))
            start, total = row, 0.0
        total += value
    return [*spells, slice(start, advance_deg.size)]
