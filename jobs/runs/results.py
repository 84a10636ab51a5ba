"""Compute the curve of a run from its channels, for every page, CSV and sheet."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.calc.dyno.air import (
    STANDARDS,
    Air,
    AirCorrection,
    correct,
    correction_blocker,
    pressure_warning,
    uncorrect,
)
from jobs.calc.dyno.consistency import RatioChange, constant_slip_pct, ratio_change
from jobs.calc.dyno.curves import Curve, Flag, apply_factor, power_curve
from jobs.calc.dyno.speed_grid import SAMPLES_WANTED, common_width_rpm, fit_on_grid, shown_share
from jobs.calc.dyno.sweep import FULL_THROTTLE_PCT, Sweep, bridge_speed, check_run, find_sweep
from jobs.calc.mixture.sensor import check_lambda
from jobs.calc.statistics import summarise
from jobs.calc.units.numbers import format_digits, format_number
from jobs.job.results import JobResults
from jobs.models import Run, SuspensionSetting
from jobs.runs.air_readings import is_old, reading_times
from jobs.runs.channel_files import FloatArray, load_channels
from jobs.runs.file_correction import OBSERVED, OTHER, FileCorrection, air_in_file, file_correction
from jobs.runs.lambda_reading import lambda_flags
from jobs.runs.roller import ROLLER_SPEEDS, RollerDyno
from jobs.suspension.engine_ratio import computed_gearing
from workshop.languages import is_english
from workshop.models import EngineSpec, ShopProfile

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


# Above what a tyre's wear and pressure explain. Rule of thumb, no published source.
CONSTANT_SLIP_LIMIT_PCT = 5.0
DIPS_RPM = (100, 200, 400)  # full widths at half depth
NO_POWER = gettext_noop(
    "No column of the file is read as power or torque, so there is no curve. Set it under “Import settings”."
)
NO_ENGINE_SPEED = gettext_noop(
    "No column of the file is read as engine speed, so there is no curve over it. Set it under "
    "“Import settings”."
)
MIN_WINDOW_FILL = 2  # a run is sparse below this multiple of the samples a window needs on average


@dataclass(frozen=True, eq=False)
class RunResult:
    """A run's observed and corrected curve, its mixture and its flags.

    ``curve`` is the corrected curve if the air is known, else the observed one. It is None without a sweep
    or power, and ``reason`` says why. ``lambda_`` is on the grid of the curve. ``rows`` holds the samples of
    the sweep by channel; ``uncorrect_factor`` turns the power of the file into the observed one.
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
    uncorrect_factor: float = 1.0
    slope_width_rpm: float | None = None
    slip_pct: float | None = None

    @property
    def sweep_rate_rpm_s(self) -> float | None:
        """How fast the engine speed rose over the sweep on the whole [1/min a second], if time is known."""
        time, speed = self.rows.get("time_s"), self.rows.get("engine_speed_rpm")
        if time is None or speed is None:
            return None
        known = np.flatnonzero(np.isfinite(time) & (speed > 0))
        if known.size < 2 or not time[known[-1]] > time[known[0]]:
            return None
        return float((speed[known[-1]] - speed[known[0]]) / (time[known[-1]] - time[known[0]]))

    @property
    def slip(self) -> str:
        """How much faster or slower than the roller the wheel turns, or "" if unknown."""
        if self.slip_pct is None:
            return ""
        return f"{format_number(abs(self.slip_pct), 1)} % {'slower' if self.slip_pct < 0 else 'faster'}"

    @property
    def ratio(self) -> RatioChange | None:
        """Ratio of engine to road speed along the sweep, or None unless both were measured."""
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
    def grip_pct(self) -> float | None:
        """Opening at which a held run was held [%], measured or else entered; None if neither."""
        if self.run.kind != Run.Kind.HELD:
            return None
        throttle = throttle_channel(self.rows)
        if throttle is None or not np.isfinite(throttle).any():
            return self.run.held_grip_pct
        return float(np.nanmedian(throttle))

    @property
    def file_correction(self) -> FileCorrection:
        return file_correction(self.run)

    @property
    def remarks(self) -> tuple[str, ...]:
        """Return what the reader of the run has to know, with what is known of the file's own correction."""
        state = self.file_correction.state
        is_said = not state or self.run.corrected_by == OBSERVED or self.file_correction.in_doubt
        return (
            *(() if is_said else (f"Correction in the file: {state}.",)),
            *(f.sentence for f in self.flags),
        )

    @property
    def is_corrected(self) -> bool:
        return self.correction is not None

    @property
    def factor(self) -> float:
        """Factor from the observed power to that of ``curve``."""
        return self.correction.factor if self.correction else 1.0

    @property
    def smoothing_sentence(self) -> str:
        """What the curve is smoothed over, in words; empty without a curve."""
        if self.curve is None:
            return ""
        sentence = _("smoothed over %(width)s rpm") % {"width": format_number(self.curve.width_rpm)}
        if self.slope_width_rpm is None:
            return sentence
        slope = _("the roller's slope over %(width)s") % {"width": format_number(self.slope_width_rpm)}
        return f"{sentence}, {slope}"


