import numpy as np
import pytest

from jobs.calc.dyno.speed_grid import common_width_rpm, fit_on_grid, shown_share

RNG_SEED = 4


def hill(speed: np.ndarray) -> np.ndarray:
    return 100 - ((speed - 8_000) / 600) ** 2


def swept(samples: int = 1_500, noise: float = 0.3) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(RNG_SEED)
    speed = np.sort(rng.uniform(4_000, 11_000, samples))
    return speed, hill(speed) + rng.normal(0, noise, samples)


@pytest.mark.parametrize("width", [100.0, 200.0, 330.0])
def test_quadratic_is_reproduced_exactly(width: float) -> None:
    speed, y = swept(noise=0.0)
    found = fit_on_grid(speed, y, width_rpm=width)
    measured = np.isfinite(found.values)
    assert measured.mean() > 0.95
    np.testing.assert_allclose(found.values[measured], hill(found.engine_speed_rpm)[measured], rtol=1e-8)


def test_order_of_samples_does_not_change_the_fit() -> None:
    speed, y = swept()
    shuffled = np.random.default_rng(1).permutation(speed.size)
    rising = fit_on_grid(speed, y)
    for order in (slice(None, None, -1), shuffled):
        other = fit_on_grid(speed[order], y[order])
        np.testing.assert_array_equal(other.engine_speed_rpm, rising.engine_speed_rpm)
        np.testing.assert_allclose(other.values, rising.values, rtol=1e-9)
        np.testing.assert_array_equal(other.n, rising.n)


def test_grid_is_multiples_of_its_step_within_the_measured_speeds() -> None:
    speed = np.linspace(4_012, 5_988, 300)
    found = fit_on_grid(speed, speed, grid_step_rpm=50)
    assert (found.engine_speed_rpm[0], found.engine_speed_rpm[-1]) == (4_050, 5_950)
    np.testing.assert_array_equal(found.engine_speed_rpm % 50, 0)


def test_gap_is_not_bridged() -> None:
    speed, y = swept()
    kept = (speed < 6_500) | (speed > 7_100)
    found = fit_on_grid(speed[kept], y[kept])
    inside = (found.engine_speed_rpm > 6_550) & (found.engine_speed_rpm < 7_050)
    assert np.isnan(found.values[inside]).all()
    assert np.isfinite(found.values[~inside]).sum() > 100


def test_points_with_too_few_samples_are_nan() -> None:
    speed, _ = swept()
    thin = np.concatenate([speed[speed < 7_000], [7_090.0, 7_150.0, 7_200.0]])
    found = fit_on_grid(thin, hill(thin), min_samples=5)
    assert np.isnan(found.values[found.engine_speed_rpm == 7_150]).all()


def test_n_counts_the_samples_in_the_window() -> None:
    """One sample a revolution apart: a window of 200 1/min holds 200 of them (its two ends weigh nothing)."""
    speed = np.arange(4_000.5, 6_000.5)
    found = fit_on_grid(speed, speed, width_rpm=200)
    assert found.n[found.engine_speed_rpm == 5_000] == 200


def test_spread_is_the_sd_of_samples_about_the_curve() -> None:
    speed, y = swept(samples=40_000, noise=0.7)
    found = fit_on_grid(speed, y)
    assert np.nanmedian(found.spread) == pytest.approx(0.7, rel=0.03)


def test_dropouts_and_wild_speeds_are_not_used() -> None:
    speed, y = swept()
    clean = fit_on_grid(speed, y)
    bad_speed = [0.0, np.nan, -5.0, 60_000.0, 7_000.0]
    bad_value = [50.0, 50.0, 50.0, 50.0, np.nan]
    found = fit_on_grid(np.append(speed, bad_speed), np.append(y, bad_value))
    np.testing.assert_array_equal(found.values, clean.values)


