import numpy as np
import pytest

from jobs.calc.dyno.curves import Curve, power_curve
from jobs.calc.dyno.repeats import (
    describe_repeatability,
    order_flag,
    summarise_repeats,
    temperature_flag,
)
from jobs.calc.dyno.spread import RunSpread


def flat(power_kw: float, from_rpm: float = 4_000, to_rpm: float = 9_000, width_rpm: float = 200) -> Curve:
    speed = np.arange(from_rpm, to_rpm + 1, 5.0)
    return power_curve(speed, np.full(speed.size, power_kw), width_rpm=width_rpm)


def at(speed: np.ndarray, rpm: float) -> int:
    return int(np.flatnonzero(speed == rpm)[0])


def test_four_repeats_have_students_band() -> None:
    """98.4, 98.9, 98.1, 98.6: mean 98.5, sd 0.33665, half-width 3.182446·0.33665/2 = 0.53569 (Student)."""
    found = summarise_repeats([flat(p) for p in (98.4, 98.9, 98.1, 98.6)])
    here = at(found.engine_speed_rpm, 6_000)
    assert found.runs == found.power.n[here] == 4
    assert found.power.mean[here] == pytest.approx(98.5)
    assert found.power.sd[here] == pytest.approx(0.33665, abs=1e-5)
    assert found.power.half_width[here] == pytest.approx(0.53569, abs=1e-5)
    # 98.5 kW at 6,000 1/min is 156.77 N·m
    assert found.torque.mean[here] == pytest.approx(156.77, abs=0.01)


def test_one_run_has_a_curve_and_no_band() -> None:
    found = summarise_repeats([flat(80)])
    here = at(found.engine_speed_rpm, 6_000)
    assert found.power.mean[here] == pytest.approx(80)
    assert np.isnan(found.power.sd).all()
    assert np.isnan(found.power.half_width).all()


def test_speed_with_one_run_has_no_band() -> None:
    found = summarise_repeats([flat(80, to_rpm=8_000), flat(82)])
    beyond = found.engine_speed_rpm > 8_000
    np.testing.assert_array_equal(found.power.n[beyond], 1)
    np.testing.assert_allclose(found.power.mean[beyond], 82)
    assert np.isnan(found.power.half_width[beyond]).all()
    assert np.isfinite(found.power.half_width[~beyond]).all()


def test_curves_of_different_width_are_refused() -> None:
    with pytest.raises(ValueError, match="different grids or smoothing"):
        summarise_repeats([flat(80), flat(80, width_rpm=400)])


def test_empty_group_is_refused() -> None:
    with pytest.raises(ValueError, match="no run"):
        summarise_repeats([])


def test_drift_over_the_runs_is_flagged() -> None:
    """Σ order·deviation is 5.05/101.525 and 2.0/111.033, over Σ order² = 7: 0.968 % a run, three steps."""
    flag = order_flag([[100, 101, 102.1, 103], [110, 111.1, 112.0]], 1.0)
    assert flag is not None
    assert "drift up by 2.9 %" in flag.sentence
    falling = order_flag([[103, 102, 101.1, 100]], 1.0)
    assert falling is not None
    assert "drift down" in falling.sentence


@pytest.mark.parametrize(
    "groups",
    [
        [[100, 101, 100.2, 100.8]],  # scatter
        [[100, 100, 100], [110, 110, 110]],  # a change between the groups is no drift
        [[100, 100.1, 100.2, 100.3]],  # steady, but too small to matter
        [[100], [103]],
        [[100, 103]],
    ],
)
def test_runs_without_drift_are_not_flagged(groups: list[list[float]]) -> None:
    assert order_flag(groups, 1.0) is None


def test_scatter_is_flagged_as_drift_in_5_pct_at_most() -> None:
    """At 95 % confidence at most one set in twenty may be flagged by chance."""
    rng = np.random.default_rng(12)
    flagged = [order_flag(rng.normal(100, 1, (2, 4)), 0.01) is not None for _ in range(2_000)]
    assert 0.03 <= np.mean(flagged) <= 0.07


def test_groups_over_10_c_apart_are_flagged() -> None:
    flag = temperature_flag(([20.0, 22.0], [33.0, np.nan, 35.0]))
    assert flag is not None
    assert "13 °C apart" in flag.sentence
    assert temperature_flag(([20.0], [30.0])) is None
    assert temperature_flag(([], [30.0])) is None
    assert temperature_flag(None) is None


def test_repeatability_limit_and_interval_follow_from_the_spread() -> None:
    """χ² of 10 degrees of freedom: 3.2470 and 20.4832 (any table); 1.96·√2·0.5 = 1.386."""
    found = describe_repeatability(RunSpread(0.5, 10))
    assert found.limit_pct == pytest.approx(1.386, abs=1e-3)
    assert found.low_pct == pytest.approx(0.5 * np.sqrt(10 / 20.4832), abs=1e-4)
    assert found.high_pct == pytest.approx(0.5 * np.sqrt(10 / 3.2470), abs=1e-4)
