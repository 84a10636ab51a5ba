"""Throttle response by tune: how plate and torque follow a quick turn of the grip, from the runs of a job."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.statistics import mean_interval
from jobs.calc.throttle.step_response import StepResponse, measure_step_responses
from jobs.calc.units.numbers import format_number
from jobs.job.results import JobResults
from jobs.job.sentences import upper_first
from jobs.models import Run, TuneRevision
from jobs.runs.channel_files import load_channels
from jobs.throttle.runs_by_tune import CHANNELS, group_by_tune, observed_torque, tune_label

NEEDED = ("time_s", "engine_speed_rpm", "grip_pct")
OUTPUTS = ("plate", "torque")
HEADER = (
    "run", "tune", "response of", "at (s)", "engine speed (rpm)", "grip from (%)", "grip to (%)",
    "grip 10-90 % (ms)", "latency (ms)", "response 10-90 % (ms)",
)  # fmt: skip


@dataclass(frozen=True)
class RunStep:
    """One quick turn of the grip in a run, and what answered it."""

    run: Run
    output: str
    step: StepResponse


@dataclass(frozen=True)
class ResponseRow:
    """The turns of one tune in one direction: means with the half-width of their 95 % interval [ms].

    The half-widths are None for a single turn.
    """

    tune: TuneRevision | None
    output: str
    opens: bool
    steps: Sequence[RunStep]

    @property
    def label(self) -> str:
        return f"{tune_label(self.tune)}, {self.output}, {'opening' if self.opens else 'closing'}"

    @property
    def is_early(self) -> bool:
        """Whether the answer comes before the grip moves, which only channels out of step can show."""
        return float(np.mean([one.step.latency_ms for one in self.steps])) < 0

    @property
    def latency(self) -> str:
        return describe_mean([one.step.latency_ms for one in self.steps])

    @property
    def rise(self) -> str:
        return describe_mean([one.step.rise_ms for one in self.steps])

    @property
    def turn(self) -> str:
        return describe_mean([one.step.turn_ms for one in self.steps])


def describe_mean(values_ms: Sequence[float]) -> str:
    """Describe a mean with half its 95 % interval between turns, or a single value by itself."""
    if len(values_ms) == 1:
        return f"{format_number(values_ms[0])} ms"
    interval = mean_interval(values_ms)
    half = format_number(float(interval.half_width))
    return f"{format_number(float(interval.mean))} ± {'less than 1' if half == '0' else half} ms"


def step_responses(results: JobResults) -> dict[TuneRevision | None, list[RunStep]]:
    """Return the quick turns of the grip in all runs that count, by tune."""
    groups = group_by_tune(run for run in results.rows(Run) if run.status == Run.Status.READ)
    found = {tune: [step for run in runs for step in run_steps(run)] for tune, runs in groups.items()}
    return {tune: steps for tune, steps in found.items() if steps}


def run_steps(run: Run) -> Iterator[RunStep]:
    if not set(NEEDED) <= set(run.channel_names):
        return
    channels = load_channels(run, CHANNELS)
    time, speed, grip = (channels[name] for name in NEEDED)
    outputs = {"plate": channels.get("plate_pct"), "torque": observed_torque(run, channels)}
    for output, values in outputs.items():
        if values is not None and np.isfinite(values).any():
            for step in measure_step_responses(time, speed, grip, values):
                yield RunStep(run, output, step)


def response_rows(by_tune: dict[TuneRevision | None, list[RunStep]]) -> list[ResponseRow]:
    """Return a row for each tune, output and direction that has a turn."""
    rows = [
        ResponseRow(tune, output, opens, [s for s in steps if s.output == output and s.step.opens == opens])
        for tune, steps in by_tune.items()
        for output in OUTPUTS
        for opens in (True, False)
    ]
    return [row for row in rows if row.steps]


def describe_answer(rows: Sequence[ResponseRow]) -> str:
    """Return how late the plate follows an opening grip, of the latest tune that has such a turn."""
    opening = [row for row in rows if row.output == "plate" and row.opens] or list(rows)
    if not opening:
        return "Throttle response: no quick turn of the grip"
    row = opening[-1]
    if row.is_early:
        return f"{upper_first(row.label)}: earlier than the grip. The channels of the logger are out of step."
    answers = "the plate" if row.output == "plate" else row.output
    way = "opens" if row.opens else "closes"
    moves = way if row.output == "plate" else "answers"
    tune = upper_first(tune_label(row.tune))
    return f"{tune}: as the grip {way}, {answers} {moves} after {row.latency}"


def csv_rows(by_tune: dict[TuneRevision | None, list[RunStep]]) -> Iterable[list[Any]]:
    for tune, steps in by_tune.items():
        for found in steps:
            step = found.step
            figures = (
                step.at_s, step.engine_speed_rpm, step.from_pct, step.to_pct,
                step.turn_ms, step.latency_ms, step.rise_ms,
            )  # fmt: skip
            digits = (3, 0, 1, 1, 1, 1, 1)
            rounded = [round(value, places) for value, places in zip(figures, digits, strict=True)]
            yield [str(found.run), tune_label(tune), found.output, *rounded]
