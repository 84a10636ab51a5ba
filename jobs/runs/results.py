"""From a run's channels to its curve: the one way by which every page, CSV and sheet gets its figures."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from jobs.calc.dyno.air import STANDARDS, Air, AirCorrection, correct, pressure_warning, uncorrect
from jobs.calc.dyno.consistency import RatioChange, ratio_change
from jobs.calc.dyno.curves import Curve, Flag, apply_factor, power_curve
from jobs.calc.dyno.speed_grid import SAMPLES_WANTED, common_width_rpm, fit_on_grid
from jobs.calc.dyno.sweep import FULL_THROTTLE_PCT, Sweep, bridge_speed, check_run, find_sweep
from jobs.calc.statistics import summarise
from jobs.calc.units.numbers import format_number
from jobs.job.results import JobResults
from jobs.models import Run
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.roller import ROLLER_SPEEDS, RollerBench
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
    *ROLLER_SPEEDS,
)


FEW = 2  # so many times the samples a window wants, on average: with fewer a run counts as thin


@dataclass(frozen=True, eq=False)
class RunFigures:
    """A run's curve as observed and as corrected, its mixture, and what a reader must know of it.

    ``curve`` is the corrected one where the air is known, else the observed; None where the run has
    no sweep or no power, and ``reason`` says why. ``lambda_`` lies on the curve's grid. ``rows`` holds
    the sweep's samples by channel; ``taken_back`` is what the file's power is multiplied by to be
    the observed one.
    """

    run: Run
    curve: Curve | None
    observed: Curve | None
    correction: AirCorrection | None
    sweep: Sweep | None
    lambda_: FloatArray | None
    flags: tuple[Flag, ...]
    reason: str = ""
    rows: dict[str, FloatArray] = field(default_factory=dict, repr=False)
    taken_back: float = 1.0

    @property
    def ratio(self) -> RatioChange | None:
        """Engine speed over road speed along the sweep; None where one of them was not measured."""
        if not {"engine_speed_rpm", "road_speed_kmh"} <= self.rows.keys():
            return None
        return ratio_change(self.rows["engine_speed_rpm"], self.rows["road_speed_kmh"])

    def channel(self, name: str) -> FloatArray | None:
        """Return the samples of any stored channel within the sweep."""
        if name in self.rows:
            return self.rows[name]
        stored = load_channels(self.run, [name])
        return stored[name][self.sweep.rows] if self.sweep and name in stored else None

    @property
    def is_corrected(self) -> bool:
        return self.correction is not None

    @property
    def factor(self) -> float:
        """From observed to what ``curve`` shows."""
        return self.correction.factor if self.correction else 1.0


@dataclass(frozen=True, eq=False)
class Loaded:
    """The samples of a run's sweep; ``reason`` says why there is no curve to be made of them.

    ``made`` tells which of the channels the file does not hold itself, and how they were made.
    """

    run: Run
    sweep: Sweep | None = None
    rows: dict[str, FloatArray] = field(default_factory=dict)
    reason: str = ""
    made: tuple[Flag, ...] = ()

    @property
    def power_is_made(self) -> bool:
        return any(flag.code == "roller" for flag in self.made)


def run_results(results: JobResults) -> dict[int, RunFigures]:
    """Return the figures of every run of the job by key, each computed once."""
    widths, loaded = results.get(smoothing_widths), results.get(loaded_runs)
    return {pk: figures_from(each, results.shop, widths[pk]) for pk, each in loaded.items()}


def loaded_runs(results: JobResults) -> dict[int, Loaded]:
    bench = RollerBench(results.shop)
    return {run.pk: load(run, bench) for run in results.rows(Run)}


def smoothing_widths(results: JobResults) -> dict[int, float]:
    """Return the smoothing width of every run by key [1/min].

    All runs of one kind that count have one width, wherever they are shown: the shop's, or a wider one
    if a file among them has too few samples for it. An excluded run has no say in the others' width.
    """
    loaded = results.get(loaded_runs)
    widths: dict[int, float] = {}
    for kind in Run.Kind:
        of_kind = [each for each in loaded.values() if each.run.kind == kind]
        counting = [each for each in of_kind if each.run.counts]
        common = width_for(counting, results.shop)
        widths |= {
            each.run.pk: common if each.run.counts else width_for([*counting, each], results.shop)
            for each in of_kind
        }
    return widths


def load(run: Run, bench: RollerBench) -> Loaded:
    if run.status != Run.Status.READ:
        refused = run.status == Run.Status.REFUSED
        return Loaded(run, reason=run.refusal if refused else "The columns of this file are not named yet.")
    try:
        channels = load_channels(run, NEEDED)
        if run.kind == Run.Kind.COAST:
            return Loaded(run, reason=bench.coast_in_words(run))
        made, flags = bench.complete(run, channels)
        return replace(_sweep_of(run, made), made=tuple(flags))
    except ValueError as problem:
        return Loaded(run, reason=str(problem))


def _sweep_of(run: Run, channels: dict[str, FloatArray]) -> Loaded:
    speed = channels.get("engine_speed_rpm")
    if speed is None:
        return Loaded(run, reason="The file has no engine speed, so there is no curve over it.")
    if run.kind == Run.Kind.IDLE:
        return Loaded(run, reason=idle_in_words(speed))
    sweep = find_sweep(speed, throttle_of(channels), channels.get("time_s"), run.sweep_start, run.sweep_stop)
    rows = {name: channel[sweep.rows].copy() for name, channel in channels.items()}
    if not {"power_kw", "torque_nm"} & rows.keys():
        return Loaded(run, sweep, rows, "The file has neither power nor torque.")
    return Loaded(run, sweep, rows)


def throttle_of(channels: dict[str, FloatArray]) -> FloatArray | None:
    return channels.get("grip_pct", channels.get("plate_pct"))


def idle_in_words(engine_speed_rpm: FloatArray) -> str:
    """An idle run has no curve; what it tells is the speed and how steady that is."""
    turning = bridge_speed(engine_speed_rpm)
    if turning is None:
        return "The engine speed of this idle run is missing."
    idle = summarise(turning)
    return f"Idle: {format_number(idle.mean)} 1/min, standard deviation {format_number(idle.sd)} 1/min."


def width_for(loaded: Sequence[Loaded], shop: ShopProfile) -> float:
    """The shop's smoothing width, or a wider one that the thin files among these need."""
    width = float(shop.smoothing_width_rpm)
    speeds = [each.rows["engine_speed_rpm"] for each in loaded if not each.reason]
    # Only thin files are asked about: a gap in a dense one is shown as a gap, not smoothed over.
    thin = [speed for speed in speeds if _is_thin(speed, width)]
    return common_width_rpm(thin, shop.grid_step_rpm, width) if thin else width


