"""The best ignition advance with its interval: parabolas by hand, and coverage of Fieller's interval.

Torque over spark timing as a parabola: Heywood, Internal Combustion Engine Fundamentals, 9.1 (from memory).
Fieller, J. R. Stat. Soc. B 16 (1954): the interval of a ratio; checked here by the share of 95 % intervals
that hold the truth, in simulated sweeps.
"""

import numpy as np
import pytest

from jobs.calc.dyno.ignition import AdvanceVerdict, fit_best_advance

TRIED = np.repeat([20.0, 24.0, 28.0, 32.0, 36.0, 40.0], 2)


def torque(advance: np.ndarray, best: float = 30.0) -> np.ndarray:
    """80 N·m at the best advance, 2 N·m less 10° away from it."""
    return 80 - 0.02 * (advance - best) ** 2


def test_top_of_an_exact_parabola_is_found() -> None:
    found = fit_best_advance(TRIED, torque(TRIED, 31.5))
    assert found.verdict is AdvanceVerdict.FOUND
    assert (found.best_deg, found.torque_nm) == pytest.approx((31.5, 80.0), rel=1e-9)
    assert (found.low_deg, found.high_deg) == pytest.approx((31.5, 31.5), abs=1e-4)
    assert found.coefficients == pytest.approx([80 - 0.02 * 31.5**2, 0.04 * 31.5, -0.02], rel=1e-8)


def test_interval_equals_the_delta_method_where_the_curvature_is_certain() -> None:
    """Var(-c₁/2c₂) ≈ (V₁₁ + 4ρV₁₂ + 4ρ²V₂₂)/(4c₂²), any text on error propagation (JCGM 100, 5.2)."""
    noise = 0.01 * np.array([1, -1, -1, 1, 1, 1, -1, -1, 1, -1, 1, -1])
    found = fit_best_advance(TRIED, torque(TRIED) + noise)
    design = np.vander(TRIED, 3, increasing=True)
    covariance = np.linalg.inv(design.T @ design) * found.sd_nm**2
    c1, c2 = found.coefficients[1:]
    top = -c1 / (2 * c2)
    variance = covariance[1, 1] + 4 * top * covariance[1, 2] + 4 * top**2 * covariance[2, 2]
    half = 2.262157163 * np.sqrt(variance) / abs(2 * c2)  # t of 9 degrees of freedom
    assert (found.high_deg - found.low_deg) / 2 == pytest.approx(half, rel=0.002)


def test_interval_covers_the_best_advance_as_often_as_it_says() -> None:
    rng = np.random.default_rng(4)
    found = [fit_best_advance(TRIED, torque(TRIED) + rng.normal(0, 0.3, TRIED.size)) for _ in range(3_000)]
    told = [one for one in found if one.verdict is AdvanceVerdict.FOUND]
    assert len(told) > 2_950
    share = np.mean([one.low_deg <= 30 <= one.high_deg for one in told])
    assert 0.935 < share < 0.965


def test_best_beyond_what_was_tried_is_not_extrapolated() -> None:
    noise = 0.02 * np.resize([1, -1], TRIED.size)
    rises = fit_best_advance(TRIED, torque(TRIED, 48.0) + noise)
    assert (rises.verdict, rises.best_deg) == (AdvanceVerdict.RISES, None)
    falls = fit_best_advance(TRIED, torque(TRIED, 12.0) + noise)
    assert (falls.verdict, falls.best_deg) == (AdvanceVerdict.FALLS, None)


def test_scatter_that_hides_the_curvature_gives_no_best_advance() -> None:
    rng = np.random.default_rng(1)
    flat = [fit_best_advance(TRIED, 80 + rng.normal(0, 1.0, TRIED.size)).verdict for _ in range(1_000)]
    # The slope at either end or the curvature differs from zero by chance in a few of a hundred.
    assert flat.count(AdvanceVerdict.FLAT) > 900


def test_too_few_points_give_nothing() -> None:
    assert fit_best_advance([20, 25, 30, 35], [1, 2, 3, 2]) is None
    assert fit_best_advance([20, 20, 30, 30, 30], [1, 2, 3, 2, 2]) is None


def test_arrays_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="must have the same number of samples"):
        fit_best_advance([20, 25], [1])
