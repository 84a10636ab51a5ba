"""Suspension sag and springs against trade magazines' method and spring mechanics."""

import pytest

from jobs.calc.chassis.sag import (
    free_sag_mm,
    parallel_rate_n_per_mm,
    preload_for_sag,
    sag,
    sag_under_load_mm,
    series_rate_n_per_mm,
    wheel_rate_n_per_mm,
)
from tests.reference.cases import Case, assert_case, handler_for, topic_params


def three_readings(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    found = sag(inputs["L1_mm"], inputs["L2_mm"], inputs["L3_mm"], inputs.get("travel_mm"))
    return {
        "sag_mm": found.sag_mm,
        "stiction_mm": found.stiction_mm,
        "percent_of_travel": found.percent_of_travel,
    }


def free_and_rider(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    return {
        "free_sag_mm": free_sag_mm(inputs["L1_mm"], inputs["free_mm"]),
        "rider_sag_mm": sag(inputs["L1_mm"], inputs["rider_L2_mm"], inputs["rider_L3_mm"]).sag_mm,
    }


def parallel(case: Case) -> float:
    return parallel_rate_n_per_mm([case["inputs"]["rate_each_Nmm"]] * case["inputs"]["legs"])


def series(case: Case) -> float:
    return series_rate_n_per_mm(case["inputs"].values())


def wheel_rate(case: Case) -> float:
    inputs = case["inputs"]
    return wheel_rate_n_per_mm(inputs["spring_rate_Nmm"], inputs["motion_ratio_shock_per_wheel"])


def under_load(case: Case) -> float:
    inputs = case["inputs"]
    return sag_under_load_mm(inputs["load_N"], inputs["rate_Nmm"], inputs["preload_mm"])


def preload(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    change = preload_for_sag(inputs["sag_mm"], inputs["target_mm"], inputs["turn_mm"], inputs["motion_ratio"])
    return {"preload_change_mm": change.preload_change_mm, "turns": change.turns}


HANDLERS = {
    "sag-": three_readings,
    "sag-split-": free_and_rider,
    "sag-load-": under_load,
    "sag-preload-": preload,
    "spring-parallel-": parallel,
    "spring-series-": series,
    "wheel-rate-": wheel_rate,
}


@pytest.mark.parametrize("case", topic_params(9))
def test_sag_agrees_with_source(case: Case) -> None:
    assert_case(case, handler_for(case, HANDLERS)(case))
