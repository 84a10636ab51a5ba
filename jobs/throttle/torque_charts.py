"""What runs say of the throttle: torque by grip in each mode, braking on the over-run, change of idle."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from jobs.calc.dyno.comparison import Verdict, compare_values
from jobs.calc.mixture.steady import SteadyLimits, find_steady_samples
from jobs.calc.throttle import tables as calc
from jobs.calc.throttle.closed_throttle import compute_overrun_torque
from jobs.calc.units.identities import torque_nm
from jobs.calc.units.numbers import format_number
from jobs.comparisons.charts import build_value_row
from jobs.job.results import JobResults
from jobs.models import Run, TuneRevision
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.chart_data import Chart, Line, Look, Measure, chart_of, measure_of
from jobs.runs.results import taken_back
from jobs.throttle.from_runs import IdleRun
from jobs.tunes.revisions import tune_in_bike
from jobs.tunes.throttle_tables import Judged
from workshop.models import ShopProfile

CHANNELS = ("time_s", "engine_speed_rpm", "grip_pct", "plate_pct", "torque_nm", "power_kw")
# On an inertia roller engine speed rises throughout a held run: what counts is that the grip stands still.
GRIP_STILL = SteadyLimits(speed_rate_rpm_s=100_000.0)
FIRST_FIFTH_PCT = 20.0
BRAKING_STEP_RPM = 500.0


def torque_of(run: Run, channels: dict[str, FloatArray]) -> FloatArray | None:
    """Torque as observed, from power where the file has no torque; None where it has neither."""
    back = taken_back(run)
    if "torque_nm" in channels:
        return np.asarray(channels["torque_nm"] * back)
    if "power_kw" in channels:
        return np.asarray(torque_nm(channels["power_kw"], channels["engine_speed_rpm"])) * back
    return None


def by_tune(runs: Iterable[Run]) -> dict[TuneRevision | None, list[Run]]:
    """Runs whose figures count, by the tune they were made with, in the order of tunes."""
    found: dict[TuneRevision | None, list[Run]] = {}
    for run in runs:
        if run.counts:
            found.setdefault(run.tune_revision, []).append(run)
    return dict(sorted(found.items(), key=lambda each: each[0].number if each[0] else -1))


def tune_label(tune: TuneRevision | None) -> str:
    return tune.label if tune else "no tune named"


# --- torque by grip


@dataclass(frozen=True)
class Sensitivity:
    """How torque answers the grip in one mode at one engine speed, in the shop's unit for each % of grip.

    ``first_fifth`` is the mean over the first fifth of the grip, None where that was not measured.
    """

    largest: float
    at_grip_pct: float
    first_fifth: float | None

    def __str__(self) -> str:
        first = "not measured" if self.first_fifth is None else format_number(self.first_fifth, 2)
        return f"first fifth {first}; most {format_number(self.largest, 2)} at {self.at_grip_pct:g} % grip"


@dataclass(frozen=True)
class TorqueByGripChart:
    """Torque by grip of the modes shown: the chart at one engine speed, and sensitivity at several.

    ``rows`` holds an engine speed with each mode and its `Sensitivity`, None where not measured.
    """

    tune: str
    runs: int
    unit: str
    modes: list[str]
    chart: Chart | None
    rows: list[tuple[float, list[tuple[str, Sensitivity | None]]]]
    problem: str = ""


def held_torque(runs: Iterable[Run]) -> tuple[FloatArray, FloatArray, FloatArray, int]:
    """Engine speed, plate and torque with the grip standing still, and from how many held runs."""
    parts = []
    for run in runs:
        if run.kind != Run.Kind.HELD or not {"grip_pct", "plate_pct", "time_s"} <= set(run.channel_names):
            continue
        try:
            channels = load_channels(run, CHANNELS)
            torque = torque_of(run, channels)
            kept = find_steady_samples(
                channels["time_s"], channels["engine_speed_rpm"], channels["grip_pct"], GRIP_STILL
            ).is_steady
        except (ValueError, KeyError):
            continue  # the run's own page says what is wrong with it
        if torque is not None:
            parts.append((channels["engine_speed_rpm"][kept], channels["plate_pct"][kept], torque[kept]))
    if not parts:
        nothing = np.zeros(0)
        return nothing, nothing, nothing, 0
    speed, plate, torque = (np.concatenate(part) for part in zip(*parts, strict=True))
    return speed, plate, torque, len(parts)


def torque_by_grip(
    tables: dict[str, Judged],
    runs: Iterable[Run],
    shown: TuneRevision | None,
    speeds: Sequence[float],
    at_rpm: float,
    shop: ShopProfile,
) -> TorqueByGripChart | None:
    """Torque by grip in each mode, inside what the held runs of one tune measured; None without such runs.

    The runs are those of the tune shown, else of the last tune that has any: torque belongs to the plate
    more than to the table that led to it, and the page names the tune.
    """
    groups = by_tune(runs)
    order = [shown, *reversed(groups)] if shown in groups else list(reversed(groups))
    measured = ((tune, held_torque(groups[tune])) for tune in order)
    tune, (speed, plate, torque, count) = next(((t, m) for t, m in measured if m[3]), (None, held_torque([])))
    readable = {mode: judged.read for mode, judged in tables.items() if judged.read}
    if not count or not readable:
        return None
    measure = measure_of("torque_nm", shop)
    try:
        found = {
            mode: calc.compute_torque_by_grip(read, speed, plate, torque, at_rpm=[at_rpm, *speeds])
            for mode, read in readable.items()
        }
    except ValueError as problem:
        return TorqueByGripChart(tune_label(tune), count, measure.unit, [], None, [], str(problem))
    rows = [
        (rpm, [(mode, sensitivity(each, place, measure.show)) for mode, each in found.items()])
        for place, rpm in enumerate(speeds, start=1)
    ]
    return TorqueByGripChart(
        tune=tune_label(tune),
        runs=count,
        unit=measure.unit,
        modes=list(found),
        chart=grip_chart(found, measure),
        rows=[(rpm, cells) for rpm, cells in rows if any(cell for _, cell in cells)],
    )


def grip_chart(found: dict[str, calc.TorqueByGrip], measure: Measure) -> Chart | None:
    """Torque and sensitivity over grip at the first of the engine speeds; None where nothing was measured."""
    lines = {mode: each for mode, each in found.items() if np.isfinite(each.torque_nm[:, 0]).any()}
    if not lines:
        return None
    steep = Measure("torque for 1 % of grip", measure.unit, 2, measure.show)
    panels = [
        (measure, [Line(mode, "other", each.grip_pct, each.torque_nm[:, 0]) for mode, each in lines.items()]),
        (
            steep,
            [
                Line(mode, "other", each.grip_pct, each.sensitivity_nm_per_pct[:, 0])
                for mode, each in lines.items()
            ],
        ),
    ]
    return chart_of("Grip", "%", panels)


def sensitivity(
    found: calc.TorqueByGrip, column: int, show: Callable[[FloatArray], FloatArray]
) -> Sensitivity | None:
    slope = show(found.sensitivity_nm_per_pct[:, column])
    if not np.isfinite(slope).any():
        return None
    at = int(np.nanargmax(slope))
    torque = show(np.interp([0.0, FIRST_FIFTH_PCT], found.grip_pct, found.torque_nm[:, column]))
    first = float(torque[1] - torque[0]) / FIRST_FIFTH_PCT
    return Sensitivity(float(slope[at]), float(found.grip_pct[at]), first if np.isfinite(first) else None)


# --- over-run


@dataclass(frozen=True)
class Braking:
    """Braking torque on the over-run by engine speed, tune by tune.

    ``rows`` holds an engine speed with each tune and its figure, None where not measured. ``change``
    holds the tune as received against the one in the bike, in a sentence; '' where they are not both there.
    """

    unit: str
    tunes: list[str]
    chart: Chart
    change: str
    rows: list[tuple[float, list[tuple[str, float | None]]]]


def engine_braking(results: JobResults) -> Braking | None:
    return braking(results.rows(Run), results.get(tune_in_bike), results.shop)


def braking(runs: Iterable[Run], in_bike: TuneRevision | None, shop: ShopProfile) -> Braking | None:
    """The over-runs of all runs, each tune's taken together; None where no file has one."""
    lines = []
    for tune, group in by_tune(runs).items():
        samples = [each for run in group if (each := closed_samples(run)) is not None]
        if not samples:
            continue
        try:
            found = compute_overrun_torque(*(np.concatenate(part) for part in zip(*samples, strict=True)))
        except ValueError:
            continue  # nowhere closed: nothing to show for this tune
        lines.append(Line(tune_label(tune), look_of(tune, in_bike), found.engine_speed_rpm, found.values))
    if not lines:
        return None
    measure = measure_of("torque_nm", shop)
    speeds = sorted({float(x) for line in lines for x in line.x if x % BRAKING_STEP_RPM == 0})
    shown = {
        line.label: dict(zip(line.x.tolist(), measure.show(line.y).tolist(), strict=True)) for line in lines
    }
    rows = [(rpm, [(tune, finite(each.get(rpm))) for tune, each in shown.items()]) for rpm in speeds]
    return Braking(
        unit=measure.unit,
        tunes=[line.label for line in lines],
        chart=chart_of("Engine speed", "1/min", [(measure, lines)]),
        change=braking_change(runs, in_bike, shop),
        rows=[(rpm, cells) for rpm, cells in rows if any(cell is not None for _, cell in cells)],
    )


