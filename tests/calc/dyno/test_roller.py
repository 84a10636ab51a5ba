import numpy as np
import pytest

from jobs.calc.dyno import roller, roller_motion
from jobs.calc.dyno.roller import coast_down, local_slope, roller_power

INERTIA = 12.5


def uneven_time(until_s: float, samples: int = 600, seed: int = 1) -> np.ndarray:
    return np.sort(np.random.default_rng(seed).uniform(0, until_s, samples))


def test_local_slope_gives_a_quadratic_back_at_uneven_samples() -> None:
    time = uneven_time(5.0)
    value, slope = local_slope(time, 3 + 2 * time - 0.7 * time**2, window_s=0.3)
    known = np.isfinite(slope)
    assert known.mean() > 0.99
    np.testing.assert_allclose(value[known], (3 + 2 * time - 0.7 * time**2)[known], rtol=1e-9)
    np.testing.assert_allclose(slope[known], (2 - 1.4 * time)[known], rtol=1e-6, atol=1e-6)


def test_local_slope_does_not_depend_on_how_long_the_run_is(monkeypatch: pytest.MonkeyPatch) -> None:
    time = uneven_time(20.0, 4_000)
    speed = 50 + np.sin(time)
    whole = local_slope(time, speed)
    monkeypatch.setattr(roller, "CHUNK", 500)
    np.testing.assert_array_equal(local_slope(time, speed), whole)


def test_window_with_two_samples_has_no_slope() -> None:
    _, slope = local_slope([0.0, 0.1, 0.2, 5.0, 5.1], [0, 1, 2, 50, 51], window_s=0.5)
    np.testing.assert_array_equal(np.isnan(slope), [False, False, False, True, True])


def test_power_of_a_constant_power_run_at_uneven_samples() -> None:
    time = uneven_time(3.0)
    speed = roller_motion.speed_under_power(INERTIA, 60, 80, time)
    found = roller_power(time, speed, INERTIA, window_s=0.2)
    assert found.power_kw == pytest.approx(80, rel=1e-6)
    np.testing.assert_allclose(found.torque_nm * found.roller_speed_rad_s / 1000, found.power_kw)


def test_noise_is_not_multiplied_by_the_derivative() -> None:
    """Differences of neighbouring samples at 200 Hz would scatter by 12.5·150·0.03·√2·200/2 W = 8 kW."""
    time = np.arange(0, 3, 0.005)
    noise = np.random.default_rng(2).normal(0, 0.03, time.size)
    found = roller_power(time, roller_motion.speed_under_power(INERTIA, 60, 80, time) + noise, INERTIA)
    inside = (time > 0.2) & (time < 2.8)
    assert found.power_kw[inside].std() < 0.8


def test_samples_without_time_or_speed_are_left_out() -> None:
    time = np.arange(0, 3, 0.01)
    speed = roller_motion.speed_under_torque(INERTIA, 40, 300, time)
    speed[50], time[100] = np.nan, np.nan
    found = roller_power(time, speed, INERTIA)
    assert found.time_s.size == 298
    assert found.torque_nm == pytest.approx(300, rel=1e-6)


def test_losses_of_a_coast_down_come_back() -> None:
    """c₀ = 6 N·m and c₂ = 0.0009 N·m·s², as in the closed solution the run is made from."""
    time = uneven_time(60.0, 3_000)
    found = coast_down(time, roller_motion.coasting_speed(9.375, 150, 6, 0.0009, time), 9.375, window_s=1.0)
    middle = np.array([80.0, 100.0, 120.0])
    np.testing.assert_allclose(found.torque_nm(middle), 6 + 0.0009 * middle**2, rtol=1e-3)
    assert found.residual_nm < 0.05


def test_losses_are_not_carried_beyond_the_speeds_coasted_through() -> None:
    time = np.arange(0, 10, 0.01)
    found = coast_down(time, roller_motion.speed_under_linear_loss(12.5, 120, 0, 0.8, time), 12.5, degree=1)
    assert found.coefficients == pytest.approx((0, 0.8), abs=1e-3)
    assert found.torque_nm(100.0) == pytest.approx(80, rel=1e-3)
    assert np.isnan(found.torque_nm([30.0, 130.0])).all()


def test_run_with_losses_added_gives_the_power_put_in() -> None:
    """225 N·m against 0.5 N·m·s: what speeds the roller up is less, with the losses it is 225 again."""
    coast_time, run_time = np.arange(0, 30, 0.01), np.arange(0, 5, 0.01)
    coast = roller_motion.speed_under_linear_loss(9.375, 200, 0, 0.5, coast_time)
    losses = coast_down(coast_time, coast, 9.375, degree=1)
    run = roller_motion.speed_under_linear_loss(9.375, 45, 225, 0.5, run_time)
    assert np.nanmax(roller_power(run_time, run, 9.375).torque_nm) < 205
    assert roller_power(run_time, run, 9.375, losses).torque_nm == pytest.approx(225, rel=1e-3)


def test_engine_speed_follows_the_ratio() -> None:
    # 100 rad/s = 954.93 1/min; nine times that
    assert roller.engine_speed_rpm(100.0, 9) == pytest.approx(8_594.37, abs=0.01)


def test_stopped_roller_stays_stopped() -> None:
    stop = roller_motion.coasting_time_s(9.375, 150, 6, 0.0009)
    found = roller_motion.coasting_speed(9.375, 150, 6, 0.0009, np.array([0.0, stop - 1, stop, stop + 100]))
    assert found[0] == pytest.approx(150)
    assert found[1] > 0
    assert found[2:] == pytest.approx([0, 0], abs=1e-9)


TIME, SPEED = np.arange(10) / 10, np.arange(10) + 50.0


@pytest.mark.parametrize(
    ("time", "speed", "inertia", "said"),
    [
        (TIME, SPEED[:5], 10, "different lengths"),
        (TIME[:2], SPEED[:2], 10, "needs 3 samples"),
        (TIME[::-1], SPEED, 10, "Time has to rise"),
        (np.zeros(10), SPEED, 10, "Time has to rise"),
        (TIME, SPEED, 0, "inertia"),
        (TIME, np.full(10, np.nan), 10, "there are 0"),
    ],
)
def test_run_that_gives_no_power_is_refused(
    time: np.ndarray, speed: np.ndarray, inertia: float, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        roller_power(time, speed, inertia)


def test_coast_down_that_speeds_up_is_refused() -> None:
    with pytest.raises(ValueError, match="does not slow down"):
        coast_down(TIME, SPEED, 10)
    with pytest.raises(ValueError, match="degree"):
        coast_down(TIME, SPEED[::-1], 10, degree=5)


@pytest.mark.parametrize(
    "make",
    [
        lambda: roller.solid_roller_inertia_kgm2(0, 0.3),
        lambda: roller.solid_roller_inertia_kgm2(300, -0.3),
        lambda: roller.hollow_roller_inertia_kgm2(200, 0.28, 0.30),
        lambda: roller.equivalent_mass_kg(10, 0),
        lambda: roller.engine_speed_rpm(100.0, 0),
        lambda: roller_motion.coasting_time_s(9, 150, 0, 0.001),
        lambda: roller_motion.speed_under_linear_loss(9, 150, 0, 0, 1.0),
    ],
)
def test_impossible_roller_is_refused(make) -> None:
    with pytest.raises(ValueError, match=r"above zero|larger"):
        make()