@pytest.mark.parametrize("samples", [300, 1_500, 50_000])
def test_spikes_and_dropouts_are_removed_and_counted(samples: int) -> None:
    speed, y = swept(samples)
    spoiled = y.copy()
    hit = np.random.default_rng(2).choice(samples, samples // 50, replace=False)
    spoiled[hit[::2]], spoiled[hit[1::2]] = 0.0, 400.0
    found = fit_on_grid(speed, spoiled, width_rpm=400)
    assert found.outliers == hit.size
    without = np.delete(np.arange(samples), hit)
    expected = fit_on_grid(speed[without], y[without], width_rpm=400)
    both = np.isfinite(expected.values)
    np.testing.assert_allclose(found.values[both], expected.values[both], rtol=1e-6)


def test_good_samples_are_no_outliers() -> None:
    assert fit_on_grid(*swept(50_000)).outliers == 0


def test_keep_all_keeps_a_lean_spike() -> None:
    """One sample: several beside each other are kept anyway, as what the engine did."""
    speed, _ = swept()
    measured = np.full(speed.size, 0.88)
    measured[speed.size // 2] = 1.15
    left_out = fit_on_grid(speed, measured)
    assert left_out.outliers == 1
    assert np.nanmax(left_out.values) == pytest.approx(0.88)
    found = fit_on_grid(speed, measured, keep_all=True)
    assert found.outliers == 0
    assert np.nanmax(found.values) > 0.89


def step_down(speed: np.ndarray) -> np.ndarray:
    return np.where(speed > 7_000, 73.6, 80.0)


def narrow_dip(speed: np.ndarray) -> np.ndarray:
    """Return a dip of 10 %, 100 1/min wide at half its depth."""
    return 80 * (1 - 0.1 * np.exp(-4 * np.log(2) * ((speed - 7_000) / 100) ** 2))


@pytest.mark.parametrize("truth", [step_down, narrow_dip])
@pytest.mark.parametrize("width", [200, 300, 600, 1000])
@pytest.mark.parametrize("rpm_per_sample", [9, 18, 45])
def test_step_and_dip_of_the_engine_are_no_spikes(truth, width: float, rpm_per_sample: float) -> None:
    """17 to 100 samples of such a step, and nearly all of such a dip, used to be left out."""
    rng = np.random.default_rng(rpm_per_sample)
    speed = np.arange(4_000, 10_000, rpm_per_sample) + 3.0
    power = truth(speed) * (1 + rng.normal(0, 0.002, speed.size))
    assert fit_on_grid(speed, power, width_rpm=width).outliers <= 1


@pytest.mark.parametrize("width", [200, 300, 600, 1000])
@pytest.mark.parametrize("dip_rpm", [100, 150, 300, 800])
def test_share_of_a_dip_that_is_shown_is_that_of_the_fit(width: float, dip_rpm: float) -> None:
    speed = np.arange(4_000.5, 10_000)
    dip = np.exp(-4 * np.log(2) * ((speed - 7_000) / dip_rpm) ** 2)
    found = fit_on_grid(speed, dip, width_rpm=width, keep_all=True)
    depth = found.values[found.engine_speed_rpm == 7_000][0]
    assert shown_share(dip_rpm, width) == pytest.approx(depth, abs=0.01)


def test_dropout_of_some_samples_is_left_out() -> None:
    speed, y = swept()
    gone = slice(700, 704)
    spoiled = y.copy()
    spoiled[gone] = 0.0
    assert fit_on_grid(speed, spoiled, width_rpm=400).outliers == 4


def test_many_low_samples_are_no_outliers() -> None:
    """At the rev limiter half the samples have no power; they belong to the run."""
    speed, y = swept(samples=6_000)
    cut = (speed > 10_500) & (np.arange(speed.size) % 2 == 0)
    found = fit_on_grid(speed, np.where(cut, 0.0, y))
    assert found.outliers == 0
    at_limiter = found.engine_speed_rpm == 10_750
    assert found.values[at_limiter] == pytest.approx(hill(np.array([10_750.0])) / 2, rel=0.1)


@pytest.mark.parametrize(
    ("speed", "y", "options", "message"),
    [
        ([4_000, 5_000], [1], {}, "Both must have the same number"),
        ([4_000, 5_000], [1, 2], {"grid_step_rpm": 0}, "grid step"),
        ([4_000, 5_000], [1, 2], {"width_rpm": -1}, "width"),
        ([4_000, 5_000], [1, 2], {"grid_step_rpm": 100, "width_rpm": 50}, "narrower than the grid"),
        ([np.nan, 0], [1, 2], {}, "No sample"),
        ([], [], {}, "No sample"),
        ([4_010, 4_020], [1, 2], {}, "No point"),
        ([4_000, 5_000, 6_000], [1, 2, 3], {}, "wider window"),
        ([4_000] * 50, [1] * 50, {}, "wider window"),
    ],
)
def test_samples_that_give_no_curve_are_refused(
    speed: list[float], y: list[float], options: dict[str, float], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        fit_on_grid(speed, y, **options)


def test_common_width_suits_the_thinnest_run() -> None:
    dense, thin = np.linspace(4_000, 11_000, 7_000), np.arange(4_000, 11_001, 100.0)
    assert common_width_rpm([dense]) == 200
    # Six samples 100 1/min apart need more than 500 1/min.
    assert common_width_rpm([dense, thin]) == 600
    assert np.isfinite(fit_on_grid(thin, hill(thin), width_rpm=600).values[1:-1]).all()


def test_common_width_of_few_rows_is_the_widest() -> None:
    assert common_width_rpm([np.arange(3_000, 9_001, 500.0), []]) == 1_500


def test_common_width_keeps_the_given_width_if_it_suffices() -> None:
    assert common_width_rpm([np.linspace(4_000, 11_000, 7_000)], at_least_rpm=250.0) == 250
