"""VIN, tyres and gearing against 49 CFR 565, UN R30/R75 and geometry."""

import math
from typing import Any

import numpy as np
import pytest

from jobs.calc.chassis.gearing import (
    TyreSize,
    engine_speed_rpm,
    overall_ratio,
    road_speed_kmh,
    symbol_speed_kmh,
    tyre_allows_speed,
)
from jobs.runs.roller import RollerDyno
from tests.reference.cases import Case, assert_case, find_handler, topic_params
from workshop.customers.vin import read_vin
from workshop.models import ShopProfile


def vin(case: Case) -> dict[str, Any]:
    found = read_vin(case["inputs"]["vin"])
    return {
        "well_formed": found.well_formed,
        "why": found.fault,
        "weighted_sum": found.weighted_sum,
        "check_digit": found.check_digit,
        "matches": found.check_digit_matches,
    }


def symbol_speed(case: Case) -> int:
    return symbol_speed_kmh(case["inputs"]["symbol"])


def tyre_holds(case: Case) -> bool:
    return tyre_allows_speed(case["inputs"]["symbol"], case["inputs"]["drum_speed_kmh"])


def tyre_size(case: Case) -> dict[str, float]:
    size = TyreSize(case["inputs"]["width_mm"], case["inputs"]["aspect"], case["inputs"]["rim_in"])
    return {
        "diameter_mm": size.diameter_mm,
        "circumference_mm": math.pi * size.diameter_mm,
        "rolling_3_05_mm": size.rolling_circumference_mm,
    }


def ratio(case: Case) -> float:
    return overall_ratio(case["inputs"]["primary"], case["inputs"]["gear"], case["inputs"]["final"])


def speed_in_gear(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    speed_kmh = road_speed_kmh(inputs["rpm"], ratio(case), inputs["circumference_mm"])
    wheel_rpm = speed_kmh * 1e6 / 60 / inputs["circumference_mm"]
    return {"overall_ratio": ratio(case), "wheel_rpm": wheel_rpm, "speed_kmh": speed_kmh}


def revs_at_speed(case: Case) -> float:
    inputs = case["inputs"]
    return engine_speed_rpm(inputs["speed_kmh"], ratio(case), inputs["circumference_mm"])


def roller(case: Case) -> float:
    """Return the surface speed that a run uses as its road speed."""
    bench = RollerDyno(ShopProfile(roller_radius_m=case["inputs"]["drum_radius_m"]))
    channels = {"roller_speed_rpm": np.array([case["inputs"]["drum_rpm"]], dtype=float)}
    surface_kmh = bench.surface_kmh(channels)
    assert surface_kmh is not None
    return float(surface_kmh[0])


HANDLERS = {
    "vin-": vin,
    "tyre-speed-": symbol_speed,
    "tyre-ok-": tyre_holds,
    "tyre-size-": tyre_size,
    "gear-speed-": speed_in_gear,
    "gear-rpm-": revs_at_speed,
    "drum-speed-": roller,
}


@pytest.mark.parametrize("case", topic_params(10))
def test_vin_tyres_and_gearing_agree_with_source(case: Case) -> None:
    assert_case(case, find_handler(case, HANDLERS)(case))
