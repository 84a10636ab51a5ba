from typing import Any

import numpy as np
import pytest

from jobs.calc.chassis.roll_on import GearUse, Vehicle
from jobs.calc.chassis.roll_on_comparison import RollOnComparison, compare_roll_ons
from jobs.calc.dyno.curve_difference import Verdict
from jobs.calc.dyno.curves import Curve, power_curve
from jobs.calc.dyno.spread import RunSpread, SessionSpread, ShopSpread, assumed_spread

SPEED = np.arange(3_000.0, 12_001.0, 10.0)
VEHICLE, GEAR = Vehicle(260), GearUse((90.0,))
ENDS = (60.0, 120.0)


def curves(*powers_kw: float) -> list[Curve]:
    return [power_curve(SPEED, np.full(SPEED.size, power)) for power in powers_kw]


def compared(before: list[Curve], after: list[Curve], **options: Any) -> RollOnComparison:
    return compare_roll_ons(before, after, VEHICLE, GEAR, *ENDS, **options)


def test_more_power_takes_less_time_and_leads() -> None:
    """m·(v₂² − v₁²)/2P = 260·833.33/2P: 1.5476 s with 70 kW, 1.5046 s with 72 kW."""
    found = compared(curves(70, 70.2, 69.8), curves(72, 72.2, 71.8))
    assert found.time.before == pytest.approx(1.5476, abs=2e-4)
    assert found.time.after == pytest.approx(1.5046, abs=2e-4)
    assert found.time.verdict is Verdict.LESS
    assert found.lead.verdict is Verdict.MORE
    assert found.lead.assumed_pct is None
    assert found.lead_m[0] == 0
    assert (np.diff(found.lead_m[1:]) > 0).all()


def test_last_lead_is_the_difference_in_distance() -> None:
    found = compared(curves(70, 70.2, 69.8), curves(72, 72.2, 71.8))
    assert found.lead_m[-1] == pytest.approx(found.lead.difference)
    assert found.lead.ci_low < found.lead.difference < found.lead.ci_high
    assert found.lead_low_m[[0, -1]] == pytest.approx([0, found.lead.ci_low])
    assert found.lead_high_m[[0, -1]] == pytest.approx([0, found.lead.ci_high])
    # Up to the first run's end: that of the 72.2 kW one, 260·833.33/(2·72,200) s.
    assert found.time_s[-1] == pytest.approx(1.5005, abs=1e-4)


def test_gain_within_scatter_shows_no_lead() -> None:
    found = compared(curves(70, 73, 68), curves(72, 69, 71))
    assert found.lead.verdict is found.time.verdict is Verdict.NO_DIFFERENCE


def test_single_runs_take_spread_from_assumed_repeatability() -> None:
    """1 % of power is 1 % of time on both sides: 1.96·√(1.5476² + 1.5046²)·1 % = 0.0423 s."""
    found = compared(curves(70), curves(72))
    assert found.time.assumed_pct == 1.0
    assert found.time.ci_high - found.time.difference == pytest.approx(0.0423, abs=2e-4)
    assert found.time.difference == pytest.approx(-0.0430, abs=2e-4)
    wider = compared(curves(70), curves(72), spread=assumed_spread(2.0, 300))
    assert wider.time.ci_high - wider.time.difference == pytest.approx(0.0846, abs=4e-4)


def test_three_repeats_measure_the_spread_for_a_single_run() -> None:
    found = compared(curves(70), curves(72, 72.2, 71.8))
    assert found.lead.assumed_pct is None
    assert np.isfinite([found.lead.ci_low, found.lead.ci_high]).all()


def test_measured_spread_of_power_becomes_one_of_time() -> None:
    """Time goes with 1/P: 0.5 % of power is 0.5 % of time; t of 20 degrees of freedom 2.085963."""
    run = RunSpread(0.5, 20)
    spread = ShopSpread(run, run, run, 0.0, SessionSpread(0.5, np.inf))
    found = compared(curves(70), curves(72), spread=spread).time
    half = 2.085963 * 0.005 * np.hypot(found.before, found.after)
    assert found.ci_high - found.difference == pytest.approx(half, rel=2e-3)


def test_empty_side_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one run"):
        compared([], curves(70))