def _is_thin(speed: FloatArray, width_rpm: float) -> bool:
    turning = speed[speed > 0]
    if turning.size == 0:
        return False
    low, high = np.quantile(turning, [0.01, 0.99])
    return bool(turning.size * width_rpm < FEW * SAMPLES_WANTED * (high - low))


def run_air(run: Run) -> Air | None:
    """The air the run was made in, where all three figures were entered."""
    if run.temperature_c is None or run.pressure_kpa is None or run.humidity_pct is None:
        return None
    return Air(run.temperature_c, run.pressure_kpa, humidity_pct=run.humidity_pct)


def figures_from(loaded: Loaded, shop: ShopProfile, width_rpm: float) -> RunFigures:
    run, rows = loaded.run, loaded.rows
    if loaded.reason:
        return _nothing(loaded, loaded.reason)
    try:
        back = 1.0 if loaded.power_is_made else taken_back(run)
        observed = _observed(rows, back, shop, width_rpm)
        correction = _correction(run, shop)
    except ValueError as problem:
        return _nothing(loaded, str(problem))
    curve = apply_factor(observed, correction.factor) if correction else observed
    flags = (*observed.flags, *_run_flags(loaded, correction), *_own_flags(loaded, shop, width_rpm))
    return RunFigures(
        run,
        curve,
        observed,
        correction,
        loaded.sweep,
        _lambda(rows, curve),
        flags,
        rows=rows,
        taken_back=back,
    )