@dataclass(frozen=True, eq=False)
class SweepData:
    """Samples of a run's sweep; ``reason`` says why they give no curve.

    ``derived`` flags the channels that are not in the file, and how they were derived. In ``rows`` lambda is
    without the samples that ``lambda_flags`` tell of. ``slope_width_rpm`` is
    what the slope of the roller speed was taken over.
    """

    run: Run
    sweep: Sweep | None = None
    rows: dict[str, FloatArray] = field(default_factory=dict)
    reason: str = ""
    derived: tuple[Flag, ...] = ()
    slope_width_rpm: float | None = None
    lambda_flags: tuple[Flag, ...] = ()

    @property
    def power_is_derived(self) -> bool:
        return any(flag.code == "roller" for flag in self.derived)


def run_results(results: JobResults) -> dict[int, RunResult]:
    """Return the result of every run of the job by key, computed once."""
    widths, sweeps = results.get(smoothing_widths), results.get(sweeps_by_run)
    read_at = reading_times(results.rows(Run))
    engine = results.job.bike.engine_spec
    computed = {
        pk: compute_result(sweep, results.shop, widths[pk], engine, read_at.get(pk))
        for pk, sweep in sweeps.items()
    }
    return {pk: _with_slip(result, results) for pk, result in computed.items()}


def _with_slip(result: RunResult, results: JobResults) -> RunResult:
    """Add the slip that is there throughout, if gear, ratios and tyre are known."""
    gear = result.run.gear
    if gear is None or result.ratio is None or "road_speed_kmh" not in result.rows:
        return result
    try:
        settings = [row for row in results.rows(SuspensionSetting) if row.set_at <= result.run.made_at]
        computed = computed_gearing(results.job, gear, settings)
    except ValueError:
        return result
    slip_pct = constant_slip_pct(result.ratio.reference, computed.rpm_per_kmh)
    flags = result.flags
    if abs(slip_pct) > CONSTANT_SLIP_LIMIT_PCT:
        text = (
            _(
                "By the gearing and the tyre, the wheel turns %(share)s %% faster than the roller "
                "throughout. Possible causes: slip, a tyre, sprocket or gear other than recorded, or "
                "a wrong roller radius."
            )
            if slip_pct > 0
            else _(
                "By the gearing and the tyre, the wheel turns %(share)s %% slower than the roller "
                "throughout. Possible causes: slip, a tyre, sprocket or gear other than recorded, or "
                "a wrong roller radius."
            )
        )
        sentence = text % {"share": format_number(abs(slip_pct), 1)}
        flags = (*flags, Flag("constant-slip", sentence))
    return replace(result, slip_pct=slip_pct, flags=flags)


def sweeps_by_run(results: JobResults) -> dict[int, SweepData]:
    dyno = RollerDyno(results.shop, results.job.bike)
    return {run.pk: load_sweep(run, dyno) for run in results.rows(Run)}


def smoothing_widths(results: JobResults) -> dict[int, float]:
    """Return the smoothing width of every run by key [1/min].

    It is the shop's. Files with too few samples for that share a wider one by kind, and leave the others as
    they are. An excluded run does not affect the width of the others.
    """
    sweeps, shop = results.get(sweeps_by_run), results.shop
    widths = {pk: float(shop.smoothing_width_rpm) for pk in sweeps}
    for kind in Run.Kind:
        thin = [sweep for sweep in sweeps.values() if sweep.run.kind == kind and is_sparse(sweep, shop)]
        counting = [sweep for sweep in thin if sweep.run.counts]
        for sweep in thin:
            together = counting if sweep.run.counts else [*counting, sweep]
            speeds = [one.rows["engine_speed_rpm"] for one in together]
            widths[sweep.run.pk] = common_width_rpm(speeds, shop.grid_step_rpm, shop.smoothing_width_rpm)
    return widths


