"""Curves recovered from the samples of simulated runs, compared with the true curves."""

import numpy as np
import pytest

from jobs.calc.dyno import roller
from jobs.calc.dyno.air import Air, correct
from jobs.calc.dyno.comparison import compare
from jobs.calc.dyno.curve_difference import Verdict
from jobs.calc.dyno.curves import Curve, apply_factor, power_curve
from jobs.calc.dyno.repeats import summarise_repeats
from jobs.calc.dyno.speed_grid import shown_share
from jobs.calc.dyno.sweep import find_sweep
from tests.calc import roller_sweeps
from tests.calc.simulated_runs import (
    INERTIA_KGM2,
    RPM_PER_RAD_S,
    TO_RPM,
    Run,
    simulate,
    true_power_kw,
)

WIDTH_RPM = 400.0
LIMIT = 0.005
RUN_TO_RUN = 0.002
COLD_DRY = Air(temperature_c=12.0, pressure_kpa=101.6, humidity_pct=35)
HOT_DAMP = Air(temperature_c=31.0, pressure_kpa=98.2, humidity_pct=70)


def curve_of(run: Run) -> Curve:
    rows = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s).rows
    return power_curve(run.engine_speed_rpm[rows], run.power_kw[rows], width_rpm=WIDTH_RPM)


def from_roller(run: Run) -> Curve:
    rows = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s).rows
    found = roller.roller_power(run.time_s[rows], run.roller_speed_rad_s[rows], INERTIA_KGM2)
    return power_curve(found.roller_speed_rad_s * RPM_PER_RAD_S, found.power_kw, width_rpm=WIDTH_RPM)


def corrected_group(seed: int, air: Air, real_gain: float = 1.0) -> list[Curve]:
    """Five runs in this air, each a little different, brought back by the factor for it."""
    rng = np.random.default_rng(seed)
    factor = correct("sae_j1349", air).factor
    gains = real_gain / factor * (1 + rng.normal(0, RUN_TO_RUN, 5))
    runs = [simulate(rng, gain=gain, missing=0.3, dropouts=12) for gain in gains]
    return [apply_factor(curve_of(run), factor) for run in runs]


def assert_recovered(speed: np.ndarray, power: np.ndarray, gain: float = 1.0) -> None:
    measured = np.isfinite(power)
    truth = gain * true_power_kw(speed)
    assert speed[measured].min() <= 3_600
    assert speed[measured].max() >= TO_RPM - 300
    assert np.abs(power / truth - 1)[measured].max() < LIMIT


@pytest.mark.parametrize("seed", range(5))
def test_true_curve_is_recovered_from_noise_dropouts_and_missing_samples(seed: int) -> None:
    rng = np.random.default_rng(seed)
    found = summarise_repeats([curve_of(simulate(rng, missing=0.3, dropouts=12)) for _ in range(3)])
    assert_recovered(found.engine_speed_rpm, found.power.mean)


