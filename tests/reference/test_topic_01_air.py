"""Power correction against published and independently computed factors."""

from dataclasses import replace
from typing import Any

import pytest

from jobs.calc.dyno.air import STANDARDS, Air, alpha2, correct, transmission_efficiency
from tests.reference.cases import Case, assert_case, handler_for, topic_params

STANDARD_BY_SHORT_NAME = {
    "j1349": "sae_j1349",
    "iso": "iso_1585",
    "din": "din_70020",
    "j607": "sae_j607",
}


def air_of(inputs: dict[str, Any]) -> Air:
    """The air of a case: dry or total pressure alone, or station pressure with humidity."""
    if "rh_percent" in inputs:
        return Air(inputs["t_C"], inputs["p_station_kPa"], humidity_pct=inputs["rh_percent"])
    if "p_total_kPa" in inputs and "p_dry_kPa" in inputs:
        vapour_kpa = inputs["p_total_kPa"] - inputs["p_dry_kPa"]
        return Air(inputs["t_C"], inputs["p_total_kPa"], vapour_kpa=vapour_kpa)
    return Air(inputs["t_C"], inputs.get("p_dry_kPa", inputs.get("p_total_kPa")), vapour_kpa=0)


def factor(standard_id: str, air: Air) -> float:
    return correct(standard_id, air).factor


def one_standard(case: Case) -> float:
    return factor(STANDARD_BY_SHORT_NAME[case["id"].split("-")[1]], air_of(case["inputs"]))


def chain(case: Case) -> dict[str, float]:
    air = air_of(case["inputs"])
    answer = {short: factor(standard_id, air) for short, standard_id in STANDARD_BY_SHORT_NAME.items()}
    return {**answer, "pv_kPa": air.vapour_pressure_kpa, "p_dry_kPa": air.dry_pressure_kpa}


def mechanical_efficiency(case: Case) -> float:
    inputs = case["inputs"]
    return correct("sae_j1349", air_of(inputs), mech_eff=inputs["mech_eff"]).factor


def apply(case: Case) -> float:
    some_air = correct("sae_j1349", Air(25.0, 99.0, vapour_kpa=0))
    return replace(some_air, factor=case["inputs"]["factor"]).apply(case["inputs"]["power_kW"])


def ranges(case: Case) -> dict[str, Any]:
    correction = correct("eu_134_2014", air_of(case["inputs"]))
    return {
        "alpha": correction.factor,
        "alpha_in_0_93_1_07": correction.factor_in_range,
        "T_in_283_2_318_2": correction.temperature_in_range,
    }


def crank(case: Case) -> dict[str, float]:
    eta_t = transmission_efficiency(case["inputs"]["efficiencies"])
    at_crank = case["inputs"]["power_at_wheel_kW"] * alpha2(eta_t)
    return {"eta_t": eta_t, "alpha2": alpha2(eta_t), "power_at_crank_kW": at_crank}


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
    assert_case(case, handler_for(case, HANDLERS)(case))


def test_regional_twins_give_one_factor() -> None:
    air = Air(31.0, 96.2, humidity_pct=60)
    assert factor("un_r85", air) == factor("iso_1585", air) == factor("eu_134_2014", air)


@pytest.mark.parametrize("standard_id", STANDARDS)
def test_reference_air_leaves_power_as_it_is(standard_id: str) -> None:
    standard = STANDARDS[standard_id]
    air = Air(standard.reference_temperature_c, standard.reference_pressure_kpa, vapour_kpa=0)
    assert factor(standard_id, air) == pytest.approx(1, abs=1e-12)
