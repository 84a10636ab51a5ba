"""From a run's channels to its curve: the one way by which every page, CSV and sheet gets its figures."""

from dataclasses import dataclass

import numpy as np

from jobs.calc.air import STANDARDS, Air, Correction, correct, question_pressure, uncorrect
from jobs.calc.curves import Curve, Flag, apply_factor, power_curve
from jobs.calc.speed_grid import on_grid
from jobs.calc.sweep import Sweep, check_run, find_sweep
from jobs.channel_store import FloatArray, load_channels
from jobs.models import Run
from workshop.models import ShopProfile

NEEDED = (
    "time_s",
    "engine_speed_rpm",
    "power_kw",
    "torque_nm",
    "grip_pct",
    "plate_pct",
    "road_speed_kmh",
    "lambda",
)


@dataclass(frozen=True, eq=False)
class RunFigures:
    """A run's curve as observed and as corrected, its mixture, and what a reader must know of it.

    ``curve`` is the corrected one where the air is known, else the observed; None where the run has
    no sweep or no power, and ``reason`` says why. ``lambda_`` lies on the curve's grid.
    """

    run: Run
    curve: Curve | None
    observed: Curve | None
    correction: Correction | None
    sweep: Sweep | None
    lambda_: FloatArray | None
    flags: tuple[Flag, ...]
    reason: str = ""

    @property
    def is_corrected(self) -> bool:
        return self.correction is not None


def run_air(run: Run) -> Air | None:
    """The air the run was made in, where all three figures were entered."""
    if run.temperature_c is None or run.pressure_kpa is None or run.humidity_pct is None:
        return None
    return Air(run.temperature_c, run.pressure_kpa, humidity_pct=run.humidity_pct)


def figures_of(run: Run, shop: ShopProfile) -> RunFigures:
    """The figures of one run, by the shop's standard, grid and smoothing width."""
    if run.status != Run.Status.READ:
        return _nothing(run, "The columns of this file are not named yet.")
    channels = load_channels(run, NEEDED)
    speed = channels.get("engine_speed_rpm")
    if speed is None:
        return _nothing(run, "The file has no engine speed, so there is no curve over it.")
    throttle = channels.get("grip_pct", channels.get("plate_pct"))
    sweep = find_sweep(speed, throttle, channels.get("time_s"), run.sweep_start, run.sweep_stop)
    rows = {name: channel[sweep.rows] for name, channel in channels.items()}
    if "power_kw" not in rows and "torque_nm" not in rows:
        return _nothing(run, "The file has neither power nor torque.", sweep)
    try:
        observed = _observed(run, rows, shop)
    except ValueError as problem:
        return _nothing(run, str(problem), sweep)
    correction = _correction(run, shop)
    curve = apply_factor(observed, correction.factor) if correction else observed
    note = " ".join(correction.passed_limits) if correction else ""
    flags = (*observed.flags, *_run_flags(run, channels, sweep, note or None), *_pressure_flag(run, shop))
    return RunFigures(run, curve, observed, correction, sweep, _lambda(rows, curve, shop), flags)


def _nothing(run: Run, reason: str, sweep: Sweep | None = None) -> RunFigures:
    return RunFigures(run, None, None, None, sweep, None, (), reason)


def _observed(run: Run, rows: dict[str, FloatArray], shop: ShopProfile) -> Curve:
    """The curve as observed: a file that was corrected already is taken back first."""
    back = _taken_back(run)
    power, torque = rows.get("power_kw"), rows.get("torque_nm")
    return power_curve(
        rows["engine_speed_rpm"],
        None if power is None else power * back,
        torque_nm=torque * back if power is None and torque is not None else None,
        grid_step_rpm=shop.grid_step_rpm,
        width_rpm=shop.smoothing_width_rpm,
    )


def _taken_back(run: Run) -> float:
    if run.file_factor:
        return 1 / run.file_factor
    air = run_air(run)
    if run.corrected_by and air:
        return uncorrect(run.corrected_by, air)
    if run.corrected_by:
        raise ValueError(
            "The file's figures are already corrected. Enter the air of the run or the factor the file "
            "states, so that they can be taken back to what was observed."
        )
    return 1.0


def _correction(run: Run, shop: ShopProfile) -> Correction | None:
    air = run_air(run)
    return correct(shop.correction_standard, air) if air else None


def _pressure_flag(run: Run, shop: ShopProfile) -> tuple[Flag, ...]:
    question = question_pressure(run.pressure_kpa, shop.elevation_m) if run.pressure_kpa is not None else None
    return (Flag("air-pressure", question),) if question else ()


def _run_flags(run: Run, channels: dict[str, FloatArray], sweep: Sweep, note: str | None) -> tuple[Flag, ...]:
    throttle = channels.get("grip_pct", channels.get("plate_pct")) if run.kind == Run.Kind.SWEEP else None
    return check_run(
        channels["engine_speed_rpm"],
        sweep,
        throttle_pct=throttle,
        power_kw=channels.get("power_kw"),
        torque_nm=channels.get("torque_nm"),
        road_speed_kmh=channels.get("road_speed_kmh"),
        air_known=run.has_air,
        factor_note=note,
    )


def _lambda(rows: dict[str, FloatArray], curve: Curve, shop: ShopProfile) -> FloatArray | None:
    """Lambda on the curve's own engine speeds; NaN where it was not measured."""
    if "lambda" not in rows:
        return None
    try:
        made = on_grid(rows["engine_speed_rpm"], rows["lambda"], shop.grid_step_rpm, shop.smoothing_width_rpm)
    except ValueError:
        return None
    lambda_ = np.full(curve.engine_speed_rpm.size, np.nan)
    place = np.searchsorted(curve.engine_speed_rpm, made.engine_speed_rpm)
    fits = place < lambda_.size
    fits[fits] = curve.engine_speed_rpm[place[fits]] == made.engine_speed_rpm[fits]
    lambda_[place[fits]] = made.values[fits]
    return lambda_


def standard_name(shop: ShopProfile) -> str:
    return STANDARDS[shop.correction_standard].name
