"""The common slope within groups, against certified values and least squares with a level for each group.

NIST/ITL Statistical Reference Datasets, Norris: slope 1.00211681802045, its standard deviation
0.429796848199937E-03, residual standard deviation 0.884796396144373, 34 degrees of freedom.
"""

from pathlib import Path

import numpy as np
import pytest
import scipy

from jobs.calc.dyno.heat_soak import fit_common_slope

NORRIS = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_linregress" / "Norris.dat"
T_34 = 2.032244509  # two-sided 95 %, NIST/SEMATECH e-Handbook 1.3.6.7.2 gives 2.032


def test_single_group_gives_the_certified_line() -> None:
    y, x = np.loadtxt(NORRIS, skiprows=60, unpack=True)
    found = fit_common_slope([(x, y)])
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-9)
    assert found.sd == pytest.approx(0.884796396144373, rel=1e-8)
    assert found.half_width == pytest.approx(T_34 * 0.429796848199937e-3, rel=1e-7)
    assert (found.runs, found.groups, found.differs_from_zero) == (36, 1, True)


def test_groups_with_levels_of_their_own_equal_least_squares_with_indicators() -> None:
    rng = np.random.default_rng(3)
    sizes, levels = (4, 3, 6), (0.0, 12.0, -7.0)
    group = np.repeat(range(3), sizes)
    x = rng.uniform(20, 60, group.size)
    y = np.array(levels)[group] - 0.15 * x + rng.normal(0, 0.5, group.size)
    found = fit_common_slope([(x[group == g], y[group == g]) for g in range(3)])
    design = np.column_stack([x, *(group == g for g in range(3))]).astype(float)
    expected, squares, *_ = np.linalg.lstsq(design, y, rcond=None)
    sd = np.sqrt(squares[0] / (group.size - 4))
    error = sd * np.sqrt(np.linalg.inv(design.T @ design)[0, 0])
    assert (found.slope, found.sd) == pytest.approx((expected[0], sd), rel=1e-9)
    assert found.half_width == pytest.approx(2.262157163 * error, rel=1e-8)  # t of 9 degrees of freedom


def test_interval_covers_the_true_slope_as_often_as_it_says() -> None:
    rng = np.random.default_rng(8)
    hits = 0
    for _ in range(2_000):
        x = rng.uniform(25, 45, (3, 3))
        y = rng.normal(0, 3, (3, 1)) - 0.1 * x + rng.normal(0, 0.4, (3, 3))
        found = fit_common_slope(list(zip(x, y, strict=True)))
        hits += abs(found.slope + 0.1) <= found.half_width
    assert 0.93 < hits / 2_000 < 0.97  # 95 % within four standard errors of the simulation


@pytest.mark.parametrize(
    "groups",
    [
        [],
        [([20.0, 30.0, 40.0], [1.0, 2.0, 3.0])],  # one degree of freedom
        [([30.0] * 5, [1.0, 2.0, 3.0, 4.0, 5.0])],  # the temperature never changed
        [([20.0], [1.0]), ([30.0], [2.0]), ([40.0], [3.0])],  # no repeats
    ],
)
def test_too_little_gives_no_slope(groups) -> None:
    assert fit_common_slope(groups) is None
