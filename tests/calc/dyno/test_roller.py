import numpy as np
import pytest

from jobs.calc.dyno import roller
from jobs.calc.dyno.roller import coast_down, inertia_at_roller_kgm2, roller_power, slope_window_s
from tests.reference import closed_forms

INERTIA = 12.5


def uneven_time(until_s: float, samples: int = 600, seed: int = 1) -> np.ndarray:
    return np.sort(np.random.default_rng(seed).uniform(0, until_s, samples))


def test_power_is_exact_if_speed_squared_is_a_quadratic_at_uneven_samples() -> None:
    """P = J/2·d(ω²)/dt: for ω² = 2500 + 900·t − 70·t² that is 6.25·(900 − 140·t) W."""
    time = uneven_time(5.0)
    found = roller_power(time, np.sqrt(2500 + 900 * time - 70 * time**2), INERTIA, window_s=0.3)
    known = np.isfinite(found.power_kw)
    assert known.mean() > 0.99
    np.testing.assert_allclose(
        found.roller_speed_rad_s[known] ** 2, (2500 + 900 * time - 70 * time**2)[known]
    )
    np.testing.assert_allclose(found.power_kw[known], 6.25e-3 * (900 - 140 * time)[known], rtol=1e-6)


def test_power_does_not_depend_on_the_chunks_of_a_long_run(monkeypatch: pytest.MonkeyPatch) -> None:
    time = uneven_time(20.0, 4_000)
    speed = 50 + np.sin(time)
    whole = roller_power(time, speed, INERTIA).power_kw
    monkeypatch.setattr(roller, "CHUNK", 500)
    np.testing.assert_array_equal(roller_power(time, speed, INERTIA).power_kw, whole)


def test_window_with_two_samples_has_no_power() -> None:
    found = roller_power([0.0, 0.1, 0.2, 5.0, 5.1], [10, 11, 12, 50, 51], INERTIA, window_s=0.5)
    np.testing.assert_array_equal(np.isnan(found.power_kw), [False, False, False, True, True])


def test_constant_power_is_found_at_uneven_samples() -> None:
    time = uneven_time(3.0)
    speed = closed_forms.speed_under_power(INERTIA, 60, 80, time)
    found = roller_power(time, speed, INERTIA, window_s=0.2)
    assert found.power_kw == pytest.approx(80, rel=1e-6)
    np.testing.assert_allclose(found.torque_nm * found.roller_speed_rad_s / 1000, found.power_kw)


def test_window_keeps_the_noise_of_power_low() -> None:
    """Differences of neighbouring samples at 200 Hz would scatter by 12.5·150·0.03·√2·200/2 W = 8 kW."""
    time = np.arange(0, 3, 0.005)
    noise = np.random.default_rng(2).normal(0, 0.03, time.size)
    found = roller_power(time, closed_forms.speed_under_power(INERTIA, 60, 80, time) + noise, INERTIA)
    inside = (time > 0.2) & (time < 2.8)
    assert found.power_kw[inside].std() < 0.8


def test_samples_without_time_or_speed_are_not_used() -> None:
    time = np.arange(0, 3, 0.01)
    speed = closed_forms.speed_under_torque(INERTIA, 40, 300, time)
    speed[50], time[100] = np.nan, np.nan
    found = roller_power(time, speed, INERTIA)
    assert found.time_s.size == 298
    assert found.torque_nm == pytest.approx(300, rel=1e-6)


def test_coast_down_recovers_the_losses() -> None:
    """c₀ = 6 N·m and c₂ = 0.0009 N·m·s², as in the closed solution the run is made from."""
    time = uneven_time(60.0, 3_000)
    found = coast_down(time, closed_forms.coasting_speed(9.375, 150, 6, 0.0009, time), 9.375, window_s=1.0)
    middle = np.array([80.0, 100.0, 120.0])
    np.testing.assert_allclose(found.torque_nm(middle), 6 + 0.0009 * middle**2, rtol=1e-3)
    covered = np.linspace(found.from_rad_s, found.to_rad_s, 50)
    np.testing.assert_allclose(found.torque_nm(covered), 6 + 0.0009 * covered**2, atol=0.05)


