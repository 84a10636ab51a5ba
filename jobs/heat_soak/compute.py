"""Temperatures and power of the repeats of a job, and the slope of one on the other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from jobs.calc.dyno.heat_soak import CommonSlope, fit_common_slope
from jobs.calc.dyno.repeats import common_grid, stack_curves
from jobs.job.results import JobResults
from jobs.models import Run
from jobs.runs.results import RunResult, run_results
from jobs.timeline.bike_states import bike_states

TEMPERATURES = ("intake_air_temperature_c", "coolant_temperature_c", "oil_temperature_c")


@dataclass(frozen=True)
class HeatSoakRun:
    """One repeat: its power against the mean of its group [%], and mean temperatures of its sweep [°C]."""

    result: RunResult
    group: int
    power_pct: float
    temperatures_c: Mapping[str, float]


@dataclass(frozen=True)
class HeatSoak:
    """The repeats of a job, and for each temperature that was recorded the slope in % of power per °C."""

    runs: tuple[HeatSoakRun, ...] = ()
    slopes: Mapping[str, CommonSlope | None] = field(default_factory=dict)


def heat_soak(results: JobResults) -> HeatSoak:
    """Return power and temperatures of the repeats in each state of the bike, with the common slopes."""
    by_run = results.get(run_results)
    runs: list[HeatSoakRun] = []
    for group, state in enumerate(results.get(bike_states)):
        sweeps = [by_run[run.pk] for run in state.runs if run.kind == Run.Kind.SWEEP and run.counts]
        runs += read_group([result for result in sweeps if result.curve], group)
    recorded = [name for name in TEMPERATURES if any(name in run.temperatures_c for run in runs)]
    return HeatSoak(tuple(runs), {name: fit_slope(runs, name) for name in recorded})


def read_group(results: Sequence[RunResult], group: int) -> list[HeatSoakRun]:
    """Return the repeats of one state by their mean power where all of them were measured."""
    curves = [result.curve for result in results if result.curve]
    if len(curves) < 2:
        return []
    power, _ = stack_curves(curves, common_grid(curves))
    common = np.isfinite(power).all(axis=0)
    if not common.any():
        return []
    mean = power[:, common].mean(axis=1)
    shares = 100 * (mean / mean.mean() - 1)
    return [
        HeatSoakRun(result, group, float(share), read_temperatures(result))
        for result, share in zip(results, shares, strict=True)
    ]


def read_temperatures(result: RunResult) -> dict[str, float]:
    values = {name: result.channel(name) for name in TEMPERATURES}
    return {
        name: float(np.nanmean(samples))
        for name, samples in values.items()
        if samples is not None and np.isfinite(samples).any()
    }


def fit_slope(runs: Sequence[HeatSoakRun], name: str) -> CommonSlope | None:
    known = [run for run in runs if name in run.temperatures_c]
    groups = {run.group: [one for one in known if one.group == run.group] for run in known}
    return fit_common_slope(
        [
            ([run.temperatures_c[name] for run in members], [run.power_pct for run in members])
            for members in groups.values()
        ]
    )
