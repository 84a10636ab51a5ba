import numpy as np
import pytest

from jobs.calc.dyno.curves import apply_factor, find_peak, power_curve

SPEED = np.linspace(4_000, 11_000, 1_401)


def hill(speed: np.ndarray) -> np.ndarray:
    """80 kW at 9,130 1/min, between the points of any usual grid."""
    return 80 - 6 * ((speed - 9_130) / 1_000) ** 2


def test_peak_is_found_between_the_points_of_the_grid() -> None:
    found = power_curve(SPEED, hill(SPEED))
    assert found.peak_power_kw == pytest.approx(80, rel=1e-6)
    assert found.peak_power_rpm == pytest.approx(9_130, abs=0.01)


def test_torque_is_power_over_speed_of_rotation() -> None:
    # 60 kW at 6,000 1/min: 60,000 / (6,000·2π/60) = 95.493 N·m
    found = power_curve(SPEED, np.full(SPEED.size, 60.0))
    assert found.torque_nm[found.engine_speed_rpm == 6_000] == pytest.approx(95.493, abs=1e-3)


def test_power_and_torque_give_the_same_curve() -> None:
    by_power = power_curve(SPEED, hill(SPEED))
    by_torque = power_curve(SPEED, torque_nm=hill(SPEED) * 1000 / (SPEED * np.pi / 30))
    np.testing.assert_allclose(by_torque.power_kw, by_power.power_kw, rtol=1e-9)
    assert by_torque.peak_torque_nm == pytest.approx(by_power.peak_torque_nm)


def test_order_of_samples_does_not_move_the_peak() -> None:
    noisy = hill(SPEED) + np.random.default_rng(5).normal(0, 0.4, SPEED.size)
    rising = power_curve(SPEED, noisy)
    for order in (slice(None, None, -1), np.random.default_rng(6).permutation(SPEED.size)):
        other = power_curve(SPEED[order], noisy[order])
        assert other.peak_power_kw == pytest.approx(rising.peak_power_kw, rel=1e-9)
        assert other.peak_power_rpm == pytest.approx(rising.peak_power_rpm, rel=1e-9)


def test_few_falling_samples_do_not_move_the_peak() -> None:
    speed = SPEED.copy()
    speed[1_020:1_023] -= [20, 40, 60]
    found = power_curve(speed, hill(speed))
    assert found.peak_power_kw == pytest.approx(80, rel=1e-6)
    assert found.peak_power_rpm == pytest.approx(9_130, abs=0.01)


def flat_top(speed: np.ndarray) -> np.ndarray:
    """70 kW from 7,000 to 9,000 1/min, less on both sides."""
    return 70 - 8 * (np.maximum(np.abs(speed - 8_000) - 1_000, 0) / 1_000) ** 2


def steep_top(speed: np.ndarray) -> np.ndarray:
    """68 kW at 10,600 1/min, falling four times as fast above it as it rose."""
    off = (speed - 10_600) / 1_000
    return 68 - np.where(off > 0, 16, 4) * off**2


@pytest.mark.parametrize(
    ("truth", "peak_kw", "to_rpm"), [(hill, 80, 11_000), (flat_top, 70, 11_000), (steep_top, 68, 11_500)]
)
@pytest.mark.parametrize(("hz", "noise"), [(100, 0.01), (20, 0.01), (100, 0.02)])
def test_peak_is_not_raised_by_noise(truth, peak_kw: float, to_rpm: float, hz: int, noise: float) -> None:
    """A sweep at 900 1/min a second; the highest point of the curve would be 0.3 to 1.4 % too high."""
    rng = np.random.default_rng(hz)
    peaks = []
    for _ in range(200):
        speed = np.sort(rng.uniform(5_000, to_rpm, round((to_rpm - 5_000) / 900 * hz)))
        power = truth(speed) * (1 + rng.normal(0, noise, speed.size))
        peaks.append(power_curve(speed, power, width_rpm=300).peak_power_kw)
    found = np.array(peaks) / peak_kw - 1
    assert abs(found.mean()) < 0.002


