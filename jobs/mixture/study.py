"""Compute mixture studies: from runs to a stored result."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from jobs.calc.mixture import axes as calc_axes
from jobs.calc.mixture import grid as calc
from jobs.calc.mixture.fuel import FUELS
from jobs.calc.mixture.fuel_table import MAX_DECIMALS, apply_to_table, fill_gaps, find_table_step
from jobs.calc.mixture.sensor import check_lambda
from jobs.calc.mixture.steady import (
    Delay,
    RunChannels,
    SteadyLimits,
    SteadySamples,
    collect_steady_samples,
    estimate_delay,
)
from jobs.calc.mixture.visits import Visit, find_visits
from jobs.calc.mixture.warnings import HIGH_LOAD_PCT, LEAN_SHARE
from jobs.calc.tables.cell_grid import check_axis
from jobs.calc.tables.pasted_table import PastedTable, format_table, parse_table
from jobs.job.results import JobResults
from jobs.models import Job, MixtureStudy, Run
from jobs.runs.channel_files import FloatArray, load_channels

CHANNELS = ("time_s", "engine_speed_rpm", "grip_pct", "plate_pct", "lambda")
# A step of the fuel shows in the injector opening time that the engine control requests.
STEP_CHANNELS = ("time_s", "injector_time_ms", "lambda")
LOADS = {"grip_pct": "grip", "plate_pct": "plate"}
# A cell is on target within this share of it. Rule of thumb, no published source.
ON_TARGET = 0.01
DECIMALS = 4
DEFAULT_DELAY_MS = MixtureStudy._meta.get_field("delay_ms").default
Json = dict[str, Any]


class StudyInputError(ValueError):
    """An input that prevents a study, and its form field."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


@contextmanager
def errors_at(field: str) -> Iterator[None]:
    """Report a ValueError at a field of the form."""
    try:
        yield
    except ValueError as problem:
        raise StudyInputError(field, str(problem)) from problem


@dataclass(frozen=True)
class Limits:
    """Limits for steady, well measured and lean; the names are those stored."""

    min_dwell_s: float = SteadyLimits.min_hold_s
    grip_rate_pct_s: float = SteadyLimits.grip_rate_pct_s
    speed_rate_rpm_s: float = SteadyLimits.speed_rate_rpm_s
    fewest_dwells: int = calc.MIN_HOLDS
    largest_half_width: float = calc.MAX_HALF_WIDTH
    largest_pass: float = calc.MAX_PASS
    high_load_pct: float = HIGH_LOAD_PCT
    lean_share: float = LEAN_SHARE

    @classmethod
    def from_settings(cls, stored: Mapping[str, Any]) -> "Limits":
        """Return the stored limits, with the defaults for those missing."""
        return cls(**{name: stored[name] for name in asdict(cls()) if name in stored})

    @property
    def steady(self) -> SteadyLimits:
        return SteadyLimits(
            grip_rate_pct_s=self.grip_rate_pct_s,
            speed_rate_rpm_s=self.speed_rate_rpm_s,
            min_hold_s=self.min_dwell_s,
        )


@dataclass(frozen=True)
class StudyInputs:
    """Inputs of a study."""

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
    with_uncertain: bool = False


@dataclass(frozen=True)
class StudyResult:
    """Stored results of a study."""

    settings_used: Json
    result: Json
    fuel_table_before: Json | None
    fuel_table_after: Json | None


def exclusion_reason(run: Run) -> str:
    """Return why a run cannot be part of a study, or '' if it can."""
    if run.status != Run.Status.READ:
        return "its import settings are not confirmed"
    if run.set_aside:
        return "it is excluded"
    required = {"time_s": "time", "engine_speed_rpm": "engine speed", "lambda": "lambda"}
    missing = [words for name, words in required.items() if name not in run.channel_names]
    if not {"grip_pct", "plate_pct"} & set(run.channel_names):
        missing.append("grip or plate")
    return f"it has no column read as {' or '.join(missing)}" if missing else ""


