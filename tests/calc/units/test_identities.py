"""Power, torque and speed of rotation."""

import math

import numpy as np
import pytest

from jobs.calc.units.factors import convert
from jobs.calc.units.identities import power_kw, torque_nm


def test_power_kw_matches_textbook_engine() -> None:
    # 100 N·m at 9,549.297 1/min is 100 kW: 100 · 2π · 9549.297 / 60 = 100,000 W
    assert power_kw(100.0, 9549.2966) == pytest.approx(100, rel=1e-8)


def test_torque_nm_inverts_power_kw() -> None:
    assert torque_nm(power_kw(72.5, 11_250.0), 11_250.0) == pytest.approx(72.5)


def test_torque_nm_is_nan_at_standstill() -> None:
    answer = torque_nm(np.array([0.0, 10.0]), np.array([0.0, 955.0]))
    assert math.isnan(answer[0])
    assert answer[1] == pytest.approx(99.99, rel=1e-3)


def test_power_kw_keeps_nan() -> None:
    assert np.isnan(power_kw(np.array([np.nan]), np.array([5000.0]))).all()


def test_torque_and_power_curves_cross_at_33000_by_two_pi() -> None:
    # Foot-pounds and horsepower are drawn on one scale: they meet at 33 000 / 2π = 5252.113 1/min.
    crossing_rpm = 33_000 / (2 * math.pi)
    assert convert(power_kw(convert(100.0, "lbf_ft", "nm"), crossing_rpm), "kw", "hp") == pytest.approx(
        100, rel=1e-12
    )