@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_limiter_behind_the_peak_does_not_lower_it(noise: float) -> None:
    """90 kW at 10,500 1/min, half of it above: the curve itself swings by 2 % there."""
    rng = np.random.default_rng(4)
    peaks, places = [], []
    for _ in range(40):
        speed = np.sort(rng.uniform(5_000, 10_700, 630))
        power = np.where(speed < 10_500, 90 + 4 * (speed - 10_500) / 1_000, 45.0)
        found = power_curve(speed, power * (1 + rng.normal(0, noise, speed.size)), width_rpm=300)
        peaks.append(found.peak_power_kw)
        places.append(found.peak_power_rpm)
    # It lies short of the limiter, and is what the engine gives there.
    assert 10_250 < np.mean(places) < 10_500
    assert np.mean(peaks) == pytest.approx(90 + 4 * (np.mean(places) - 10_500) / 1_000, rel=0.002)
    assert np.mean(peaks) == pytest.approx(90, rel=0.01)


def test_curve_still_rising_peaks_at_its_end() -> None:
    speed = SPEED[SPEED <= 8_000]
    found = power_curve(speed, hill(speed))
    assert found.peak_power_rpm == 8_000
    assert found.peak_power_kw == pytest.approx(hill(np.array([8_000.0]))[0], rel=1e-6)


def test_peak_beside_a_gap_is_the_grid_point() -> None:
    grid = np.array([5_000.0, 5_050, 5_100, 5_150])
    assert find_peak(grid, np.array([1.0, 3.0, np.nan, 2.0])) == (3.0, 5_050)
    assert np.isnan(find_peak(grid, np.full(4, np.nan))).all()


@pytest.mark.parametrize("points", [2, 6])
def test_grid_of_one_speed_has_no_peak(points: int) -> None:
    assert np.isnan(find_peak(np.full(points, 5_000.0), np.arange(float(points)))).all()


def test_sharp_corner_at_the_top_reads_low_by_no_more_than_stated() -> None:
    """80 kW at 9,000 1/min between slopes of 8 kW per 1,000 1/min, 1 % of noise at 100 Hz."""
    rng = np.random.default_rng(1)
    peaks = []
    for _ in range(60):
        speed = np.sort(rng.uniform(5_000, 11_000, 670))
        power = (80 - 8 * np.abs(speed - 9_000) / 1_000) * (1 + rng.normal(0, 0.01, speed.size))
        peaks.append(power_curve(speed, power, width_rpm=300).peak_power_kw)
    assert -0.012 < np.mean(peaks) / 80 - 1 < 0


def test_peak_of_a_flat_top_is_the_grid_point() -> None:
    assert find_peak(np.array([5_000.0, 5_050, 5_100]), np.array([3.0, 3.0, 3.0])) == (3.0, 5_000)


def test_outliers_are_flagged() -> None:
    power = hill(SPEED)
    power[700] = 0.0
    (flag,) = power_curve(SPEED, power).flags
    assert flag.code == "left-out"
    assert flag.sentence.startswith("1 sample was not used")


def test_corrected_curve_keeps_the_observed_one() -> None:
    observed = power_curve(SPEED, hill(SPEED))
    corrected = apply_factor(observed, 1.05)
    # 80 kW · 1.05 = 84 kW, at the same speed
    assert corrected.peak_power_kw == pytest.approx(84, rel=1e-6)
    assert corrected.peak_power_rpm == observed.peak_power_rpm
    assert corrected.factor == 1.05
    assert corrected.observed is observed
    np.testing.assert_allclose(corrected.torque_nm, observed.torque_nm * 1.05)


def test_corrected_curve_is_not_corrected_again() -> None:
    corrected = apply_factor(power_curve(SPEED, hill(SPEED)), 1.05)
    with pytest.raises(ValueError, match="already corrected"):
        apply_factor(corrected, 1.05)


@pytest.mark.parametrize("factor", [0.0, -1.0, float("nan")])
def test_impossible_factor_is_refused(factor: float) -> None:
    with pytest.raises(ValueError, match="correction factor"):
        apply_factor(power_curve(SPEED, hill(SPEED)), factor)


def test_power_curve_requires_either_power_or_torque() -> None:
    with pytest.raises(ValueError, match="either power or torque"):
        power_curve(SPEED)
    with pytest.raises(ValueError, match="either power or torque"):
        power_curve(SPEED, SPEED, torque_nm=SPEED)
