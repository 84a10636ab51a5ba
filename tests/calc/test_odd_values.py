"""Values that are no measurement: left out, or refused in a sentence; never a grid of millions of points."""

import tracemalloc

import numpy as np
import pytest

from jobs.calc.clearances.readings import check_range, to_nanometres
from jobs.calc.clearances.shims import compute_shim_mm
from jobs.calc.dyno.consistency import power_torque_flag, ratio_change
from jobs.calc.dyno.curves import power_curve
from jobs.calc.dyno.ignition import fit_best_advance
from jobs.calc.dyno.speed_grid import common_width_rpm, fit_on_grid, shown_share
from jobs.calc.dyno.sweep import find_pulls, find_sweep
from jobs.calc.mixture.steady import estimate_delay
from jobs.calc.throttle.closed_throttle import measure_idle
from jobs.calc.throttle.hold_drift import estimate_hold_drift
from tests.calc.run_file_twins import PEAK_KW, whole_run

ODD = [np.nan, np.inf, -np.inf, 65_535.0, 4_294_967_295.0]
RUN = whole_run().rows
RISE = slice(200, 1_000)


def with_odd(column: int, value: float, rows: int | slice = 600) -> np.ndarray:
    run = RUN.copy()
    run[rows, column] = value
    return run


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("column", [0, 1, 2, 4])
@pytest.mark.parametrize("place", [0, 600, -1])
def test_single_odd_sample_moves_neither_sweep_nor_peak(column: int, odd: float, place: int) -> None:
    time, speed, power, _, grip, _ = with_odd(column, odd, place).T
    usual = find_sweep(RUN[:, 1], RUN[:, 4], RUN[:, 0])
    sweep = find_sweep(speed, grip, time)
    assert abs(sweep.start - usual.start) <= 2
    assert abs(sweep.stop - usual.stop) <= 2
    curve = power_curve(speed[sweep.rows], power[sweep.rows])
    assert curve.peak_power_kw == pytest.approx(PEAK_KW, rel=0.005)
    assert curve.engine_speed_rpm.size < 200
    assert len(find_pulls(speed, time)) == 1


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("odd", ODD)
def test_odd_samples_do_not_disturb_the_consistency_of_channels(odd: float) -> None:
    run = with_odd(1, odd, slice(200, 1_000, 100))[RISE]
    speed, power, torque = run[:, 1], run[:, 2], run[:, 3]
    assert power_torque_flag(power, torque, speed) is None
    change = ratio_change(speed, RUN[RISE, 1] / 60)
    assert change is not None
    assert change.reference == pytest.approx(60, rel=0.01)
    assert change.worst_pct < 1


@pytest.mark.parametrize("step", [0.004, 1e-6, np.nan, np.inf])
def test_grid_of_too_many_points_is_refused_in_a_sentence(step: float) -> None:
    speed, power = RUN[RISE, 1], RUN[RISE, 2]
    tracemalloc.start()
    with pytest.raises(ValueError, match=r"grid|window|smoothing"):
        fit_on_grid(speed, power, grid_step_rpm=step)
    assert tracemalloc.get_traced_memory()[1] < 20e6
    tracemalloc.stop()


@pytest.mark.parametrize("odd", [65_535.0, 4_294_967_295.0])
def test_time_of_no_value_is_no_run_of_hours(odd: float) -> None:
    time = np.arange(300) / 50
    fuel, lambda_ = 1 + 0.1 * (time > 3), 0.9 - 0.05 * (time > 3.2)
    time[-1] = odd
    with pytest.raises(ValueError, match="Check its time column"):
        estimate_delay(time, fuel, lambda_)


def test_idle_run_with_a_time_of_no_value_is_refused() -> None:
    time = np.append(np.arange(0, 30, 0.1), 4_294_967_295.0)
    with pytest.raises(ValueError, match="Check its time column"):
        measure_idle(time, np.full(time.size, 1_300.0), 1_300.0)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("odd", ODD)
def test_odd_sample_does_not_make_a_plate_drift(odd: float) -> None:
    time = np.arange(500) / 50
    speed, grip = 4_000 + 300 * time, np.full(500, 40.0)
    plate = 35 + 0.1 * np.sin(time * 9)
    usual = estimate_hold_drift(time, grip, plate, speed)
    for channel in (plate, grip):
        channel[250] = odd
        found = estimate_hold_drift(time, grip, plate, speed)
        assert found.verdict == usual.verdict
        channel[250] = channel[249]


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf])
def test_ignition_sweep_leaves_out_a_point_that_was_not_measured(odd: float) -> None:
    advance = np.array([20.0, 24.0, 28.0, 32.0, 36.0, 40.0, 44.0])
    torque = 70 - 0.02 * (advance - 31) ** 2  # its top is at 31°
    torque[2] = odd
    found = fit_best_advance(advance, torque)
    assert found is not None
    assert found.best_deg == pytest.approx(31, abs=1e-6)
    assert found.points == 6


@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf])
def test_lengths_that_are_no_number_are_refused(odd: float) -> None:
    for refused in (
        lambda: to_nanometres(odd),
        lambda: check_range(0.1, odd, 0.12),
        lambda: compute_shim_mm(odd, 0.2, 0.15),
        lambda: shown_share(300, 200, odd),
        lambda: common_width_rpm([RUN[RISE, 1]], odd),
    ):
        with pytest.raises(ValueError, match=r"[a-z]{3} .*[.]$"):
            refused()