def braking_change(runs: Iterable[Run], in_bike: TuneRevision | None, shop: ShopProfile) -> str:
    """Braking of the tune in the bike against that as received, where all sweeps measured it."""
    groups = {tune.number: group for tune, group in by_tune(runs).items() if tune}
    if in_bike is None or in_bike.number == 0:
        return ""
    sides = [braking_of(groups.get(number, ())) for number in (0, in_bike.number)]
    if not all(sides):
        return ""
    common = sorted(set.intersection(*(set(run) for side in sides for run in side)))
    if not common:
        return ""
    before, after = ([float(np.mean([run[rpm] for rpm in common])) for run in side] for side in sides)
    where = f"{format_number(common[0])} to {format_number(common[-1])} 1/min"
    name = f"Braking on the over-run, mean of {where}"
    figure = compare_values(name, "N·m", before, after, shop.repeatability_pct)
    return build_value_row(figure, shop).sentence


def braking_of(runs: Iterable[Run]) -> list[dict[float, float]]:
    """Of each sweep with an over-run the braking torque by engine speed, above zero."""
    found = []
    for run in runs:
        samples = closed_samples(run) if run.kind == Run.Kind.SWEEP else None
        try:
            grid = compute_overrun_torque(*samples) if samples else None
        except ValueError:
            continue  # nowhere closed
        if grid is not None:
            pairs = zip(grid.engine_speed_rpm.tolist(), (-grid.values).tolist(), strict=True)
            found.append({rpm: brakes for rpm, brakes in pairs if np.isfinite(brakes)})
    return found


