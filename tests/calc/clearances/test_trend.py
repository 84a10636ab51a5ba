"""Trend of a clearance over distance or hours, held against SciPy and wear worked by hand."""

import math

import numpy as np
import pytest
from scipy.stats import linregress

from jobs.calc.clearances.trend import TrendVerdict, compute_trend


def test_trend_slope_and_interval_agree_with_scipy() -> None:
    # scattered more than the blades alone explain, so that the data's own scatter counts
    use = np.array([0.0, 5000, 11_000, 16_000, 24_000, 30_000])
    clearance = np.array([0.22, 0.17, 0.19, 0.13, 0.14, 0.08])
    fit = linregress(use, clearance)
    half = 2.7764 * fit.stderr  # t of 0.975 at 4 degrees of freedom, printed tables
    found = compute_trend(list(use), list(clearance), 0.10, 0.30)
    assert found.verdict is TrendVerdict.TIGHTER
    assert found.change_mm is not None
    assert found.change_mm.value == pytest.approx(fit.slope * 10_000)
    assert found.change_mm.high - found.change_mm.value == pytest.approx(half * 10_000, rel=1e-4)


def test_trend_reaches_limit_where_line_meets_it() -> None:
    # 0.20 mm falling by 0.01 mm each 6,000 km is at 0.15 mm after 30,000 km
    found = compute_trend([0, 6000, 12_000, 18_000], [0.20, 0.19, 0.18, 0.17], 0.15, 0.25)
    assert found.limit_mm == 0.15
    assert found.reached_at is not None
    assert found.reached_at.value == pytest.approx(30_000)
    assert found.reached_at.low < 30_000 < found.reached_at.high


def test_trend_interval_of_limit_covers_truth_95_percent() -> None:
    rng = np.random.default_rng(20_240_501)
    use = np.arange(0.0, 50_000, 6000)
    held = 0
    for _ in range(400):
        clearance = 0.30 - 0.03 * use / 10_000 + rng.normal(0, 0.006, len(use))
        interval = compute_trend(list(use), list(clearance), 0.10, 0.40).reached_at
        assert interval is not None
        held += interval.low <= (0.30 - 0.10) / 0.03 * 10_000 <= interval.high
    assert 0.92 <= held / 400 <= 0.98  # 95 %, give or take three standard errors


@pytest.mark.parametrize("blades_mm", [0.01, 0.02, 0.05])
@pytest.mark.parametrize("jobs", [4, 6, 10])
@pytest.mark.parametrize("wear_mm", [0.0, 0.005, 0.02])  # over 10,000 km
def test_trend_interval_covers_truth_whatever_the_blades(blades_mm: float, jobs: int, wear_mm: float) -> None:
    rng = np.random.default_rng(7)
    inside = []
    for _ in range(80):
        use = np.sort(rng.uniform(0, 60_000, jobs))
        true = 0.2 - rng.uniform(0, blades_mm) - wear_mm * use / 10_000 + rng.normal(0, 0.003, jobs)
        middle = (np.floor(true / blades_mm) + 0.5) * blades_mm
        found = compute_trend(use, middle, 0.02, 0.3, half_width_mm=np.full(jobs, blades_mm / 2))
        assert found.change_mm is not None
        inside.append(found.change_mm.low <= -wear_mm <= found.change_mm.high)
    assert np.mean(inside) > 0.92  # 95 %, less two standard errors


def test_trend_removes_known_shim_changes() -> None:
    # the same wear of 0.01 mm each 6,000 km, a shim 0.05 mm thinner fitted at 12,000 km
    use = [0, 6000, 12_000, 12_000, 18_000, 24_000]
    clearance = [0.20, 0.19, 0.18, 0.23, 0.22, 0.21]
    found = compute_trend(use, clearance, 0.15, 0.25, shim_mm=[2.40, 2.40, 2.40, 2.35, 2.35, 2.35])
    assert found.change_mm is not None and found.reached_at is not None
    assert found.change_mm.value == pytest.approx(-0.01 / 6000 * 10_000)
    assert found.reached_at.value == pytest.approx(60_000)  # 0.21 at 24,000, six more steps to 0.15


def test_trend_removes_adjustment_when_shims_are_unknown() -> None:
    use = [0, 6000, 12_000, 12_000, 18_000, 24_000]
    clearance = [0.20, 0.19, 0.18, 0.23, 0.22, 0.21]
    found = compute_trend(use, clearance, 0.15, 0.25)
    assert found.change_mm is not None and found.reached_at is not None
    assert found.change_mm.value == pytest.approx(-0.01 / 6000 * 10_000)
    assert found.reached_at.value == pytest.approx(60_000)


def test_trend_heads_for_upper_limit_when_clearance_grows() -> None:
    found = compute_trend([0, 50, 100, 150], [0.10, 0.12, 0.14, 0.16], 0.05, 0.20, use_unit="h")
    assert found.verdict is TrendVerdict.LOOSER
    assert found.limit_mm == 0.20
    assert found.reached_at is not None and found.reached_at.value == pytest.approx(250)
    assert "per 100 h" in found.describe()


def test_trend_sentence_says_when_limit_is_passed() -> None:
    found = compute_trend([0, 6000, 12_000, 18_000], [0.20, 0.18, 0.16, 0.14], 0.15, 0.25)
    assert found.describe().endswith("the limit of 0.15 mm is reached.")


@pytest.mark.parametrize(
    ("use", "clearance"),
    [([], []), ([0], [0.2]), ([0, 6000], [0.2, 0.19]), ([9, 9, 9], [0.2, 0.19, 0.2])],
)
def test_trend_gives_no_verdict_when_history_is_short(use: list[float], clearance: list[float]) -> None:
    found = compute_trend(use, clearance, 0.15, 0.25)
    assert found.verdict is TrendVerdict.TOO_LITTLE
    assert found.reached_at is None


def test_trend_shows_no_change_when_readings_only_scatter() -> None:
    found = compute_trend([0, 6000, 12_000, 18_000], [0.20, 0.21, 0.20, 0.21], 0.15, 0.25)
    assert found.verdict is TrendVerdict.NO_CHANGE_SHOWN
    assert found.reached_at is None


def test_trend_ignores_readings_not_measured() -> None:
    with_gap = compute_trend([0, 6000, 9000, 12_000, 18_000], [0.20, 0.19, math.nan, 0.18, 0.17], 0.15, 0.25)
    assert with_gap == compute_trend([0, 6000, 12_000, 18_000], [0.20, 0.19, 0.18, 0.17], 0.15, 0.25)


def test_trend_refuses_senseless_input() -> None:
    with pytest.raises(ValueError, match="The odometer goes down"):
        compute_trend([6000, 0, 12_000], [0.2, 0.2, 0.2], 0.1, 0.3)
    with pytest.raises(ValueError, match="needs a distance"):
        compute_trend([0, 1], [0.2], 0.1, 0.3)
    with pytest.raises(ValueError, match="km, mi or h"):
        compute_trend([0, 1], [0.2, 0.2], 0.1, 0.3, use_unit="furlong")
