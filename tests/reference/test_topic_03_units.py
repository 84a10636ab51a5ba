"""Units and the identities between power, torque and speed against NIST SP 811 and exact definitions."""

import pytest

from jobs.calc.units.factors import convert, identify_unit
from jobs.calc.units.identities import power_kw
from tests.reference.cases import Case, assert_case, find_handler, topic_params


def unit_id(name: str) -> str:
    """Return the product's id of a unit, named with or without its definition in brackets."""
    found = identify_unit(name.split(" (")[0])
    assert found is not None, f"no unit is known under {name!r}"
    return found


def conversion(case: Case) -> float:
    inputs = case["inputs"]
    return convert(inputs["value"], unit_id(inputs["from"]), unit_id(inputs["to"]))


def divisor(case: Case) -> float:
    """Return the divisor of torque times 1/min that gives power: 5252.113 for lbf·ft and hp."""
    torque, power = case["inputs"]["identity"].split(", rpm -> ")
    per_rpm = power_kw(convert(1.0, unit_id(torque), "nm"), 1.0)
    return 1 / convert(per_rpm, "kw", unit_id(power))


def power(case: Case) -> dict[str, float]:
    torque_nm, rpm = case["inputs"]["torque_Nm"], case["inputs"]["rpm"]
    kilowatts = power_kw(torque_nm, rpm)
    return {
        "kW": kilowatts,
        "hp": convert(kilowatts, "kw", "hp"),
        "PS": convert(kilowatts, "kw", "ps"),
        "torque_lbfft": convert(torque_nm, "nm", "lbf_ft"),
    }


def crossing(case: Case) -> float:
    torque_nm = convert(case["inputs"]["torque_lbfft"], "lbf_ft", "nm")
    return convert(power_kw(torque_nm, case["inputs"]["rpm"]), "kw", "hp")


HANDLERS = {"unit-": conversion, "const-": divisor, "power-": power, "cross-": crossing}


@pytest.mark.parametrize("case", topic_params(3))
def test_units_agree_with_source(case: Case) -> None:
    assert_case(case, find_handler(case, HANDLERS)(case))
