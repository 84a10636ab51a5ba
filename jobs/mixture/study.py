"""Mixture studies between storage and arithmetic: from runs to a stored result."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from jobs.calc.mixture import grid as calc
from jobs.calc.mixture.axes import suggest_load_axis, suggest_speed_axis
from jobs.calc.mixture.fuel import FUELS
from jobs.calc.mixture.fuel_table import MAX_DECIMALS, apply_to_table, fill_gaps, find_table_step
from jobs.calc.mixture.steady import (
    Delay,
    RunChannels,
    SteadyLimits,
    SteadySamples,
    collect_steady_samples,
    estimate_delay,
)
from jobs.calc.mixture.visits import Visit, find_visits
from jobs.calc.mixture.warnings import HIGH_LOAD_PCT, LEAN_SHARE, find_warnings
from jobs.calc.tables.cell_grid import check_axis
from jobs.calc.tables.pasted_table import PastedTable, format_table, parse_table
from jobs.models import Job, MixtureStudy, Run
from jobs.runs.channel_files import FloatArray, load_channels

CHANNELS = ("time_s", "engine_speed_rpm", "grip_pct", "plate_pct", "lambda")
# What a step of the fuel is seen in: the opening time that the engine's electronics asked for.
STEP_CHANNELS = ("time_s", "injector_time_ms", "lambda")
LOADS = {"grip_pct": "grip", "plate_pct": "plate"}
# Within this share of its target a cell is on it; common practice, no source.
ON_TARGET = 0.01
DECIMALS = 4
Json = dict[str, Any]


class StudyProblem(ValueError):
    """What stands in the way of a study, and at which field of the form."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


@contextmanager
def at(field: str) -> Iterator[None]:
    try:
        yield
    except ValueError as problem:
        raise StudyProblem(field, str(problem)) from problem


@dataclass(frozen=True)
class Limits:
    """What counts as steady, as well enough measured, as lean; the names are those stored."""

    min_dwell_s: float = SteadyLimits.min_hold_s
    grip_rate_pct_s: float = SteadyLimits.grip_rate_pct_s
    speed_rate_rpm_s: float = SteadyLimits.speed_rate_rpm_s
    fewest_dwells: int = calc.MIN_HOLDS
    largest_half_width: float = calc.MAX_HALF_WIDTH
    largest_pass: float = calc.MAX_PASS
    high_load_pct: float = HIGH_LOAD_PCT
    lean_share: float = LEAN_SHARE

    @classmethod
    def of(cls, stored: Mapping[str, Any]) -> "Limits":
        return cls(**{name: stored[name] for name in asdict(cls()) if name in stored})

    @property
    def steady(self) -> SteadyLimits:
        return SteadyLimits(
            grip_rate_pct_s=self.grip_rate_pct_s,
            speed_rate_rpm_s=self.speed_rate_rpm_s,
            min_hold_s=self.min_dwell_s,
        )


@dataclass(frozen=True)
class Asked:
    """Everything a study is computed from."""

    runs: Sequence[Run]
    load_channel: str
    rpm_axis: Sequence[float]
    load_axis: Sequence[float]
    target: Any
    fuel: str
    delay_ms: float
    limits: Limits
    fuel_table: str = ""
    dead_time: float = 0.0
    fill: bool = False


@dataclass(frozen=True)
class Computed:
    """What is stored of a study."""

    settings_used: Json
    result: Json
    fuel_table_before: Json | None
    fuel_table_after: Json | None


def why_not(run: Run) -> str:
    """Why a run can't be part of a study; '' where it can."""
    if run.status != Run.Status.READ:
        return "its columns are not named yet"
    if run.set_aside:
        return "it is set aside"
    lacking = {"time_s": "time", "engine_speed_rpm": "engine speed", "lambda": "lambda"}
    lacks = [words for name, words in lacking.items() if name not in run.channel_names]
    if not {"grip_pct", "plate_pct"} & set(run.channel_names):
        lacks.append("grip or plate")
    return f"it has no {', no '.join(lacks)}" if lacks else ""


