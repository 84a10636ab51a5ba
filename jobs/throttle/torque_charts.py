"""Throttle response, engine braking and change of idle, from the runs."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.utils.translation import gettext as _

from jobs.calc.dyno.comparison import compare_values
from jobs.calc.dyno.curve_difference import Verdict
from jobs.calc.dyno.speed_grid import GridChannel
from jobs.calc.dyno.spread import assumed_spread
from jobs.calc.mixture.steady import SteadyLimits, find_steady_samples
from jobs.calc.throttle import tables as calc
from jobs.calc.throttle.closed_throttle import (
    OverrunTorque,
    average_overrun_torque,
    compute_overrun_torque,
)
from jobs.calc.units.numbers import format_digits, format_number
from jobs.comparisons.charts import build_value_row
from jobs.job.results import JobResults
from jobs.models import Run, TuneRevision
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, Look, build_chart, channel_display
from jobs.throttle.from_runs import IdleRun
from jobs.throttle.runs_by_tune import CHANNELS, group_by_tune, observed_torque, tune_label
from jobs.tunes.revisions import tune_in_bike
from jobs.tunes.throttle_tables import TableReview
from workshop.models import ShopProfile

# On an inertia dyno engine speed rises throughout a held run, so only the grip has to be steady.
GRIP_STILL = SteadyLimits(speed_rate_rpm_s=100_000.0)
FIRST_FIFTH_PCT = 20.0
BRAKING_STEP_RPM = 500.0
OVERRUN_HEADER = ("tune", "engine speed (rpm)", "torque (N·m)", "95 % half-width (N·m)", "runs")


# --- torque by grip


@dataclass(frozen=True)
class ThrottleResponse:
    """Throttle response of one mode at one engine speed, in the shop's torque unit per % of grip.

    ``first_fifth`` is the mean over the first fifth of the grip, None if that was not measured.
    """

    largest: float
    at_grip_pct: float
    first_fifth: float | None

    def __str__(self) -> str:
        values = {"largest": format_number(self.largest, 2), "grip": format_digits(self.at_grip_pct)}
        if self.first_fifth is None:
            return _("maximum %(largest)s at %(grip)s %% grip") % values
        text = _("first 20 %%: %(first)s; maximum %(largest)s at %(grip)s %% grip")
        return text % {"first": format_number(self.first_fifth, 2), **values}


@dataclass(frozen=True)
class TorqueByGripChart:
    """Torque by grip of the modes shown: a chart at one engine speed, the response at several.

    ``rows`` holds engine speeds with the `ThrottleResponse` by mode, None if not measured.
    """

    tune: str
    runs: int
    unit: str
    modes: list[str]
    chart: Chart | None
    rows: list[tuple[float, list[tuple[str, ThrottleResponse | None]]]]
    problem: str = ""
    found: dict[str, calc.TorqueByGrip] = field(default_factory=dict)


def held_torque(runs: Iterable[Run]) -> tuple[FloatArray, FloatArray, FloatArray, int]:
    """Return engine speed, plate and torque at a steady grip, and the number of held runs."""
    parts = []
    for run in runs:
        if run.kind != Run.Kind.HELD or not {"grip_pct", "plate_pct", "time_s"} <= set(run.channel_names):
            continue
        try:
            channels = load_channels(run, CHANNELS)
            torque = observed_torque(run, channels)
            is_steady = find_steady_samples(
                channels["time_s"], channels["engine_speed_rpm"], channels["grip_pct"], GRIP_STILL
            ).is_steady
        except (ValueError, KeyError):
            continue  # the run's own page says what is wrong with it
        if torque is not None:
            speed, plate = channels["engine_speed_rpm"], channels["plate_pct"]
            parts.append((speed[is_steady], plate[is_steady], torque[is_steady]))
    if not parts:
        empty = np.zeros(0)
        return empty, empty, empty, 0
    speed, plate, torque = (np.concatenate(part) for part in zip(*parts, strict=True))
    return speed, plate, torque, len(parts)


def torque_by_grip(
    tables: dict[str, TableReview],
    runs: Iterable[Run],
    shown: TuneRevision | None,
    speeds: Sequence[float],
    at_rpm: float,
    shop: ShopProfile,
) -> TorqueByGripChart | None:
    """Compute the torque by grip of each mode from the held runs of one tune, or None without any.

    The runs are those of the tune shown, or else of the last tune that has any: torque depends on the
    plate rather than on the table that moved it, and the page names the tune.
    """
    groups = group_by_tune(runs)
    order = [shown, *reversed(groups)] if shown in groups else list(reversed(groups))
    measured = ((tune, held_torque(groups[tune])) for tune in order)
    tune, (speed, plate, torque, count) = next(((t, m) for t, m in measured if m[3]), (None, held_torque([])))
    maps = {mode: review.throttle_map for mode, review in tables.items() if review.throttle_map}
    if not count or not maps:
        return None
    measure = channel_display("torque_nm", shop)
    try:
        found = {
            mode: calc.compute_torque_by_grip(throttle_map, speed, plate, torque, at_rpm=[at_rpm, *speeds])
            for mode, throttle_map in maps.items()
        }
    except ValueError as problem:
        return TorqueByGripChart(tune_label(tune), count, measure.unit, [], None, [], str(problem))
    rows = [
        (rpm, [(mode, compute_response(torques, column, measure.show)) for mode, torques in found.items()])
        for column, rpm in enumerate(speeds, start=1)
    ]
    return TorqueByGripChart(
        tune=tune_label(tune),
        runs=count,
        unit=measure.unit,
        modes=list(found),
        chart=grip_chart(found, measure),
        rows=[(rpm, cells) for rpm, cells in rows if any(cell for _, cell in cells)],
        found=found,
    )


def grip_chart(found: dict[str, calc.TorqueByGrip], measure: ChannelDisplay) -> Chart | None:
    """Chart torque and its slope over grip at the first engine speed, or None if not measured."""
    modes = {mode: torques for mode, torques in found.items() if np.isfinite(torques.torque_nm[:, 0]).any()}
    if not modes:
        return None
    slope = ChannelDisplay("torque per 1 % of grip", measure.unit, 2, measure.show)
    panels = [
        (
            measure,
            [
                CurveLine(mode, line_look(mode), torques.grip_pct, torques.torque_nm[:, 0])
                for mode, torques in modes.items()
            ],
        ),
        (
            slope,
            [
                CurveLine(mode, line_look(mode), torques.grip_pct, torques.sensitivity_nm_per_pct[:, 0])
                for mode, torques in modes.items()
            ],
        ),
    ]
    return {**build_chart("Grip", "%", panels), "choose": True}


def line_look(name: str) -> Look:
    """Return the look of a line: that of before for a table that was changed."""
    return "before" if name.endswith(f", {_('as received')}") else "other"


def compute_response(
    found: calc.TorqueByGrip, column: int, show: Callable[[FloatArray], FloatArray]
) -> ThrottleResponse | None:
    slope = show(found.sensitivity_nm_per_pct[:, column])
    if not np.isfinite(slope).any():
        return None
    at = int(np.nanargmax(slope))
    torque = show(np.interp([0.0, FIRST_FIFTH_PCT], found.grip_pct, found.torque_nm[:, column]))
    first = float(torque[1] - torque[0]) / FIRST_FIFTH_PCT
    return ThrottleResponse(
        float(slope[at]), float(found.grip_pct[at]), first if np.isfinite(first) else None
    )


# --- overrun


@dataclass(frozen=True)
class EngineBraking:
    """Engine braking torque by engine speed and tune.

    ``rows`` holds engine speeds with the torque by tune. ``change`` compares the tune in the bike with the
    tune as received in a sentence, '' if either was not measured.
    """

    unit: str
    tunes: list[str]
    chart: Chart
    change: str
    rows: list[tuple[float, list[tuple[str, "BrakingCell"]]]]
    found: dict[str, OverrunTorque] = field(default_factory=dict)


@dataclass(frozen=True)
class BrakingCell:
    """Torque with its 95 % half-width, None if not measured or from one run."""

    torque: float | None = None
    half_width: float | None = None


def engine_braking(results: JobResults) -> EngineBraking | None:
    return compare_engine_braking(results.rows(Run), results.get(tune_in_bike), results.shop)


def compare_engine_braking(
    runs: Iterable[Run], in_bike: TuneRevision | None, shop: ShopProfile
) -> EngineBraking | None:
    """Compute the engine braking of each tune, mean of its runs, or None if no file has an overrun."""
    found: dict[str, OverrunTorque] = {}
    looks: dict[str, Look] = {}
    for tune, group in group_by_tune(runs).items():
        grids = [grid for run in group if (grid := overrun_grid(run)) is not None]
        if grids:
            found[tune_label(tune)] = average_overrun_torque(grids)
            looks[tune_label(tune)] = line_style(tune, in_bike)
    if not found:
        return None
    measure = channel_display("torque_nm", shop)
    lines = [
        CurveLine(
            label,
            looks[label],
            overrun.engine_speed_rpm,
            overrun.torque_nm,
            overrun.torque_nm - overrun.half_width_95_nm,
            overrun.torque_nm + overrun.half_width_95_nm,
        )
        for label, overrun in found.items()
    ]
    speeds = sorted({float(x) for line in lines for x in line.x if x % BRAKING_STEP_RPM == 0})
    rows = [
        (rpm, [(tune, braking_cell(overrun, rpm, measure)) for tune, overrun in found.items()])
        for rpm in speeds
    ]
    return EngineBraking(
        unit=measure.unit,
        tunes=list(found),
        chart=build_chart("Engine speed", "rpm", [(measure, lines)]),
        change=braking_change(runs, in_bike, shop),
        rows=[(rpm, cells) for rpm, cells in rows if any(cell.torque is not None for _, cell in cells)],
        found=found,
    )


def overrun_grid(run: Run) -> GridChannel | None:
    """Return the torque on the overrun of a run, or None if it was nowhere closed."""
    samples = closed_samples(run)
    try:
        return compute_overrun_torque(*samples) if samples else None
    except ValueError:
        return None


def braking_cell(overrun: OverrunTorque, rpm: float, measure: ChannelDisplay) -> BrakingCell:
    at = np.flatnonzero(overrun.engine_speed_rpm == rpm)
    if not at.size:
        return BrakingCell()
    torque, half = (measure.show(values[at]) for values in (overrun.torque_nm, overrun.half_width_95_nm))
    return BrakingCell(finite_or_none(float(torque[0])), finite_or_none(float(half[0])))


def overrun_csv_rows(found: Mapping[str, OverrunTorque]) -> Iterator[list[Any]]:
    """Yield torque in N·m with its half-width by tune and engine speed."""
    for tune, overrun in found.items():
        channels = (overrun.torque_nm, overrun.half_width_95_nm)
        rows = zip(overrun.engine_speed_rpm, *channels, overrun.runs, strict=True)
        for speed, torque, half, runs in rows:
            if runs:
                width = round(float(half), 3) if np.isfinite(half) else ""
                yield [tune, round(float(speed)), round(float(torque), 3), width, int(runs)]


def braking_change(runs: Iterable[Run], in_bike: TuneRevision | None, shop: ShopProfile) -> str:
    """Compare the braking of the tune in the bike with that as received, where all sweeps measured it."""
    groups = {tune.number: group for tune, group in group_by_tune(runs).items() if tune}
    if in_bike is None or in_bike.number == 0:
        return ""
    sides = [compute_braking(groups.get(number, ())) for number in (0, in_bike.number)]
    if not all(sides):
        return ""
    common = sorted(set.intersection(*(set(run) for side in sides for run in side)))
    if not common:
        return ""
    before, after = ([float(np.mean([run[rpm] for rpm in common])) for run in side] for side in sides)
    ends = {"low": format_number(common[0]), "high": format_number(common[-1])}
    name = _("Engine braking (overrun), mean of %(low)s to %(high)s rpm") % ends
    assumed = assumed_spread(shop.repeatability_pct, shop.smoothing_width_rpm)  # the shop's is of power
    figure = compare_values(name, "N·m", before, after, assumed.mean, assumed.session)
    return build_value_row(figure, shop).sentence


def compute_braking(runs: Iterable[Run]) -> list[dict[float, float]]:
    """Return the braking torque by engine speed of each sweep with an overrun, above zero."""
    found = []
    for run in runs:
        grid = overrun_grid(run) if run.kind == Run.Kind.SWEEP else None
        if grid is not None:
            pairs = zip(grid.engine_speed_rpm.tolist(), (-grid.values).tolist(), strict=True)
            found.append({rpm: brakes for rpm, brakes in pairs if np.isfinite(brakes)})
    return found


def closed_samples(run: Run) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    if run.kind == Run.Kind.IDLE or not {"engine_speed_rpm", "grip_pct"} <= set(run.channel_names):
        return None
    try:
        channels = load_channels(run, CHANNELS)
        torque = observed_torque(run, channels)
    except ValueError:
        return None  # the run's own page says what is wrong with it
    return None if torque is None else (channels["engine_speed_rpm"], channels["grip_pct"], torque)


def line_style(tune: TuneRevision | None, in_bike: TuneRevision | None) -> Look:
    if tune is not None and tune.number == 0:
        return "before"
    return "after" if tune is not None and tune == in_bike else "other"


def finite_or_none(value: float | None) -> float | None:
    return value if value is not None and np.isfinite(value) else None


# --- idle


def idle_change(idles: Sequence[IdleRun]) -> str:
    """Compare the first idle run with the last, or return '' if the tune was the same."""
    measured = [idle for idle in idles if idle.result]
    if len(measured) < 2 or measured[0].run.tune_revision_id == measured[-1].run.tune_revision_id:
        return ""
    first, last = measured[0], measured[-1]
    was, now = first.result, last.result
    assert was and now
    by = now.mean_rpm - was.mean_rpm
    doubt = float(np.hypot(was.half_width_95_rpm, now.half_width_95_rpm))
    moved = {"change": format_number(by, signed=True), "half": format_number(doubt)}
    change = _(Verdict.NO_DIFFERENCE.value)
    if abs(by) > doubt:
        change = _("%(change)s ± %(half)s rpm") % moved
    if np.isnan(doubt):
        change = _("the runs are too short for an interval")
    text = _(
        "From %(first)s to %(last)s, idle went from %(was)s to %(now)s rpm (%(change)s), and its variation "
        "(SD) from %(sd_was)s to %(sd_now)s rpm."
    )
    return text % {
        "first": tune_label(first.run.tune_revision),
        "last": tune_label(last.run.tune_revision),
        "was": format_number(was.mean_rpm),
        "now": format_number(now.mean_rpm),
        "change": change,
        "sd_was": format_number(was.sd_rpm),
        "sd_now": format_number(now.sd_rpm),
    }
