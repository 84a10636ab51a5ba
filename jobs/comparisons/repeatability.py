"""How much runs on the shop's roller differ that should not: measured from its own repeats."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from django.db.models import Count, Q

from jobs.calc.dyno.repeats import Repeatability, shop_repeatability
from jobs.comparisons.compare import can_be_compared
from jobs.job.results import results_of
from jobs.models import Job, Run
from jobs.runs.results import run_results
from jobs.timeline.bike_states import bike_states
from workshop.models import ShopProfile

MOST_JOBS = 30  # the latest ones: the roller and the people at it change


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
    """``found`` is None where no job has two sweeps in one state of the bike."""

    groups: tuple[RepeatGroup, ...]
    found: Repeatability | None

    @property
    def to_use_pct(self) -> float | None:
        """What stands for a single run, within what the shop's profile can hold."""
        return min(max(round(self.found.sd_pct, 2), 0.05), 10.0) if self.found else None


def measured_repeatability(shop: ShopProfile) -> MeasuredRepeatability:
    """The spread of peak power within groups of repeats, over the latest jobs that have some."""
    counting = Q(runs__kind=Run.Kind.SWEEP, runs__status=Run.Status.READ, runs__set_aside=False)
    jobs = (
        Job.objects.select_related("bike")
        .annotate(sweeps=Count("runs", filter=counting))
        .filter(sweeps__gte=2)
    )
    latest = jobs.order_by("-pk")[:MOST_JOBS]
    groups = tuple(group for job in latest for group in groups_of(job, shop))
    found = shop_repeatability([group.peaks_kw for group in groups]) if groups else None
    return MeasuredRepeatability(groups, found)


def groups_of(job: Job, shop: ShopProfile) -> Iterator[RepeatGroup]:
    """A job's repeats: sweeps of one state of the bike, in one gear, all with their air or all without."""
    results = results_of(job, shop)
    for state in results.get(bike_states):
        runs = sorted(filter(can_be_compared, state.runs), key=made_alike)
        for (_, gear), alike in groupby(runs, key=made_alike):
            curves = [results.get(run_results)[run.pk].curve for run in alike]
            peaks = tuple(curve.peak_power_kw for curve in curves if curve and curve.peak_power_kw > 0)
            if len(peaks) > 1:
                yield RepeatGroup(job, gear or None, peaks)


def made_alike(run: Run) -> tuple[bool, int]:
    return run.has_air, run.gear or 0
