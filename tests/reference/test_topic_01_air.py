"""Power correction against published and independently computed factors."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from jobs.calc.dyno.air import STANDARDS, Air, correct
from jobs.calc.dyno.curves import apply_factor, power_curve
from tests.calc.airs import air_by_dry_pressure
from tests.reference import closed_forms
from tests.reference.cases import Case, assert_case, find_handler, topic_params

STANDARD_BY_SHORT_NAME = {
    "j1349": "sae_j1349",
    "iso": "iso_1585",
    "din": "din_70020",
    "j607": "sae_j607",
}


def air_of(inputs: dict[str, Any]) -> Air:
    """Return the air data of a case: dry, total or station pressure, and humidity."""
    if "rh_percent" in inputs:
        return Air(inputs["t_C"], inputs["p_station_kPa"], humidity_pct=inputs["rh_percent"])
    if "p_dry_kPa" in inputs:
        return air_by_dry_pressure(inputs["t_C"], inputs["p_dry_kPa"], inputs.get("p_total_kPa"))
    return Air(inputs["t_C"], inputs["p_total_kPa"])


def factor(standard_id: str, air: Air) -> float:
    return correct(standard_id, air).factor


def one_standard(case: Case) -> float:
    return factor(STANDARD_BY_SHORT_NAME[case["id"].split("-")[1]], air_of(case["inputs"]))


def chain(case: Case) -> dict[str, float]:
    air = air_of(case["inputs"])
    result = {short: factor(standard_id, air) for short, standard_id in STANDARD_BY_SHORT_NAME.items()}
    return {**result, "pv_kPa": air.vapour_pressure_kpa, "p_dry_kPa": air.dry_pressure_kpa}


def mechanical_efficiency(case: Case) -> float:
    """Return the factor with a gain of 1/η, printed as 1.18 for an efficiency of 0.85."""
    inputs = case["inputs"]
    standard = replace(STANDARDS["sae_j1349"], gain=1 / inputs["mech_eff"])
    return standard.factor(inputs["t_C"], inputs["p_dry_kPa"])


def apply(case: Case) -> float:
    speed = np.arange(4_000.0, 8_001.0, 10.0)
    observed = power_curve(speed, np.full(speed.size, case["inputs"]["power_kW"]))
    return apply_factor(observed, case["inputs"]["factor"]).peak_power_kw


def ranges(case: Case) -> dict[str, Any]:
    correction = correct("eu_134_2014", air_of(case["inputs"]))
    return {
        "alpha": correction.factor,
        "alpha_in_0_93_1_07": not any(limit.startswith("The factor") for limit in correction.passed_limits),
        "T_in_283_2_318_2": not any(limit.startswith("The air was") for limit in correction.passed_limits),
    }


def crank(case: Case) -> dict[str, float]:
    """Convert to power at the crank; the product gives power at the wheel only."""
    alpha2 = closed_forms.crank_by_wheel(case["inputs"]["efficiencies"])
    at_crank = case["inputs"]["power_at_wheel_kW"] * alpha2
    return {"eta_t": 1 / alpha2, "alpha2": alpha2, "power_at_crank_kW": at_crank}


def j607_by_j1349(case: Case) -> float:
    air = air_of(case["inputs"])
    return factor("sae_j607", air) / factor("sae_j1349", air)


def din_and_iso(case: Case) -> dict[str, float]:
    air = air_of(case["inputs"])
    din, iso = factor("din_70020", air), factor("iso_1585", air)
    return {"din": din, "iso": iso, "ratio": din / iso}


HANDLERS = {
    "corr-j1349-": one_standard,
    "corr-iso-": one_standard,
    "corr-din-": one_standard,
    "corr-j607-": one_standard,
    "corr-chain-": chain,
    "corr-etam-": mechanical_efficiency,
    "corr-apply-": apply,
    "corr-range-": ranges,
    "corr-alpha2-": crank,
    "corr-ratio-": j607_by_j1349,
    "corr-shown-": din_and_iso,
}


@pytest.mark.parametrize("case", topic_params(1))
def test_correction_agrees_with_source(case: Case) -> None:
    assert_case(case, find_handler(case, HANDLERS)(case))


def test_standards_with_one_formula_agree() -> None:
    air = Air(31.0, 96.2, humidity_pct=60)
    assert factor("un_r85", air) == factor("iso_1585", air) == factor("eu_134_2014", air)


@pytest.mark.parametrize("standard_id", STANDARDS)
def test_reference_air_leaves_power_unchanged(standard_id: str) -> None:
    standard = STANDARDS[standard_id]
    reference = (standard.reference_temperature_c, standard.reference_pressure_kpa)
    air = Air(*reference) if standard.pressure_kind == "total" else air_by_dry_pressure(*reference)
    assert factor(standard_id, air) == pytest.approx(1, abs=1e-12)
