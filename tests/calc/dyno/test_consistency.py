import numpy as np
import pytest

from jobs.calc.dyno.consistency import constant_slip_pct, power_torque_flag, ratio_change, slip_flag

SPEED = np.linspace(3_000, 11_000, 400)
TORQUE = 70 - 20 * ((SPEED - 8_000) / 5_000) ** 2
POWER = TORQUE * SPEED * np.pi / 30 / 1000


def test_constant_slip_is_what_the_tyre_turns_more_than_the_roller() -> None:
    """The tyre runs at 100 km/h at 6,000 1/min by its ratio, the roller at 95 km/h."""
    assert constant_slip_pct(6_000 / 95, 60.0) == pytest.approx(5.0)
    assert constant_slip_pct(60.0, 60.0) == 0.0


def test_power_and_torque_within_2_pct_are_not_flagged() -> None:
    assert power_torque_flag(POWER, TORQUE, SPEED) is None
    assert power_torque_flag(POWER, TORQUE * 1.015, SPEED) is None


def test_mismatch_of_power_and_torque_is_named_in_pct() -> None:
    flag = power_torque_flag(POWER, TORQUE * 1.035, SPEED)
    assert flag is not None
    assert flag.sentence.startswith("Power and torque do not match (3.5 %)")


@pytest.mark.parametrize(
    ("power", "torque", "reason"),
    [
        # 1 kW = 1.3596 PS = 1.3410 hp; 1 lbf·ft = 1.3558 N·m; 1 kgf·m = 9.80665 N·m
        (POWER * 1.3596, TORQUE, "hp or PS"),
        (POWER * 1.3410, TORQUE, "hp or PS"),
        (POWER, TORQUE / 1.3558, r"lbf·ft"),
        (POWER / 1.3596, TORQUE, "converted twice"),
        (POWER, TORQUE / 9.80665, r"kgf·m"),
        (POWER, TORQUE * 6.3, "at the roller"),
        (POWER * 1.045, TORQUE, "may already be corrected"),
        (POWER * 4.2, TORQUE, "not in the unit"),
        (POWER, TORQUE * np.linspace(0.9, 1.2, SPEED.size), "ratio is not constant"),
    ],
)
def test_flag_names_the_likely_reason(power: np.ndarray, torque: np.ndarray, reason: str) -> None:
    flag = power_torque_flag(power, torque, SPEED)
    assert flag is not None
    assert flag.code == "power-torque"
    assert reason in flag.sentence


@pytest.mark.parametrize("power", [np.full(SPEED.size, np.nan), np.zeros(SPEED.size), -POWER])
def test_power_that_cannot_be_compared_is_not_flagged(power: np.ndarray) -> None:
    assert power_torque_flag(power, TORQUE, SPEED) is None


def test_ratio_change_gives_slip_and_its_engine_speed() -> None:
    slipping = np.where((SPEED > 7_000) & (SPEED < 9_000), 1 / 1.05, 1.0)
    found = ratio_change(SPEED, SPEED / 60 * slipping)
    assert found is not None
    assert found.reference == pytest.approx(60)
    assert found.worst_pct == pytest.approx(5)
    assert 7_000 < found.worst_at_rpm < 9_000


def test_single_wild_samples_are_not_flagged_as_slip() -> None:
    road = SPEED / 60
    road[[50, 200, 300]] = [1.0, 0.0, np.nan]
    assert slip_flag(SPEED, road) is None


def test_too_few_samples_give_no_slip() -> None:
    assert ratio_change(SPEED[:30], SPEED[:30] / 60) is None
    assert slip_flag(SPEED[:30], SPEED[:30] / 60) is None
