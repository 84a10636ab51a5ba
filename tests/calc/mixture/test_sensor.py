"""Lambda sensors: wild samples and stretches at a limit, in readings of which the truth is known."""

import numpy as np
import pytest

from jobs.calc.mixture.sensor import check_lambda

TIME_S = np.arange(0, 8, 0.01)
TRUE = 0.88 + 0.03 * np.sin(TIME_S)


def sensed(seed: int = 1, true: np.ndarray = TRUE) -> np.ndarray:
    return true + np.random.default_rng(seed).normal(0, 0.004, true.size)


@pytest.mark.parametrize("time", [TIME_S, None])
def test_single_wild_samples_are_left_out_and_nothing_else(time):
    values = sensed()
    wild = [100, 250, 251, 300, 500, 799]
    values[wild] = [9.999, 0.0, 65535.0, 1.3, 0.6, 9.999]
    reading = check_lambda(values, time)
    assert np.flatnonzero(reading.wild).tolist() == wild
    kept = np.setdiff1d(np.arange(800), wild)
    np.testing.assert_array_equal(reading.values[kept], values[kept])
    assert np.isnan(reading.values[wild]).all()
    assert (reading.rich_limit, reading.lean_limit) == (None, None)


def test_a_lean_spike_that_a_sensor_can_follow_is_kept():
    values = sensed()
    values[400:412] += 0.25 * np.hanning(14)[1:-1]  # 120 ms there and back
    assert not check_lambda(values, TIME_S).wild.any()


def test_one_lean_sample_of_a_slow_logger_is_kept():
    values = sensed()[::20]  # five a second: one sample lasts longer than the sensor needs
    values[20] = 1.1
    assert not check_lambda(values, TIME_S[::20]).wild.any()


def test_samples_between_blanks_are_judged_by_their_own_neighbours():
    values = np.full(800, np.nan)
    values[::5] = sensed()[::5]  # 20 Hz in a file of 100 Hz
    values[400] = 1.4
    reading = check_lambda(values, TIME_S)
    assert np.flatnonzero(reading.wild).tolist() == [400]


def test_sensor_at_its_limits_is_found_and_what_lies_between_is_kept():
    true = np.interp(TIME_S, [0, 1, 4, 6, 8], [0.60, 0.68, 0.90, 1.36, 1.60])
    values = np.clip(sensed(true=true), 0.68, 1.36)
    reading = check_lambda(values, TIME_S)
    assert reading.rich_limit == 0.68
    assert reading.lean_limit == 1.36
    assert reading.at_rich_limit[:90].all()
    assert reading.at_lean_limit[610:].all()
    between = (true > 0.70) & (true < 1.34)
    np.testing.assert_array_equal(reading.values[between], values[between])


@pytest.mark.parametrize("digit", [0.001, 0.01])
@pytest.mark.parametrize("sign", [-1, 1])
def test_limit_at_which_the_last_digit_jitters_is_found(digit, sign):
    """The converter of a sensor that is driven into its end still moves by its last digit."""
    end = 1 + sign * 0.32
    true = np.interp(TIME_S, [0, 1, 4, 5, 8], [end, end, 1.0, end, end])
    jitter = np.random.default_rng(5).integers(0, 2, TIME_S.size) * digit
    within = np.clip(sensed(true=true), *sorted((1 - sign, end)))
    values = np.round(np.where(true == end, end - sign * jitter, within) / digit) * digit
    reading = check_lambda(values, TIME_S)
    at_limit, limit = (
        (reading.at_lean_limit, reading.lean_limit)
        if sign > 0
        else (reading.at_rich_limit, reading.rich_limit)
    )
    assert limit == pytest.approx(end, abs=digit)
    assert at_limit[true == end].all()
    assert not at_limit[np.abs(true - end) > 0.05].any()


def test_run_spent_at_a_jittering_limit_is_no_measurement():
    jitter = np.random.default_rng(6).integers(0, 2, TIME_S.size) * 0.001
    reading = check_lambda(0.68 + jitter, TIME_S)
    assert reading.at_rich_limit.all()
    assert reading.rich_limit == 0.68


@pytest.mark.parametrize("noise", [0.0, 0.0003, 0.001])
def test_rich_turning_point_in_fine_figures_is_no_limit(noise):
    true = 0.72 + 0.03 * np.sin(TIME_S) + np.random.default_rng(3).normal(0, noise, TIME_S.size)
    assert check_lambda(np.round(true, 3), TIME_S).rich_limit is None


@pytest.mark.parametrize("step", [0.001, 0.0068, 0.01, 0.02])
@pytest.mark.parametrize("noise", [0.0, 0.002])
@pytest.mark.parametrize("level", [0.72, 0.88, 1.30])
def test_coarse_figures_of_a_working_sensor_are_no_limit(step, noise, level):
    """0.0068 is a tenth of an air-fuel ratio."""
    true = level + 0.03 * np.sin(TIME_S) + np.random.default_rng(3).normal(0, noise, TIME_S.size)
    reading = check_lambda(np.round(true / step) * step, TIME_S)
    assert (reading.rich_limit, reading.lean_limit) == (None, None)
    assert np.isfinite(reading.values).all()


@pytest.mark.parametrize("values", [[], [np.nan] * 20, [0.9], [9.999] * 30])
def test_readings_without_a_measurement_are_left_empty(values):
    reading = check_lambda(values)
    assert not np.isfinite(reading.values[1:]).any()
    assert (reading.rich_limit, reading.lean_limit) == (None, None)
