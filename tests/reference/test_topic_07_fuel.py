"""Lambda and air-fuel ratio against mass balance, published fuel formulas and hand-worked corrections."""

from typing import Any

import pytest

from jobs.calc.mixture import fuel
from tests.reference.cases import Case, assert_case, handler_for, topic_params


def by_composition(case: Case) -> float:
    inputs = case["inputs"]
    return fuel.stoichiometric_afr(inputs["C"], inputs["H"], inputs.get("O", 0))


def blend(case: Case) -> float:
    inputs = case["inputs"]
    share = inputs["ethanol_vol_frac"]
    return fuel.blend_afr(
        [
            fuel.BlendPart(1 - share, inputs["rho_petrol"], inputs["afr_petrol"]),
            fuel.BlendPart(share, inputs["rho_ethanol"], inputs["afr_ethanol"]),
        ]
    )


def to_lambda(case: Case) -> float:
    return fuel.lambda_from_afr(case["inputs"]["afr"], case["inputs"]["afr_stoich"])


def gauge(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    lambda_ = fuel.lambda_from_gauge(inputs["gauge_reading_afr"], inputs["gauge_scale_stoich"])
    return {"lam": lambda_, "true_afr": fuel.afr_from_lambda(lambda_, inputs["fuel_stoich"])}


def correction(case: Case) -> dict[str, float]:
    found = fuel.fuel_correction(case["inputs"]["lambda_measured"], case["inputs"]["lambda_target"])
    return {"multiplier": found.multiplier, "percent": found.percent}


def injector(case: Case) -> float:
    inputs = case["inputs"]
    return fuel.corrected_pulse_ms(inputs["pulse_ms"], inputs["dead_time_ms"], inputs["fuel_multiplier"])


HANDLERS = {
    "afr-": by_composition,
    "afr-blend-": blend,
    "lambda-": to_lambda,
    "lambda-gauge-": gauge,
    "fuelcorr-": correction,
    "injector-": injector,
}


@pytest.mark.parametrize("case", topic_params(7))
def test_fuel_and_lambda_agree_with_source(case: Case) -> None:
    answer: Any = handler_for(case, HANDLERS)(case)
    assert_case(case, answer)