def closed_samples(run: Run) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    if run.kind == Run.Kind.IDLE or not {"engine_speed_rpm", "grip_pct"} <= set(run.channel_names):
        return None
    try:
        channels = load_channels(run, CHANNELS)
        torque = torque_of(run, channels)
    except ValueError:
        return None  # the run's own page says what is wrong with it
    return None if torque is None else (channels["engine_speed_rpm"], channels["grip_pct"], torque)


def look_of(tune: TuneRevision | None, in_bike: TuneRevision | None) -> Look:
    if tune is not None and tune.number == 0:
        return "before"
    return "after" if tune is not None and tune == in_bike else "other"


def finite(value: float | None) -> float | None:
    return value if value is not None and np.isfinite(value) else None


# --- idle


def idle_change(idles: Sequence[IdleRun]) -> str:
    """The first idle run against the last, where another tune lies between them; '' where none does."""
    judged = [each for each in idles if each.result]
    if len(judged) < 2 or judged[0].run.tune_revision_id == judged[-1].run.tune_revision_id:
        return ""
    first, last = judged[0], judged[-1]
    was, now = first.result, last.result
    assert was and now
    by = now.mean_rpm - was.mean_rpm
    doubt = float(np.hypot(was.half_width_95_rpm, now.half_width_95_rpm))
    moved = f"{format_number(by, signed=True)} ± {format_number(doubt)} 1/min"
    change = moved if abs(by) > doubt else Verdict.NO_DIFFERENCE.value
    return (
        f"From {tune_label(first.run.tune_revision)} to {tune_label(last.run.tune_revision)} the idle went "
        f"from {format_number(was.mean_rpm)} to {format_number(now.mean_rpm)} 1/min ({change}), its "
        f"scatter from {format_number(was.sd_rpm)} to {format_number(now.sd_rpm)}."
    )