def curves_at_one_width(found: Sequence[RunResult], shop: ShopProfile) -> list[Curve]:
    """Return the curves of runs that have one, all smoothed over the widest of their widths."""
    curves = [result.curve for result in found if result.curve]
    widest = max((curve.width_rpm for curve in curves), default=0.0)
    return [
        result.curve if result.curve.width_rpm == widest else _smooth_again(result, shop, widest)
        for result in found
        if result.curve
    ]


def _smooth_again(result: RunResult, shop: ShopProfile, width_rpm: float) -> Curve:
    observed = _observed(result.rows, result.uncorrect_factor, shop, width_rpm)
    return apply_factor(observed, result.factor) if result.is_corrected else observed


def load_sweep(run: Run, dyno: RollerDyno) -> SweepData:
    if run.status != Run.Status.READ:
        if run.status == Run.Status.REFUSED:
            # Stored in English when the file was read.
            return SweepData(run, reason=run.refusal if is_english() else _("The file could not be read."))
        return SweepData(run, reason=_("The import settings of this file are not confirmed yet."))
    found = SweepData(run)
    try:
        channels = load_channels(run, NEEDED)
        if run.kind == Run.Kind.COAST:
            return SweepData(run, reason=dyno.describe_coast_down(run))
        derived, flags = dyno.derive_speeds(run, channels)
        found = replace(_find_sweep(run, derived), derived=tuple(flags))
        if found.sweep is None:
            return found
        # Cut first: a slope taken across the closing throttle would bend the end of the curve.
        powered = dyno.derive_power(run, found.rows)
        has_power = {"power_kw", "torque_nm"} & powered.rows.keys()
        return replace(
            found,
            rows=powered.rows,
            reason="" if has_power else _(NO_POWER),
            derived=(*flags, *powered.flags),
            slope_width_rpm=powered.slope_width_rpm,
        )
    except ValueError as problem:
        return replace(found, reason=str(problem))


def _find_sweep(run: Run, channels: dict[str, FloatArray]) -> SweepData:
    speed = channels.get("engine_speed_rpm")
    if speed is None:
        return SweepData(run, reason=_(NO_ENGINE_SPEED))
    if run.kind == Run.Kind.IDLE:
        return SweepData(run, reason=describe_idle(speed))
    sweep = find_sweep(
        speed, throttle_channel(channels), channels.get("time_s"), run.sweep_start, run.sweep_stop
    )
    found: list[Flag] = []
    if "lambda" in channels:
        reading = check_lambda(channels["lambda"], channels.get("time_s"))
        channels = {**channels, "lambda": reading.values}
        found = lambda_flags(reading, sweep.rows, speed)
    rows = {name: channel[sweep.rows].copy() for name, channel in channels.items()}
    return SweepData(run, sweep, rows, lambda_flags=tuple(found))


def throttle_channel(channels: dict[str, FloatArray]) -> FloatArray | None:
    return channels.get("grip_pct", channels.get("plate_pct"))


def describe_idle(engine_speed_rpm: FloatArray) -> str:
    """Describe an idle run, which has no curve, by its mean speed and scatter."""
    turning = bridge_speed(engine_speed_rpm)
    if turning is None:
        return _("The engine speed of this idle run is zero or missing in every row.")
    idle = summarise(turning)
    values = {"mean": format_number(idle.mean), "sd": format_number(idle.sd)}
    return _("Idle: %(mean)s rpm, standard deviation %(sd)s rpm.") % values


def is_sparse(sweep_data: SweepData, shop: ShopProfile) -> bool:
    """Return True if a file has too few samples for the shop's smoothing width.

    A gap in a dense file does not make it sparse: it is shown as a gap, not smoothed over.
    """
    if sweep_data.reason:
        return False
    speed = sweep_data.rows["engine_speed_rpm"]
    turning = speed[speed > 0]
    if turning.size == 0:
        return False
    low, high = np.quantile(turning, [0.01, 0.99])
    return bool(turning.size * shop.smoothing_width_rpm < MIN_WINDOW_FILL * SAMPLES_WANTED * (high - low))


def get_air(run: Run) -> Air | None:
    """Return the air of the run, or None unless all three values were entered."""
    if run.temperature_c is None or run.pressure_kpa is None or run.humidity_pct is None:
        return None
    return Air(run.temperature_c, run.pressure_kpa, humidity_pct=run.humidity_pct)