def _nothing(loaded: Loaded, reason: str) -> RunFigures:
    return RunFigures(loaded.run, None, None, None, loaded.sweep, None, (), reason, loaded.rows)


def _observed(rows: dict[str, FloatArray], back: float, shop: ShopProfile, width_rpm: float) -> Curve:
    """The curve as observed: a file that was corrected already is taken back first."""
    power, torque = rows.get("power_kw"), rows.get("torque_nm")
    return power_curve(
        rows["engine_speed_rpm"],
        None if power is None else power * back,
        torque_nm=torque * back if power is None and torque is not None else None,
        grid_step_rpm=shop.grid_step_rpm,
        width_rpm=width_rpm,
    )


def taken_back(run: Run) -> float:
    """What the file's power and torque are multiplied by to be as observed.

    Raises
    ------
    ValueError
        The file's figures are corrected, and neither its factor nor its air is known.
    """
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


def _correction(run: Run, shop: ShopProfile) -> AirCorrection | None:
    air = run_air(run)
    return correct(shop.correction_standard, air) if air else None


def _own_flags(loaded: Loaded, shop: ShopProfile, width_rpm: float) -> list[Flag]:
    """What the run's record and the smoothing add to what its channels say."""
    run, found = loaded.run, list(loaded.made)
    if run.pressure_kpa is not None and (question := pressure_warning(run.pressure_kpa, shop.elevation_m)):
        found.append(Flag("air-pressure", question))
    if width_rpm > shop.smoothing_width_rpm:
        sentence = f"Few samples: smoothed over {width_rpm:g} 1/min instead of {shop.smoothing_width_rpm:g}."
        found.append(Flag("width", sentence))
    throttle = throttle_of(loaded.rows)
    if run.kind == Run.Kind.HELD and run.has_air and throttle is not None:
        known = throttle[np.isfinite(throttle)]
        if known.size and np.median(known) < FULL_THROTTLE_PCT:
            sentence = "The throttle was held part open; the correction is made for a wide open one."
            found.append(Flag("held", sentence))
    return found


def _run_flags(loaded: Loaded, correction: AirCorrection | None) -> tuple[Flag, ...]:
    rows, sweep = loaded.rows, loaded.sweep
    assert sweep is not None  # a run without one has a reason and gets no curve
    note = " ".join(correction.passed_limits) if correction else ""
    speed = rows["engine_speed_rpm"]
    return check_run(
        speed,
        Sweep(0, speed.size, sweep.reason, sweep.found),
        throttle_pct=throttle_of(rows) if loaded.run.kind == Run.Kind.SWEEP else None,
        power_kw=rows.get("power_kw"),
        torque_nm=rows.get("torque_nm"),
        road_speed_kmh=rows.get("road_speed_kmh"),
        air_known=loaded.run.has_air,
        factor_note=note or None,
    )


def _lambda(rows: dict[str, FloatArray], curve: Curve) -> FloatArray | None:
    """Lambda on the curve's own engine speeds; NaN where it was not measured."""
    if "lambda" not in rows:
        return None
    return channel_on_curve(rows["engine_speed_rpm"], rows["lambda"], curve)


def channel_on_curve(speed: FloatArray, values: FloatArray, curve: Curve) -> FloatArray | None:
    """Any channel on the curve's own engine speeds, every sample counted: a short lean spike may be true."""
    try:
        made = fit_on_grid(speed, values, curve.grid_step_rpm, curve.width_rpm, keep_all=True)
    except ValueError:
        return None
    return placed(made.engine_speed_rpm, made.values, curve.engine_speed_rpm, curve.grid_step_rpm)


def placed(from_rpm: FloatArray, values: FloatArray, onto_rpm: FloatArray, step_rpm: float) -> FloatArray:
    """The values at those engine speeds of another grid of the same step; NaN where there are none."""
    found = np.full(onto_rpm.size, np.nan)
    place = np.round((from_rpm - onto_rpm[0]) / step_rpm).astype(int)
    fits = (place >= 0) & (place < onto_rpm.size)
    found[place[fits]] = values[fits]
    return found


def standard_name(shop: ShopProfile) -> str:
    return STANDARDS[shop.correction_standard].name
