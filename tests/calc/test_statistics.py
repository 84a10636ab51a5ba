import numpy as np
import pytest
import scipy.stats

from jobs.calc.statistics import (
    PooledSd,
    SampleSummary,
    area_under,
    coefficient_of_variation_pct,
    mean_interval,
    parabola_peak,
    pooled_difference,
    pooled_sd,
    repeatability_limit,
    savgol,
    savgol_coefficients,
    summarise,
    t_quantile,
    table_lookup,
    welch,
)

TRIALS = 20_000


def test_endless_degrees_of_freedom_give_the_normal_quantile() -> None:
    # 1.959964: the normal's 97.5 % point in any table.
    assert t_quantile(np.inf) == pytest.approx(1.959964, abs=1e-6)
    np.testing.assert_allclose(t_quantile([1, np.inf, np.nan]), [12.7062, 1.95996, np.nan], atol=1e-4)


@pytest.mark.parametrize("confidence", [0, 1, 95, -0.5])
def test_confidence_outside_0_to_1_is_refused(confidence: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        t_quantile(3, confidence)


def test_interval_without_degrees_of_freedom_is_refused() -> None:
    with pytest.raises(ValueError, match="two values"):
        t_quantile(0)


def test_summary_counts_what_was_measured_and_leaves_the_rest_unknown() -> None:
    runs = np.array([[1.0, 5.0, np.nan], [2.0, np.nan, np.nan], [3.0, np.nan, np.nan]])
    found = summarise(runs, axis=0)
    np.testing.assert_array_equal(found.n, [3, 1, 0])
    np.testing.assert_allclose(found.mean, [2, 5, np.nan])
    np.testing.assert_allclose(found.sd, [1, np.nan, np.nan])


def test_one_value_has_no_interval() -> None:
    found = mean_interval([98.4])
    assert (found.n, found.mean) == (1, 98.4)
    assert np.isnan(found.sd)
    assert np.isnan(found.half_width)


@pytest.mark.parametrize(("runs_x", "runs_y"), [(2, 2), (3, 5), (6, 4)])
def test_welch_agrees_with_scipy_point_by_point(runs_x: int, runs_y: int) -> None:
    rng = np.random.default_rng(runs_x)
    x, y = rng.normal(100, 1, (runs_x, 50)), rng.normal(101, 2, (runs_y, 50))
    found = welch(summarise(x, 0), summarise(y, 0))
    oracle = scipy.stats.ttest_ind(x, y, axis=0, equal_var=False)
    interval = oracle.confidence_interval(0.95)
    np.testing.assert_allclose(found.t, oracle.statistic, rtol=1e-9)
    np.testing.assert_allclose(found.p, oracle.pvalue, rtol=1e-9)
    np.testing.assert_allclose(found.df, oracle.df, rtol=1e-9)
    np.testing.assert_allclose([found.ci_low, found.ci_high], interval, rtol=1e-9)


def test_pooled_difference_agrees_with_scipy() -> None:
    x, y = [98.4, 98.9, 98.1], [101.2, 100.6, 101.5, 100.0]
    found = pooled_difference(summarise(x), summarise(y))
    oracle = scipy.stats.ttest_ind(x, y)
    assert (found.t, found.p) == pytest.approx((oracle.statistic, oracle.pvalue))


def test_groups_without_scatter_differ_by_exactly_their_difference() -> None:
    found = welch(summarise([3.0, 3.0]), summarise([1.0, 1.0]))
    assert (found.difference, found.ci_low, found.ci_high) == (2.0, 2.0, 2.0)


def test_group_of_one_leaves_the_difference_without_an_interval() -> None:
    found = welch(summarise([101.0]), summarise([99.0, 100.0]))
    assert found.difference == pytest.approx(1.5)
    assert np.isnan(found.ci_low)
    assert np.isnan(found.ci_high)


@pytest.mark.parametrize("runs", [2, 3, 5])
def test_95_pct_intervals_of_a_mean_hold_it_95_times_in_100(runs: int) -> None:
    found = mean_interval(np.random.default_rng(runs).normal(100, 1, (runs, TRIALS)), axis=0)
    assert 0.93 <= np.mean(np.abs(found.mean - 100) <= found.half_width) <= 0.97


@pytest.mark.parametrize(
    ("runs_x", "runs_y", "sd_y"),
    [(2, 3, 1.0), (3, 3, 1.0), (3, 3, 2.0), (3, 5, 1.0), (4, 3, 1.0), (5, 5, 2.0)],
)
def test_95_pct_intervals_of_a_difference_hold_it_95_times_in_100(
    runs_x: int, runs_y: int, sd_y: float
) -> None:
    rng = np.random.default_rng(10 * runs_x + runs_y)
    x, y = rng.normal(102, 1, (runs_x, TRIALS)), rng.normal(100, sd_y, (runs_y, TRIALS))
    found = welch(summarise(x, 0), summarise(y, 0))
    assert 0.93 <= np.mean((found.ci_low <= 2) & (found.ci_high >= 2)) <= 0.97


def test_repeatability_limit_holds_95_pairs_in_100() -> None:
    first, second = np.random.default_rng(3).normal(100, 0.7, (2, TRIALS))
    assert 0.945 <= np.mean(np.abs(first - second) < repeatability_limit(0.7)) <= 0.955


def test_pooling_leaves_single_runs_out() -> None:
    groups = [summarise([1.0, 3.0]), summarise([50.0])]
    assert pooled_sd(groups) == PooledSd(sd=pytest.approx(np.sqrt(2)), df=1)
    with pytest.raises(ValueError, match="two runs or more"):
        pooled_sd([summarise([50.0])])


def test_spread_in_pct_of_a_zero_mean_is_refused() -> None:
    with pytest.raises(ValueError, match="not zero"):
        coefficient_of_variation_pct(SampleSummary(n=2, mean=0.0, sd=1.0, df=1))


@pytest.mark.parametrize(
    ("window", "order", "said"), [(4, 2, "odd"), (5, 5, "below the window"), (0, 0, "odd")]
)
def test_impossible_smoothing_is_refused(window: int, order: int, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        savgol_coefficients(window, order)


def test_run_shorter_than_the_smoothing_is_refused() -> None:
    with pytest.raises(ValueError, match="longer than the run"):
        savgol([1.0, 2.0, 3.0], 5, 2)


def test_parabola_gives_back_its_own_vertex() -> None:
    # y = 10 − 0.5·(x − 3.7)² at uneven places
    x = np.array([1.0, 4.0, 6.0])
    assert parabola_peak(x, 10 - 0.5 * (x - 3.7) ** 2) == pytest.approx((3.7, 10.0))


@pytest.mark.parametrize("y", [[1, 2, 3], [3, 2, 1], [2, 2, 2], [3, 1, 3], [1, np.nan, 1]])
def test_peak_at_an_end_is_no_parabola(y: list[float]) -> None:
    with pytest.raises(ValueError, match="highest value in the middle"):
        parabola_peak([1, 2, 3], y)


ROWS, COLUMNS = [2000, 4000, 6000], [0, 50, 100]
TABLE = np.array([[0.0, 40, 60], [0, 55, 80], [0, np.nan, 100]])


def test_table_is_never_carried_beyond_its_axes_or_across_an_empty_cell() -> None:
    rows = [1999, 2000, 6001, 6000, 5000, 6000]
    columns = [0, 100, 50, 100, 75, 50]
    found = table_lookup(ROWS, COLUMNS, TABLE, rows, columns)
    np.testing.assert_array_equal(found, [np.nan, 60, np.nan, 100, np.nan, np.nan])


@pytest.mark.parametrize(("rows", "said"), [([4000, 2000, 6000], "above the one before"), ([1, 2], "cells")])
def test_table_that_does_not_fit_its_axes_is_refused(rows: list[float], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        table_lookup(rows, COLUMNS, TABLE, 3000, 20)


def test_area_leaves_the_steps_beside_a_gap_out() -> None:
    # 1·(2+4)/2 = 3 before the gap, 2·(6+6)/2 = 12 after it
    assert area_under([0, 1, 2, 3, 5], [2, 4, np.nan, 6, 6]) == pytest.approx(15)
    assert np.isnan(area_under([0, 1, 2], [1, np.nan, 1]))
