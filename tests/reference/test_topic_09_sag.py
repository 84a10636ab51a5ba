"""Suspension sag and springs against trade magazines' method and spring mechanics."""

import pytest

from jobs.calc.chassis.sag import compute_sag, static_sag_mm
from tests.reference import closed_forms
from tests.reference.cases import Case, assert_case, find_handler, topic_params


def three_readings(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    found = compute_sag(inputs["L1_mm"], inputs["L2_mm"], inputs["L3_mm"], inputs.get("travel_mm"))
    return {
        "sag_mm": found.sag_mm,
        "stiction_mm": found.stiction_mm,
        "percent_of_travel": found.percent_of_travel,
    }


def free_and_rider(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    return {
        "free_sag_mm": static_sag_mm(inputs["L1_mm"], inputs["free_mm"]),
        "rider_sag_mm": compute_sag(inputs["L1_mm"], inputs["rider_L2_mm"], inputs["rider_L3_mm"]).sag_mm,
    }


EXTENDED_MM = 600.0


def parallel(case: Case) -> float:
    return closed_forms.parallel_rate_n_per_mm([case["inputs"]["rate_each_Nmm"]] * case["inputs"]["legs"])


def series(case: Case) -> float:
    return closed_forms.series_rate_n_per_mm(case["inputs"].values())


def wheel_rate(case: Case) -> float:
    inputs = case["inputs"]
    return closed_forms.wheel_rate_n_per_mm(inputs["spring_rate_Nmm"], inputs["motion_ratio_shock_per_wheel"])


def under_load(case: Case) -> float:
    """Compute the spring's sag from the two lengths that it causes."""
    inputs = case["inputs"]
    sag = closed_forms.sag_under_load_mm(inputs["load_N"], inputs["rate_Nmm"], inputs["preload_mm"])
    return static_sag_mm(EXTENDED_MM, EXTENDED_MM - sag)


def preload(case: Case) -> dict[str, float]:
    """Compute the sag with the calculated preload, which must be the target."""
    inputs = case["inputs"]
    sag, target, motion_ratio = inputs["sag_mm"], inputs["target_mm"], inputs["motion_ratio"]
    change = closed_forms.preload_change_mm(sag, target, motion_ratio)
    laden = EXTENDED_MM - sag + change / motion_ratio
    assert compute_sag(EXTENDED_MM, laden, laden).sag_mm == pytest.approx(target)
    return {"preload_change_mm": change, "turns": change / inputs["turn_mm"]}


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
    assert_case(case, find_handler(case, HANDLERS)(case))
