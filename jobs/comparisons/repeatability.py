"""Measure the repeatability of the shop's dyno from its own repeats."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from django.db.models import Count, Q

from jobs.calc.dyno.repeats import Repeatability, shop_repeatability
from jobs.comparisons.compare import is_comparable
from jobs.job.results import load_job_results
from jobs.models import Job, Run
from jobs.runs.results import run_results
from jobs.timeline.bike_states import bike_states
from workshop.models import ShopProfile

MAX_JOBS = 30  # only the latest: the dyno and its operators change


@dataclass(frozen=True)
class RepeatGroup:
    """Sweeps made in one state of one bike and one gear, by their peak power."""

    job: Job
    gear: int | None
    peaks_kw: tuple[float, ...]

    @property
    def mean_kw(self) -> float:
        return float(np.mean(self.peaks_kw))

    @property
    def sd_pct(self) -> float:
        return float(100 * np.std(self.peaks_kw, ddof=1) / self.mean_kw)


@dataclass(frozen=True)
class MeasuredRepeatability:
    """Groups of repeats and their pooled spread; ``found`` is None without any group."""

    groups: tuple[RepeatGroup, ...]
    found: Repeatability | None

    @property
    def suggested_pct(self) -> float | None:
        """Repeatability to use for single runs, within the limits of the shop profile."""
        return min(max(round(self.found.sd_pct, 2), 0.05), 10.0) if self.found else None


def measured_repeatability(shop: ShopProfile) -> MeasuredRepeatability:
    """Measure the spread of peak power within groups of repeats over the latest jobs."""
    counting = Q(runs__kind=Run.Kind.SWEEP, runs__status=Run.Status.READ, runs__set_aside=False)
    jobs = (
        Job.objects.select_related("bike")
        .annotate(sweeps=Count("runs", filter=counting))
        .filter(sweeps__gte=2)
    )
    latest = jobs.order_by("-pk")[:MAX_JOBS]
    groups = tuple(group for job in latest for group in group_repeats(job, shop))
    found = shop_repeatability([group.peaks_kw for group in groups]) if groups else None
    return MeasuredRepeatability(groups, found)


def group_repeats(job: Job, shop: ShopProfile) -> Iterator[RepeatGroup]:
    """Yield the repeats of a job: sweeps in one state of the bike and one gear, with or without air."""
    results = load_job_results(job, shop)
    for state in results.get(bike_states):
        runs = sorted(filter(is_comparable, state.runs), key=repeat_key)
        for (_, gear), alike in groupby(runs, key=repeat_key):
            curves = [results.get(run_results)[run.pk].curve for run in alike]
            peaks = tuple(curve.peak_power_kw for curve in curves if curve and curve.peak_power_kw > 0)
            if len(peaks) > 1:
                yield RepeatGroup(job, gear or None, peaks)


def repeat_key(run: Run) -> tuple[bool, int]:
    return run.has_air, run.gear or 0