def test_losses_are_nan_outside_the_coasted_speeds() -> None:
    time = np.arange(0, 10, 0.01)
    found = coast_down(time, closed_forms.speed_under_linear_loss(12.5, 120, 0, 0.8, time), 12.5, degree=1)
    assert found.coefficients == pytest.approx((0, 0.8), abs=1e-3)
    assert found.torque_nm(100.0) == pytest.approx(80, rel=1e-3)
    assert np.isnan(found.torque_nm([30.0, 130.0])).all()


def test_power_with_losses_is_the_power_put_in() -> None:
    """225 N·m against 0.5 N·m·s: what speeds the roller up is less, with the losses it is 225 again."""
    coast_time, run_time = np.arange(0, 30, 0.01), np.arange(0, 5, 0.01)
    coast = closed_forms.speed_under_linear_loss(9.375, 200, 0, 0.5, coast_time)
    losses = coast_down(coast_time, coast, 9.375, degree=1)
    run = closed_forms.speed_under_linear_loss(9.375, 45, 225, 0.5, run_time)
    assert np.nanmax(roller_power(run_time, run, 9.375).torque_nm) < 205
    assert roller_power(run_time, run, 9.375, losses).torque_nm == pytest.approx(225, rel=1e-3)


def test_inertia_of_faster_parts_counts_by_the_square_of_their_turns() -> None:
    """By hand: 12 + 0.025·8² + 0.6·0.5² = 12 + 1.6 + 0.15."""
    assert inertia_at_roller_kgm2(12.0, [(0.025, 8.0), (0.6, 0.5)]) == pytest.approx(13.75)
    assert inertia_at_roller_kgm2(12.0, []) == 12.0
    with pytest.raises(ValueError, match="rotating part"):
        inertia_at_roller_kgm2(12.0, [(0.0, 8.0)])


@pytest.mark.parametrize("power_kw", [20, 60, 150])
def test_power_at_the_crank_is_found_whatever_the_rate(power_kw: float) -> None:
    """With the roller's inertia alone it is low by 1.6 / 13.6 = 11.8 %."""
    time = np.arange(0, 4, 0.01)
    speed = closed_forms.speed_under_power(12.0 + 0.025 * 8**2, 60, power_kw, time)
    turning = inertia_at_roller_kgm2(12.0, [(0.025, 8.0)])
    assert roller_power(time, speed, turning).power_kw == pytest.approx(power_kw, rel=1e-6)
    assert roller_power(time, speed, 12.0).power_kw == pytest.approx(power_kw * (1 - 1.6 / 13.6), rel=1e-6)


def test_window_of_the_slope_is_as_wide_as_asked_unless_noise_needs_more() -> None:
    """40 rad/s a second: 4 rad/s are 0.1 s. Noise of σ needs N³ = 12·(σ / (0.01·0.005·40))²."""
    time = np.arange(0, 3, 0.01)
    speed = 60 + 40 * time
    assert slope_window_s(time, speed, 4.0) == pytest.approx(0.1)
    assert slope_window_s(time, speed, 0.4) == pytest.approx(0.05)  # five samples
    noisy = speed + np.random.default_rng(3).normal(0, 0.2, time.size)
    assert slope_window_s(time, noisy, 4.0) == pytest.approx(
        0.01 * (12 * (0.2 / 0.002) ** 2) ** (1 / 3), rel=0.1
    )


TIME, SPEED = np.arange(10) / 10, np.arange(10) + 50.0


@pytest.mark.parametrize(
    ("time", "speed", "inertia", "message"),
    [
        (TIME, SPEED[:5], 10, "the same number of samples"),
        (TIME[:2], SPEED[:2], 10, "needs 3 samples"),
        (TIME[::-1], SPEED, 10, "Time must increase"),
        (np.zeros(10), SPEED, 10, "Time must increase"),
        (TIME, SPEED, 0, "inertia"),
        (TIME, np.full(10, np.nan), 10, "This run has 0"),
    ],
)
def test_unusable_run_is_refused(time: np.ndarray, speed: np.ndarray, inertia: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        roller_power(time, speed, inertia)


def test_coast_down_that_accelerates_is_refused() -> None:
    with pytest.raises(ValueError, match="does not slow down"):
        coast_down(TIME, SPEED, 10)
    with pytest.raises(ValueError, match="degree"):
        coast_down(TIME, SPEED[::-1], 10, degree=5)