def compute_result(
    sweep_data: SweepData,
    shop: ShopProfile,
    width_rpm: float,
    engine: EngineSpec | None,
    air_read_at: datetime | None,
) -> RunResult:
    run, rows = sweep_data.run, sweep_data.rows
    if sweep_data.reason:
        return _without_curve(sweep_data, sweep_data.reason)
    try:
        factor = 1.0 if sweep_data.power_is_derived else uncorrect_factor(run)
        observed = _observed(rows, factor, shop, width_rpm)
        correction = _correction(sweep_data, shop, engine)
    except ValueError as problem:
        return _without_curve(sweep_data, str(problem))
    curve = apply_factor(observed, correction.factor) if correction else observed
    flags = (
        *observed.flags,
        *_run_flags(sweep_data, correction),
        *_air_flags(run, engine, air_read_at),
        *_record_flags(sweep_data, shop, curve),
    )
    return RunResult(
        run,
        curve,
        observed,
        correction,
        sweep_data.sweep,
        _lambda(rows, curve),
        flags,
        rows=rows,
        uncorrect_factor=factor,
        slope_width_rpm=sweep_data.slope_width_rpm,
    )


def _without_curve(sweep_data: SweepData, reason: str) -> RunResult:
    if loss := (sweep_data.run.report or {}).get("loss"):
        reason = f"{reason} {loss}"
    return RunResult(sweep_data.run, None, None, None, sweep_data.sweep, None, (), reason, sweep_data.rows)


def _observed(rows: dict[str, FloatArray], factor: float, shop: ShopProfile, width_rpm: float) -> Curve:
    """Compute the observed curve; the correction of the file is removed first."""
    power, torque = rows.get("power_kw"), rows.get("torque_nm")
    return power_curve(
        rows["engine_speed_rpm"],
        None if power is None else power * factor,
        torque_nm=torque * factor if power is None and torque is not None else None,
        grid_step_rpm=shop.grid_step_rpm,
        width_rpm=width_rpm,
    )


def uncorrect_factor(run: Run) -> float:
    """Return the factor that turns the power of the file into the observed one.

    It is 1 as long as nobody has said whether the file is corrected. The file's own factor counts first, then
    its own air, then the air that was entered.

    Raises
    ------
    ValueError
        The values of the file are corrected, and neither its factor nor its air is known.
    """
    if run.file_factor:
        return 1 / run.file_factor
    if run.corrected_by in ("", OBSERVED):
        return 1.0
    if run.corrected_by == OTHER:
        raise ValueError(
            "The values in the file are already corrected, by a standard without a formula here. Enter "
            "the factor that the file states, so that the correction can be removed first."
        )
    if air := air_in_file(run) or get_air(run):
        return uncorrect(run.corrected_by, air)
    raise ValueError(
        "The values in the file are already corrected. Enter the air of the run or the factor the "
        "file states, so that the correction can be removed first."
    )


def _correction(sweep_data: SweepData, shop: ShopProfile, engine: EngineSpec | None) -> AirCorrection | None:
    air = get_air(sweep_data.run)
    if air is None or _is_file_power_in_doubt(sweep_data):
        return None
    if engine and correction_blocker(engine.induction, engine.ignition):
        return None
    return correct(shop.correction_standard, air)


def _is_file_power_in_doubt(sweep_data: SweepData) -> bool:
    return not sweep_data.power_is_derived and file_correction(sweep_data.run).in_doubt


def _air_flags(run: Run, engine: EngineSpec | None, read_at: datetime | None) -> list[Flag]:
    """Return what the reader has to know of the air and of how it was corrected for."""
    found = []
    if engine and (blocker := correction_blocker(engine.induction, engine.ignition)):
        found.append(Flag("not-corrected", blocker))
    elif engine and engine.induction == EngineSpec.Induction.CHARGED and run.has_air:
        sentence = _(
            "Forced induction: the factor assumes that the boost follows the outside air. If the "
            "engine controls its boost pressure, enter that in the engine spec."
        )
        found.append(Flag("charged", sentence))
    if read_at and is_old(read_at, run.made_at):
        minutes = (run.made_at - read_at).total_seconds() / 60
        text = _(
            "The air data are exactly those of a run %(minutes)s minutes before. Check that they "
            "were read again. 6 °C change power by about 2 %%."
        )
        sentence = text % {"minutes": format_number(minutes)}
        found.append(Flag("air-old", sentence))
    return found