def usable_runs(job: Job) -> list[Run]:
    return [run for run in job.runs.select_related("tune_revision") if not why_not(run)]


def step_runs(job: Job) -> list[Run]:
    """The runs that may hold a step of the fuel: they tell what was asked for and what the sensor saw."""
    runs = job.runs.select_related("tune_revision")
    return [run for run in runs if run.counts and set(STEP_CHANNELS) <= set(run.channel_names)]


def delay_from(run: Run) -> Delay:
    """The sensor's delay from the fuel step in a run.

    Raises
    ------
    ValueError
        There is no step in it that lambda follows.
    """
    channels = load_channels(run, STEP_CHANNELS)
    time_s, fuel, lambda_ = (channels[name] for name in STEP_CHANNELS)
    return estimate_delay(time_s, fuel, lambda_)


def suggested_axes(runs: Iterable[Run], load_channel: str = "grip_pct") -> tuple[list[float], list[float]]:
    """Axes of engine speed and load as the held runs, or all if there are none, suggest them."""
    given = list(runs)
    held = [run for run in given if run.kind == Run.Kind.HELD] or given
    read = [load_channels(run, ("engine_speed_rpm", load_channel)) for run in held]
    speeds = [each["engine_speed_rpm"] for each in read if "engine_speed_rpm" in each]
    return suggest_speed_axis(speeds), suggest_load_axis(
        [each[load_channel] for each in read if load_channel in each]
    )


def compute(asked: Asked) -> Computed:
    """Everything that a study stores.

    Raises
    ------
    StudyProblem
        Something asked for can't be; it names the field.
    """
    with at("rpm_axis"):
        check_axis(asked.rpm_axis, "engine speed")
    with at("load_axis"):
        check_axis(asked.load_axis, LOADS[asked.load_channel])
    pasted = read_fuel_table(asked.fuel_table)
    samples = gather_samples(asked)
    with at("runs"):
        grid = calc.build_mixture_grid(
            samples.engine_speed_rpm,
            samples.load_pct,
            samples.lambda_,
            asked.rpm_axis,
            asked.load_axis,
            hold=samples.hold,
        )
    limits = asked.limits
    with at("target"):
        target = calc.expand_target(asked.target, grid)
    with at("fewest_dwells"):
        correction = calc.compute_correction(
            grid,
            target,
            min_holds=limits.fewest_dwells,
            max_half_width=limits.largest_half_width,
            max_pass=limits.largest_pass,
        )
    few = grid.visited & ~correction.given
    if asked.fill:
        correction = fill_gaps(correction)
    flags = find_warnings(
        grid,
        target,
        high_load_pct=limits.high_load_pct,
        lean_share=limits.lean_share,
        min_holds=limits.fewest_dwells,
    )
    result = {
        **grid_as_json(grid, target),
        "few": few.tolist(),
        "correction": rounded(correction.multiplier),
        "wanted": rounded(correction.wanted),
        "limited": correction.limited.tolist(),
        "filled": correction.filled.tolist(),
        "behind": behind(asked.runs, find_visits(samples, asked.rpm_axis, asked.load_axis)),
        "reason": correction.reason.tolist(),
        "left_out": {str(reason): int(n) for reason, n in samples.excluded.items() if n},
        "unused": {str(reason): int(n) for reason, n in grid.unused.items() if n},
        "samples_in_cells": int(grid.n.sum()),
        "warnings": [{"code": flag.code, "sentence": flag.sentence} for flag in flags],
    }
    used = {
        **asdict(limits),
        "stoichiometric_afr": round(FUELS[asked.fuel].stoichiometric_afr, 3),
        "sensor_range": list(calc.SENSOR_RANGE),
        "dead_time": asked.dead_time,
        "fill": asked.fill,
    }
    before, after = tables_as_json(pasted, correction, asked.dead_time)
    return Computed(used, result, before, after)


def read_fuel_table(text: str) -> PastedTable | None:
    if not text.strip():
        return None
    with at("fuel_table"):
        return parse_table(text, row_name="load")


