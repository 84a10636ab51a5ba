"""Lambda and air-fuel ratio against mass balance, published fuel formulas and hand-worked corrections."""

from typing import Any

import numpy as np
import pytest

from jobs.calc.channels import CHANNELS
from jobs.calc.mixture.fuel import Fuel
from jobs.calc.mixture.fuel_table import apply_to_table
from jobs.calc.mixture.grid import MixtureCorrection, build_mixture_grid, compute_correction
from jobs.calc.run_file.column_meaning import convert_to_channel_unit
from tests.reference.cases import Case, assert_case, find_handler, topic_params
from tests.reference.closed_forms import BlendPart, blend_afr

RPM, LOAD = [3000.0, 4000.0], [20.0, 40.0]


def by_composition(case: Case) -> float:
    inputs = case["inputs"]
    return Fuel("", inputs["C"], inputs["H"], inputs.get("O", 0)).stoichiometric_afr


def blend(case: Case) -> float:
    inputs = case["inputs"]
    share = inputs["ethanol_vol_frac"]
    return blend_afr(
        [
            BlendPart(1 - share, inputs["rho_petrol"], inputs["afr_petrol"]),
            BlendPart(share, inputs["rho_ethanol"], inputs["afr_ethanol"]),
        ]
    )


def read_as_lambda(afr: float, stoichiometric_afr: float) -> float:
    """Read an air-fuel ratio as lambda, with the constant of its gauge."""
    return float(convert_to_channel_unit(np.array([afr]), CHANNELS["lambda"], "afr", stoichiometric_afr)[0])


def to_lambda(case: Case) -> float:
    return read_as_lambda(case["inputs"]["afr"], case["inputs"]["afr_stoich"])


def gauge(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    lambda_ = read_as_lambda(inputs["gauge_reading_afr"], inputs["gauge_scale_stoich"])
    return {"lam": lambda_, "true_afr": lambda_ * inputs["fuel_stoich"]}


def correction(case: Case) -> dict[str, float]:
    """Return the correction of a cell held three times at the measured lambda."""
    measured, target = case["inputs"]["lambda_measured"], case["inputs"]["lambda_target"]
    speed, load = np.full(30, RPM[0]), np.full(30, LOAD[0])
    grid = build_mixture_grid(speed, load, np.full(30, measured), RPM, LOAD, hold=np.arange(30) // 10)
    multiplier = float(compute_correction(grid, target).wanted[0, 0])
    # Least squares leave the last bit of a float open, and the case of no change has no width.
    return {"multiplier": multiplier, "percent": round(100 * (multiplier - 1), 9)}


def injector(case: Case) -> float:
    """Return a cell of a table of opening times."""
    inputs = case["inputs"]
    shape = (2, 2)
    multiplier = np.full(shape, inputs["fuel_multiplier"])
    no = np.zeros(shape, dtype=bool)
    found = MixtureCorrection(
        np.array(RPM), np.array(LOAD), multiplier, multiplier, no, no, no, np.full(shape, "")
    )
    opening_ms = np.full(shape, inputs["pulse_ms"])
    applied = apply_to_table((RPM, LOAD), opening_ms, found, step=1e-6, dead_time=inputs["dead_time_ms"])
    return float(applied.after[0, 0])


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
    result: Any = find_handler(case, HANDLERS)(case)
    assert_case(case, result)