@pytest.mark.parametrize("seed", range(5))
def test_true_curve_is_recovered_from_roller_speed(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    found = summarise_repeats([from_roller(simulate(rng, missing=0.3)) for _ in range(3)])
    # Within half a time window of the sweep's ends the acceleration is read from one side alone.
    speed = found.engine_speed_rpm
    whole = (speed > speed[0] + 200) & (speed < speed[-1] - 200)
    assert_recovered(speed[whole], found.power.mean[whole])


@pytest.mark.parametrize("with_throttle", [True, False])
@pytest.mark.parametrize("rpm_per_s", [2_467, 1_156, 453])
def test_overrun_in_the_file_does_not_bend_the_ends(rpm_per_s: float, with_throttle: bool) -> None:
    run = roller_sweeps.roller_sweep(rpm_per_s)
    sweep = find_sweep(run.engine_speed_rpm, run.throttle_pct if with_throttle else None, run.time_s)
    time, speed = run.time_s[sweep.rows], run.roller_speed_rad_s[sweep.rows]
    window_s = roller.slope_window_s(time, speed, 150 / roller_sweeps.RPM_PER_RAD_S)
    power = roller.roller_power(time, speed, run.inertia_kgm2, window_s=window_s).power_kw
    whole = (time > time[0] + window_s / 2) & (time < time[-1] - window_s / 2)
    curve = power_curve(speed[whole] * roller_sweeps.RPM_PER_RAD_S, power[whole], width_rpm=300)
    measured = np.isfinite(curve.power_kw)
    ratio = curve.power_kw[measured] / roller_sweeps.true_power_kw(curve.engine_speed_rpm[measured])
    assert np.abs(ratio - 1).max() < LIMIT
    # Half a slope and a step of the grid are lost, and 0.15 s in which an unseen hand may have closed.
    lost_rpm = 175 if with_throttle else 175 + 0.17 * rpm_per_s
    assert curve.measured_to_rpm > roller_sweeps.TO_RPM - lost_rpm


@pytest.mark.parametrize("falls", [False, True])
@pytest.mark.parametrize("late_s", [0.03, 0.05, 0.075, 0.1, 0.2])
@pytest.mark.parametrize("rpm_per_s", [2_467, 1_156, 453])
def test_throttle_that_was_recorded_late_does_not_bend_the_top(
    rpm_per_s: float, late_s: float, falls: bool
) -> None:
    """Uncut, the last points were 2.4 % low from 0.05 s and 20 to 34 % from a fifth of a second."""
    run = roller_sweeps.roller_sweep(rpm_per_s, falls=falls)
    late = np.interp(run.time_s - late_s, run.time_s, run.throttle_pct)
    rows = find_sweep(run.engine_speed_rpm, late, run.time_s).rows
    time, speed = run.time_s[rows], run.roller_speed_rad_s[rows]
    window_s = roller.slope_window_s(time, speed, 150 / roller_sweeps.RPM_PER_RAD_S)
    power = roller.roller_power(time, speed, run.inertia_kgm2, window_s=window_s).power_kw
    whole = (time > time[0] + window_s / 2) & (time < time[-1] - window_s / 2)
    curve = power_curve(speed[whole] * roller_sweeps.RPM_PER_RAD_S, power[whole], width_rpm=300)
    measured = np.isfinite(curve.power_kw)
    truth = roller_sweeps.true_power_kw(curve.engine_speed_rpm[measured], falls=falls)
    assert np.abs(curve.power_kw[measured] / truth - 1).max() < LIMIT
    assert curve.measured_to_rpm > roller_sweeps.TO_RPM - 175 - 0.17 * rpm_per_s


@pytest.mark.parametrize("rpm_per_s", [2_467, 453])
def test_peak_of_a_roller_is_not_raised_by_the_noise_of_its_speed(rpm_per_s: float) -> None:
    """Noise of 0.02 and 0.05 %, and road speed rounded to 1 km/h: once 0.5, 1.6 and 2.6 % high."""
    run = roller_sweeps.roller_sweep(rpm_per_s, speed_noise=0, falls=True)
    rows = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s).rows
    time, engine, quiet = run.time_s[rows], run.engine_speed_rpm[rows], run.roller_speed_rad_s[rows]
    true_peak = roller_sweeps.true_power_kw(np.arange(3_500.0, 11_500.0), falls=True).max()
    rng = np.random.default_rng(5)

    def peak(speed: np.ndarray) -> float:
        window_s = roller.slope_window_s(time, speed, 150 / roller_sweeps.RPM_PER_RAD_S)
        power = roller.roller_power(time, speed, run.inertia_kgm2, window_s=window_s).power_kw
        whole = (time > time[0] + window_s / 2) & (time < time[-1] - window_s / 2)
        return power_curve(engine[whole], power[whole], width_rpm=300).peak_power_kw / true_peak - 1

    def rounded(shift: float) -> np.ndarray:
        kmh_per_rad_s = 0.22 * 3.6 * (1 + shift)  # another size of roller meets other steps
        return np.round(quiet * kmh_per_rad_s) / kmh_per_rad_s

    for noise in (2e-4, 5e-4):
        peaks = [peak(quiet * (1 + rng.normal(0, noise, quiet.size))) for _ in range(16)]
        assert abs(np.mean(peaks)) < LIMIT / 2
    assert abs(np.mean([peak(rounded(shift)) for shift in np.linspace(-0.002, 0.002, 16)])) < LIMIT / 2


@pytest.mark.parametrize("dip_rpm", [150, 300, 500])
def test_dip_is_shown_as_deep_as_stated_for_a_roller(dip_rpm: float) -> None:
    dip = (0.1, dip_rpm)
    run = roller_sweeps.roller_sweep(1_156, speed_noise=0, dip=dip)
    rows = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s).rows
    time, speed = run.time_s[rows], run.roller_speed_rad_s[rows]
    power = roller.roller_power(time, speed, run.inertia_kgm2, window_s=150 / 1_156).power_kw
    curve = power_curve(run.engine_speed_rpm[rows], power, width_rpm=300)
    at = curve.engine_speed_rpm == 8_000
    shown = (1 - curve.power_kw[at][0] / float(roller_sweeps.true_power_kw(8_000))) / dip[0]
    assert shown == pytest.approx(shown_share(dip_rpm, 300, 150), abs=0.02)


@pytest.mark.parametrize("air", [COLD_DRY, HOT_DAMP], ids=["cold and dry", "hot and damp"])
def test_correction_recovers_the_true_curve_in_any_weather(air: Air) -> None:
    found = summarise_repeats(corrected_group(7, air))
    assert_recovered(found.engine_speed_rpm, found.power.mean)


def test_corrected_weather_is_no_gain_and_a_real_gain_is_found() -> None:
    before = corrected_group(11, HOT_DAMP)
    same, better = corrected_group(12, COLD_DRY), corrected_group(13, COLD_DRY, real_gain=1.03)

    weather = compare(before, same).bands[0].mean_power
    assert weather.verdict is Verdict.NO_DIFFERENCE
    assert weather.difference_pct == pytest.approx(0.0, abs=100 * LIMIT)

    gained = compare(before, better).bands[0].mean_power
    assert gained.verdict is Verdict.MORE
    assert gained.difference_pct == pytest.approx(3.0, abs=100 * LIMIT)
    assert gained.ci_low < 0.03 * gained.before < gained.ci_high


def test_uncorrected_weather_looks_like_a_gain() -> None:
    """The same engine measured on a cold and on a hot day has the same corrected power."""
    hot = [curve.observed for curve in corrected_group(11, HOT_DAMP)]
    cold = [curve.observed for curve in corrected_group(12, COLD_DRY)]
    assert compare(hot, cold).bands[0].mean_power.verdict is Verdict.MORE