def _record_flags(sweep_data: SweepData, shop: ShopProfile, curve: Curve) -> list[Flag]:
    """Return the flags from the record of the run and its smoothing."""
    width_rpm = curve.width_rpm
    run, found = sweep_data.run, list(sweep_data.derived)
    if not sweep_data.power_is_derived and (doubt := file_correction(run).sentence):
        found.append(Flag("file-correction", doubt))
    found += sweep_data.lambda_flags
    if loss := (run.report or {}).get("loss"):
        found.append(Flag("loss", loss))
    if run.pressure_kpa is not None and (warning := pressure_warning(run.pressure_kpa, shop.elevation_m)):
        found.append(Flag("air-pressure", warning))
    if width_rpm > shop.smoothing_width_rpm:
        text = _("Few samples: smoothed over %(width)s rpm instead of %(usual)s.")
        values = {"width": format_digits(width_rpm), "usual": format_digits(shop.smoothing_width_rpm)}
        sentence = text % values
        found.append(Flag("width", sentence))
    if run.kind == Run.Kind.SWEEP and curve.peak_power_rpm > curve.measured_to_rpm - curve.grid_step_rpm:
        found.append(
            Flag(
                "rising",
                _("Power still rises at the end of the sweep. Its peak may be at a higher engine speed."),
            )
        )
    throttle = throttle_channel(sweep_data.rows)
    if run.kind == Run.Kind.HELD and run.has_air and throttle is not None:
        known = throttle[np.isfinite(throttle)]
        if known.size and np.median(known) < FULL_THROTTLE_PCT:
            sentence = _("The throttle was part open. The correction standard applies to full throttle.")
            found.append(Flag("held", sentence))
    return found


def _run_flags(sweep_data: SweepData, correction: AirCorrection | None) -> tuple[Flag, ...]:
    rows, sweep = sweep_data.rows, sweep_data.sweep
    assert sweep is not None  # a run without a sweep has a reason and gets no curve
    note = " ".join(correction.passed_limits) if correction else ""
    speed = rows["engine_speed_rpm"]
    # Nobody expects a held run to rise.
    found = sweep.found or sweep_data.run.kind == Run.Kind.HELD
    return check_run(
        speed,
        Sweep(0, speed.size, sweep.reason, found, sweep.other_pulls),
        throttle_pct=throttle_channel(rows) if sweep_data.run.kind == Run.Kind.SWEEP else None,
        power_kw=rows.get("power_kw"),
        torque_nm=rows.get("torque_nm"),
        road_speed_kmh=rows.get("road_speed_kmh"),
        air_known=sweep_data.run.has_air,
        factor_note=note or None,
    )


def _lambda(rows: dict[str, FloatArray], curve: Curve) -> FloatArray | None:
    """Return lambda at the engine speeds of the curve, NaN if not measured."""
    if "lambda" not in rows:
        return None
    return channel_on_curve(rows["engine_speed_rpm"], rows["lambda"], curve)


def channel_on_curve(speed: FloatArray, values: FloatArray, curve: Curve) -> FloatArray | None:
    """Fit a channel at the engine speeds of the curve, with every sample that was measured."""
    try:
        fitted = fit_on_grid(speed, values, curve.grid_step_rpm, curve.width_rpm, keep_all=True)
    except ValueError:
        return None
    return align_to_grid(fitted.engine_speed_rpm, fitted.values, curve.engine_speed_rpm, curve.grid_step_rpm)


def align_to_grid(
    from_rpm: FloatArray, values: FloatArray, onto_rpm: FloatArray, step_rpm: float
) -> FloatArray:
    """Place values on another grid of the same step, NaN if it has no such speed."""
    found = np.full(onto_rpm.size, np.nan)
    index = np.round((from_rpm - onto_rpm[0]) / step_rpm).astype(int)
    fits = (index >= 0) & (index < onto_rpm.size)
    found[index[fits]] = values[fits]
    return found


def shown_dips(result: RunResult) -> list[tuple[int, float]]:
    """Return for dips of some widths [1/min] how much of their depth the curve shows [%]."""
    if result.curve is None:
        return []
    width, slope = result.curve.width_rpm, result.slope_width_rpm or 0.0
    return [(dip, 100 * shown_share(dip, width, slope)) for dip in DIPS_RPM]


def standard_name(shop: ShopProfile) -> str:
    return STANDARDS[shop.correction_standard].name