def runs_by_study(results: JobResults) -> dict[MixtureStudy, list[Run]]:
    """Return the runs of every study of the job in the order they were made, in one query."""
    studies = results.rows(MixtureStudy)
    pairs = MixtureStudy.runs.through.objects.filter(mixturestudy__in=studies)
    members = set(pairs.values_list("mixturestudy_id", "run_id"))
    return {study: [run for run in results.rows(Run) if (study.pk, run.pk) in members] for study in studies}


def usable_runs(job: Job) -> list[Run]:
    return [run for run in job.runs.select_related("tune_revision") if not exclusion_reason(run)]


def runs_with_fuel_step(job: Job) -> list[Run]:
    """Return the runs with injector opening time and lambda, which may hold a fuel step."""
    runs = job.runs.select_related("tune_revision")
    return [run for run in runs if run.counts and set(STEP_CHANNELS) <= set(run.channel_names)]


def find_delay(run: Run) -> Delay:
    """Find the sensor delay from the fuel step in a run.

    Raises
    ------
    ValueError
        The run has no fuel step that lambda follows.
    """
    channels = load_channels(run, STEP_CHANNELS)
    time_s, fuel, lambda_ = (channels[name] for name in STEP_CHANNELS)
    return estimate_delay(time_s, fuel, lambda_)


def suggest_axes(runs: Iterable[Run], load_channel: str = "grip_pct") -> tuple[list[float], list[float]]:
    """Suggest axes of engine speed and load from the held runs, or from all runs without any."""
    given = list(runs)
    held = []
    for run in [run for run in given if run.kind == Run.Kind.HELD] or given:
        with suppress(StudyInputError, ValueError):  # the study itself says what is wrong with a run
            channels = load_run_channels(run, load_channel)
            collect_steady_samples([channels], DEFAULT_DELAY_MS)
            held.append(channels)
    if not held:
        return [], list(calc_axes.USUAL_LOADS_PCT)
    with suppress(ValueError):
        return calc_axes.suggest_axes(collect_steady_samples(held, DEFAULT_DELAY_MS))
    return [], list(calc_axes.USUAL_LOADS_PCT)


def compute_study(inputs: StudyInputs) -> StudyResult:
    """Compute everything that a study stores.

    Raises
    ------
    StudyProblem
        An input is impossible; the error names its field.
    """
    with errors_at("rpm_axis"):
        check_axis(inputs.rpm_axis, "engine speed")
    with errors_at("load_axis"):
        check_axis(inputs.load_axis, LOADS[inputs.load_channel])
    pasted = parse_fuel_table(inputs.fuel_table)
    samples = collect_samples(inputs)
    with errors_at("runs"):
        grid = calc.build_mixture_grid(
            samples.engine_speed_rpm,
            samples.load_pct,
            samples.lambda_,
            inputs.rpm_axis,
            inputs.load_axis,
            hold=samples.hold,
            run=samples.run,
        )
    limits = inputs.limits
    with errors_at("target"):
        target = calc.expand_target(inputs.target, grid)
    with errors_at("fewest_dwells"):
        correction = calc.compute_correction(
            grid,
            target,
            min_holds=limits.fewest_dwells,
            max_half_width=limits.largest_half_width,
            max_pass=limits.largest_pass,
            with_uncertain=inputs.with_uncertain,
        )
    few = grid.visited & (correction.reason != "")
    if inputs.fill:
        correction = fill_gaps(correction)
    result = {
        **grid_as_json(grid, target),
        "few": few.tolist(),
        "correction": to_json_grid(correction.multiplier),
        "wanted": to_json_grid(correction.wanted),
        "limited": correction.limited.tolist(),
        "filled": correction.filled.tolist(),
        "uncertain": correction.uncertain.tolist(),
        "behind": visits_by_cell(inputs.runs, find_visits(samples, inputs.rpm_axis, inputs.load_axis)),
        "reason": correction.reason.tolist(),
        "left_out": {str(reason): int(n) for reason, n in samples.excluded.items() if n},
        "unused": {str(reason): int(n) for reason, n in grid.unused.items() if n},
        "samples_in_cells": int(grid.n.sum()),
    }
    used = {
        **asdict(limits),
        "stoichiometric_afr": round(FUELS[inputs.fuel].stoichiometric_afr, 3),
        "sensor_range": list(calc.SENSOR_RANGE),
        "dead_time": inputs.dead_time,
        "fill": inputs.fill,
        "with_uncertain": inputs.with_uncertain,
    }
    before, after = tables_as_json(pasted, correction, inputs.dead_time)
    return StudyResult(used, result, before, after)


