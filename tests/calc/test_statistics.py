import numpy as np
import pytest
import scipy.stats

from jobs.calc.statistics import (
    PooledSd,
    integrate,
    interpolate_table,
    mean_interval,
    parabola_peak,
    pooled_sd,
    repeatability_limit,
    summarise,
    t_quantile,
)
from tests.reference.closed_forms import welch

TRIALS = 20_000


def test_t_quantile_is_normal_when_degrees_of_freedom_are_infinite() -> None:
    # 1.959964: the normal's 97.5 % point in any table.
    assert t_quantile(np.inf) == pytest.approx(1.959964, abs=1e-6)
    np.testing.assert_allclose(t_quantile([1, np.inf, np.nan]), [12.7062, 1.95996, np.nan], atol=1e-4)


@pytest.mark.parametrize("confidence", [0, 1, 95, -0.5])
def test_t_quantile_refuses_confidence_outside_0_to_1(confidence: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        t_quantile(3, confidence)


def test_t_quantile_refuses_zero_degrees_of_freedom() -> None:
    with pytest.raises(ValueError, match="two values"):
        t_quantile(0)


def test_summarise_skips_nan_and_gives_no_sd_for_one_value() -> None:
    runs = np.array([[1.0, 5.0, np.nan], [2.0, np.nan, np.nan], [3.0, np.nan, np.nan]])
    found = summarise(runs, axis=0)
    np.testing.assert_array_equal(found.n, [3, 1, 0])
    np.testing.assert_allclose(found.mean, [2, 5, np.nan])
    np.testing.assert_allclose(found.sd, [1, np.nan, np.nan])


def test_mean_interval_is_nan_for_one_value() -> None:
    found = mean_interval([98.4])
    assert (found.n, found.mean) == (1, 98.4)
    assert np.isnan(found.sd)
    assert np.isnan(found.half_width)


@pytest.mark.parametrize(("runs_x", "runs_y"), [(2, 2), (3, 5), (6, 4)])
def test_welch_agrees_with_scipy_at_every_point(runs_x: int, runs_y: int) -> None:
    rng = np.random.default_rng(runs_x)
    x, y = rng.normal(100, 1, (runs_x, 50)), rng.normal(101, 2, (runs_y, 50))
    found = welch(summarise(x, 0), summarise(y, 0))
    oracle = scipy.stats.ttest_ind(x, y, axis=0, equal_var=False)
    interval = oracle.confidence_interval(0.95)
    np.testing.assert_allclose(found.t, oracle.statistic, rtol=1e-9)
    np.testing.assert_allclose(found.p, oracle.pvalue, rtol=1e-9)
    np.testing.assert_allclose(found.df, oracle.df, rtol=1e-9)
    np.testing.assert_allclose([found.ci_low, found.ci_high], interval, rtol=1e-9)


def test_welch_interval_has_zero_width_when_groups_have_no_scatter() -> None:
    found = welch(summarise([3.0, 3.0]), summarise([1.0, 1.0]))
    assert (found.difference, found.ci_low, found.ci_high) == (2.0, 2.0, 2.0)


def test_welch_interval_is_nan_when_a_group_has_one_value() -> None:
    found = welch(summarise([101.0]), summarise([99.0, 100.0]))
    assert found.difference == pytest.approx(1.5)
    assert np.isnan(found.ci_low)
    assert np.isnan(found.ci_high)


@pytest.mark.parametrize("runs", [2, 3, 5])
def test_mean_interval_covers_the_mean_95_times_in_100(runs: int) -> None:
    found = mean_interval(np.random.default_rng(runs).normal(100, 1, (runs, TRIALS)), axis=0)
    assert 0.93 <= np.mean(np.abs(found.mean - 100) <= found.half_width) <= 0.97


@pytest.mark.parametrize(
    ("runs_x", "runs_y", "sd_y"),
    [(2, 3, 1.0), (3, 3, 1.0), (3, 3, 2.0), (3, 5, 1.0), (4, 3, 1.0), (5, 5, 2.0)],
)
def test_welch_interval_covers_the_difference_95_times_in_100(runs_x: int, runs_y: int, sd_y: float) -> None:
    rng = np.random.default_rng(10 * runs_x + runs_y)
    x, y = rng.normal(102, 1, (runs_x, TRIALS)), rng.normal(100, sd_y, (runs_y, TRIALS))
    found = welch(summarise(x, 0), summarise(y, 0))
    assert 0.93 <= np.mean((found.ci_low <= 2) & (found.ci_high >= 2)) <= 0.97


def test_repeatability_limit_covers_95_pairs_in_100() -> None:
    first, second = np.random.default_rng(3).normal(100, 0.7, (2, TRIALS))
    assert 0.945 <= np.mean(np.abs(first - second) < repeatability_limit(0.7)) <= 0.955


def test_pooled_sd_skips_single_runs() -> None:
    groups = [summarise([1.0, 3.0]), summarise([50.0])]
    assert pooled_sd(groups) == PooledSd(sd=pytest.approx(np.sqrt(2)), df=1)
    with pytest.raises(ValueError, match="two runs or more"):
        pooled_sd([summarise([50.0])])


def test_parabola_peak_returns_the_vertex_of_uneven_points() -> None:
    # y = 10 − 0.5·(x − 3.7)² at uneven places
    x = np.array([1.0, 4.0, 6.0])
    assert parabola_peak(x, 10 - 0.5 * (x - 3.7) ** 2) == pytest.approx((3.7, 10.0))


@pytest.mark.parametrize("y", [[1, 2, 3], [3, 2, 1], [2, 2, 2], [3, 1, 3], [1, np.nan, 1]])
def test_parabola_peak_refuses_a_peak_at_an_end(y: list[float]) -> None:
    with pytest.raises(ValueError, match="highest value in the middle"):
        parabola_peak([1, 2, 3], y)


ROWS, COLUMNS = [2000, 4000, 6000], [0, 50, 100]
TABLE = np.array([[0.0, 40, 60], [0, 55, 80], [0, np.nan, 100]])


def test_interpolate_table_is_nan_beyond_axes_and_beside_empty_cells_but_exact_at_nodes() -> None:
    rows = [1999, 2000, 6001, 6000, 5000, 6000]
    columns = [0, 100, 50, 100, 75, 50]
    found = interpolate_table(ROWS, COLUMNS, TABLE, rows, columns)
    np.testing.assert_array_equal(found, [np.nan, 60, np.nan, 100, np.nan, np.nan])


def test_interpolate_table_takes_arrays_that_broadcast_and_a_table_without_gaps() -> None:
    # 2000 to 4000 at 25: halfway between 0 and 40 is 20, and 27.5 at 4000
    found = interpolate_table(ROWS[:2], COLUMNS, TABLE[:2], [[2000], [4000]], [0, 25])
    np.testing.assert_allclose(found, [[0, 20], [0, 27.5]])


@pytest.mark.parametrize(
    ("rows", "message"), [([4000, 2000, 6000], "strictly ascending"), ([1, 2], "2 points and 3 values")]
)
def test_interpolate_table_refuses_axes_that_do_not_fit(rows: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        interpolate_table(rows, COLUMNS, TABLE, 3000, 20)


def test_integrate_skips_the_steps_beside_a_gap() -> None:
    # 1·(2+4)/2 = 3 before the gap, 2·(6+6)/2 = 12 after it
    assert integrate([0, 1, 2, 3, 5], [2, 4, np.nan, 6, 6]) == pytest.approx(15)
    assert np.isnan(integrate([0, 1, 2], [1, np.nan, 1]))
