"""Measure the spread of the shop's dyno from its own repeats and repeated baselines."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from django.db.models import Count, Q

from jobs.calc.dyno.curves import Curve
from jobs.calc.dyno.repeats import Repeatability, common_grid, describe_repeatability, stack_curves
from jobs.calc.dyno.spread import ShopSpread, run_spread, session_spread, slope_spread
from jobs.calc.statistics import FloatArray
from jobs.comparisons.compare import is_comparable
from jobs.comparisons.sessions import number_sessions
from jobs.job.results import load_job_results
from jobs.models import Job, Run
from jobs.runs.results import curves_at_one_width, run_results
from jobs.timeline.bike_states import bike_states
from workshop.models import ShopProfile

MAX_JOBS = 30  # only the latest: the dyno and its operators change


@dataclass(frozen=True, eq=False)
class RepeatGroup:
    """Sweeps made in one state of one bike and one gear, by session: power over common engine speeds."""

    job: Job
    gear: int | None
    engine_speed_rpm: FloatArray
    power_kw: tuple[FloatArray, ...]
    peaks_kw: tuple[FloatArray, ...]

    @property
    def runs(self) -> int:
        return sum(peaks.size for peaks in self.peaks_kw)

    @property
    def means_kw(self) -> tuple[FloatArray, ...]:
        return tuple(power.mean(axis=1) for power in self.power_kw)

    @property
    def mean_kw(self) -> float:
        return float(np.concatenate(self.peaks_kw).mean())

    @property
    def sd_pct(self) -> float | None:
        """Spread from run to run of peak power; None if no session has two runs."""
        return run_spread([self.peaks_kw]).sd_pct if self.runs > len(self.peaks_kw) else None


@dataclass(frozen=True)
class MeasuredRepeatability:
    """Groups of repeats and their pooled spread; ``found`` and ``spread`` are None without any repeat."""

    groups: tuple[RepeatGroup, ...]
    spread: ShopSpread | None

    @property
    def found(self) -> Repeatability | None:
        return describe_repeatability(self.spread.mean) if self.spread else None

    @property
    def repeated_baselines(self) -> int:
        """Number of sessions beyond the first of each state."""
        return sum(len(group.peaks_kw) - 1 for group in self.groups)


def measured_repeatability(shop: ShopProfile) -> MeasuredRepeatability:
    """Measure the spread within and between sessions over the latest jobs."""
    counting = Q(runs__kind=Run.Kind.SWEEP, runs__status=Run.Status.READ, runs__set_aside=False)
    jobs = (
        Job.objects.select_related("bike")
        .annotate(sweeps=Count("runs", filter=counting))
        .filter(sweeps__gte=2)
    )
    latest = jobs.order_by("-pk")[:MAX_JOBS]
    groups = tuple(group for job in latest for group in group_repeats(job, shop))
    return MeasuredRepeatability(groups, measure_spread(groups))


def measure_spread(groups: Sequence[RepeatGroup]) -> ShopSpread | None:
    """Return the spread that repeats show; None if no session has two runs."""
    if not any(group.runs > len(group.peaks_kw) for group in groups):
        return None
    curves = [group.power_kw for group in groups]
    mean = run_spread(group.means_kw for group in groups)
    return ShopSpread(
        mean=mean,
        peak=run_spread(group.peaks_kw for group in groups),
        point=run_spread(curves),
        slope_pct_per_krpm=slope_spread(curves, [group.engine_speed_rpm for group in groups]),
        session=session_spread((group.means_kw for group in groups), mean),
    )


def group_repeats(job: Job, shop: ShopProfile) -> Iterator[RepeatGroup]:
    """Yield the repeats of a job: sweeps in one state of the bike and one gear, with or without air."""
    results = load_job_results(job, shop)
    for state in results.get(bike_states):
        runs = sorted(filter(is_comparable, state.runs), key=repeat_key)
        for (_, gear), alike in groupby(runs, key=repeat_key):
            made = [results.get(run_results)[run.pk] for run in alike]
            with_curve = [result for result in made if result.curve and result.curve.peak_power_kw > 0]
            sessions = number_sessions(result.run for result in with_curve)
            curves = curves_at_one_width(with_curve, shop) if len(with_curve) > 1 else []
            group = repeat_group(job, gear or None, curves, sessions)
            if group:
                yield group


def repeat_group(
    job: Job, gear: int | None, curves: Sequence[Curve], sessions: Sequence[int]
) -> RepeatGroup | None:
    """Return the repeats over the speeds that all runs measured; None if there are none."""
    if len(curves) < 2:
        return None
    grid = common_grid(curves)
    power, _ = stack_curves(curves, grid)
    common = np.isfinite(power).all(axis=0)
    if common.sum() < 2 or not (power[:, common] > 0).all():
        return None
    numbers = np.array(sessions)
    places = [numbers == number for number in sorted(set(sessions))]
    peaks = np.array([curve.peak_power_kw for curve in curves])
    return RepeatGroup(
        job,
        gear,
        grid[common],
        tuple(power[place][:, common] for place in places),
        tuple(peaks[place] for place in places),
    )


def repeat_key(run: Run) -> tuple[bool, int]:
    return run.has_air, run.gear or 0