def parse_fuel_table(text: str) -> PastedTable | None:
    if not text.strip():
        return None
    with errors_at("fuel_table"):
        return parse_table(text, row_name="load")


def collect_samples(inputs: StudyInputs) -> SteadySamples:
    """Collect the steady samples of all runs; an error names the run that causes it."""
    held = [load_run_channels(run, inputs.load_channel) for run in inputs.runs]
    try:
        return collect_steady_samples(held, inputs.delay_ms, inputs.limits.steady)
    except ValueError as problem:
        for run, channels in zip(inputs.runs, held, strict=True):
            try:
                collect_steady_samples([channels], inputs.delay_ms, inputs.limits.steady)
            except ValueError as run_problem:
                raise StudyInputError("runs", f"{run}: {run_problem}") from run_problem
        raise StudyInputError("runs", str(problem)) from problem


def load_run_channels(run: Run, load_channel: str) -> RunChannels:
    channels = load_channels(run, CHANNELS)
    reason = exclusion_reason(run) or ("" if load_channel in channels else f"it has no {LOADS[load_channel]}")
    if reason:
        raise StudyInputError("runs", f"{run} cannot be used here: {reason}.")
    load = channels[load_channel]
    return RunChannels(
        channels["time_s"],
        channels["engine_speed_rpm"],
        channels.get("grip_pct", load),
        load,
        readable_lambda(channels["lambda"], channels["time_s"]),
    )


def readable_lambda(lambda_: FloatArray, time_s: FloatArray) -> FloatArray:
    """Return lambda without wild samples, at the end of the scale where the sensor rests at a limit."""
    reading, (low, high) = check_lambda(lambda_, time_s), calc.SENSOR_RANGE
    values = np.where(reading.at_rich_limit, low, reading.values)
    return np.where(reading.at_lean_limit, high, values)


def visits_by_cell(runs: Sequence[Run], visits: Iterable[Visit]) -> dict[str, list[Json]]:
    """Return the visits to every cell, by "row,column", with their run and time in it."""
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
        "mean": to_json_grid(grid.mean),
        "sd": to_json_grid(grid.sd),
        "n": grid.n.tolist(),
        "dwells": grid.holds.tolist(),
        "support": grid.support.tolist(),
        "hold_sd": round(grid.hold_sd, DECIMALS) if np.isfinite(grid.hold_sd) else None,
        "hold_sd_df": round(grid.df, 1),
        "half_width_95": to_json_grid(grid.half_width_95),
        "end_of_scale": grid.end_of_scale.tolist(),
        "target": to_json_grid(target),
        "off": to_json_grid(off),
        "cells_measured": int(grid.visited.sum()),
        "cells_on_target": int(near.sum()),
    }


def to_json_grid(values: npt.ArrayLike) -> list[list[float | None]]:
    """Return a grid for storage: four decimals, None if not measured."""
    return [
        [round(value, DECIMALS) if np.isfinite(value) else None for value in row]
        for row in np.asarray(values, dtype=float).tolist()
    ]


def as_array(values: Sequence[Sequence[float | None]]) -> FloatArray:
    """Return a stored grid as an array, NaN if not measured."""
    return np.array(values, dtype=float)


def tables_as_json(
    pasted: PastedTable | None, correction: calc.MixtureCorrection, dead_time: float
) -> tuple[Json | None, Json | None]:
    if pasted is None:
        return None, None
    axes = (pasted.column_axis, pasted.row_axis)
    with errors_at("dead_time" if dead_time else "fuel_table"):
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
            "uncertain": int(applied.uncertain.sum()),
        },
    )


def fill_study(study: MixtureStudy, inputs: StudyInputs) -> None:
    """Set inputs and result of a study; the caller saves it."""
    computed = compute_study(inputs)
    study.rpm_axis, study.load_axis, study.target = inputs.rpm_axis, inputs.load_axis, inputs.target
    study.settings_used, study.result = computed.settings_used, computed.result
    study.fuel_table_before, study.fuel_table_after = computed.fuel_table_before, computed.fuel_table_after