def gather_samples(asked: Asked) -> SteadySamples:
    """The steady samples of all runs; a run that can't be used is named."""
    held = [held_channels(run, asked.load_channel) for run in asked.runs]
    try:
        return collect_steady_samples(held, asked.delay_ms, asked.limits.steady)
    except ValueError as problem:
        for run, channels in zip(asked.runs, held, strict=True):
            try:
                collect_steady_samples([channels], asked.delay_ms, asked.limits.steady)
            except ValueError as its_own:
                raise StudyProblem("runs", f"{run}: {its_own}") from its_own
        raise StudyProblem("runs", str(problem)) from problem


def held_channels(run: Run, load_channel: str) -> RunChannels:
    channels = load_channels(run, CHANNELS)
    lacks = why_not(run) or ("" if load_channel in channels else f"it has no {LOADS[load_channel]}")
    if lacks:
        raise StudyProblem("runs", f"{run} can't be used here: {lacks}.")
    load = channels[load_channel]
    return RunChannels(
        channels["time_s"],
        channels["engine_speed_rpm"],
        channels.get("grip_pct", load),
        load,
        channels["lambda"],
    )


def behind(runs: Sequence[Run], visits: Iterable[Visit]) -> dict[str, list[Json]]:
    """By "row,column" of a cell the visits to it, each with its run and its time in it."""
    times = [load_channels(run, ("time_s",))["time_s"] for run in runs]
    found: dict[str, list[Json]] = {}
    for visit in visits:
        time = times[visit.run]
        found.setdefault(f"{visit.row},{visit.column}", []).append(
            {
                "run": str(runs[visit.run]),
                "from_s": round(float(time[visit.first]), 2),
                "to_s": round(float(time[visit.last]), 2),
                "samples": visit.n,
                "lambda": round(visit.lambda_, DECIMALS),
            }
        )
    return found


def grid_as_json(grid: calc.MixtureGrid, target: FloatArray) -> Json:
    off = grid.mean / target - 1
    near = np.abs(off) <= ON_TARGET
    return {
        "mean": rounded(grid.mean),
        "sd": rounded(grid.sd),
        "n": grid.n.tolist(),
        "dwells": grid.holds.tolist(),
        "half_width_95": rounded(grid.half_width_95),
        "end_of_scale": grid.end_of_scale.tolist(),
        "target": rounded(target),
        "off": rounded(off),
        "cells_measured": int(grid.visited.sum()),
        "cells_on_target": int(near.sum()),
    }


def rounded(values: npt.ArrayLike) -> list[list[float | None]]:
    """A grid as it is stored: four decimals, None where nothing was measured."""
    return [
        [round(value, DECIMALS) if np.isfinite(value) else None for value in row]
        for row in np.asarray(values, dtype=float).tolist()
    ]


def measured(values: Sequence[Sequence[float | None]]) -> FloatArray:
    """A stored grid as an array, NaN where nothing was measured."""
    return np.array(values, dtype=float)


def tables_as_json(
    pasted: PastedTable | None, correction: calc.MixtureCorrection, dead_time: float
) -> tuple[Json | None, Json | None]:
    if pasted is None:
        return None, None
    axes = (pasted.column_axis, pasted.row_axis)
    with at("dead_time" if dead_time else "fuel_table"):
        step = find_table_step(pasted.cells, min(pasted.decimals, MAX_DECIMALS))
        applied = apply_to_table(axes, pasted.cells, correction, step=step, dead_time=dead_time)
    after = format_table(pasted, applied.after)
    return (
        {"text": format_table(pasted)},
        {
            "text": after,
            "step": applied.step,
            "covered": int(applied.covered.sum()),
            "changed": applied.changed.tolist(),
            "limited": int(applied.limited.sum()),
            "filled": int(applied.filled.sum()),
        },
    )


def study_of(study: MixtureStudy, asked: Asked) -> None:
    """Put what was asked for and its result into a study, which the caller saves."""
    computed = compute(asked)
    study.rpm_axis, study.load_axis, study.target = asked.rpm_axis, asked.load_axis, asked.target
    study.settings_used, study.result = computed.settings_used, computed.result
    study.fuel_table_before, study.fuel_table_after = computed.fuel_table_before, computed.fuel_table_after
