"""Valve clearances and shims against workshop manuals, geometry and exhaustive search."""

from collections import Counter
from typing import Any

import pytest

from jobs.calc.clearances.readings import (
    DesmoClearances,
    Reading,
    after_seat_recession,
    desmo_from_gaps,
    judge,
    range_from_nominal,
    turn_screw,
)
from jobs.calc.clearances.shim_plan import Origin, Policy, plan_shims
from jobs.calc.clearances.shims import (
    MadeSeries,
    ShimValve,
    clearance_with_mm,
    new_shim_mm,
    round_to_printed_table,
    shim_change_mm,
)
from jobs.calc.units.factors import convert
from tests.reference.cases import Case, assert_case, handler_for, topic_params


def shim(case: Case) -> Any:
    """New shim, clearance with a given shim, or the verdict on candidates: told apart by what is given."""
    inputs = case["inputs"]
    fitted_mm, measured_mm = inputs["old_mm"], inputs["measured_mm"]
    if "candidates_mm" in inputs:
        left = [clearance_with_mm(fitted_mm, measured_mm, candidate) for candidate in inputs["candidates_mm"]]
        limits = inputs["spec_low_mm"], inputs["spec_high_mm"]
        in_spec = [judge(Reading(clearance), *limits).certainty == "in" for clearance in left]
        return {"resulting_clearance_mm": left, "in_spec": in_spec}
    if "target_mm" not in inputs:
        return clearance_with_mm(fitted_mm, measured_mm, inputs["fitted_mm"])
    ideal_mm = new_shim_mm(fitted_mm, measured_mm, inputs["target_mm"])
    if "fitted_mm" not in inputs:
        return ideal_mm
    left_mm = clearance_with_mm(fitted_mm, measured_mm, inputs["fitted_mm"])
    return {"ideal_mm": ideal_mm, "resulting_clearance_mm": left_mm}


def made_count(case: Case) -> int:
    inputs = case["inputs"]
    return len(MadeSeries(inputs["thin_mm"], inputs["thick_mm"], inputs["step_mm"]))


def printed_table(case: Case) -> int:
    return round_to_printed_table(case["inputs"]["calculated_number"])


def feeler(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    reading = Reading(goes_mm=inputs["goes_mm"], not_goes_mm=inputs["does_not_go_mm"])
    return {
        "low_mm": reading.low_mm,
        "high_mm": reading.high_mm,
        "mid_mm": reading.best_mm,
        "half_width_mm": reading.half_width_mm,
        "std_uncertainty_mm": reading.standard_uncertainty_mm,
        "new_shim_mid_mm": new_shim_mm(inputs["old_shim_mm"], reading.best_mm, inputs["target_mm"]),
    }


def feeler_verdict(case: Case) -> str:
    inputs = case["inputs"]
    reading = Reading(goes_mm=inputs["measured_low_mm"], not_goes_mm=inputs["measured_high_mm"])
    return judge(reading, inputs["spec_low_mm"], inputs["spec_high_mm"]).certainty


def nominal(case: Case) -> dict[str, float]:
    low_mm, high_mm = range_from_nominal(case["inputs"]["nominal_mm"], case["inputs"]["plus_minus_mm"])
    return {"low_mm": low_mm, "high_mm": high_mm}


def screw(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    turn = turn_screw(inputs["clearance_before_mm"], inputs["pitch_mm"], inputs["turns_in"])
    return {"change_mm": turn.change_mm, "clearance_after_mm": turn.clearance_mm}


def inches(case: Case) -> dict[str, float]:
    clearance_mm = case["inputs"]["clearance_mm"]
    return {"inch": convert(clearance_mm, "mm", "in"), "thou": convert(clearance_mm, "mm", "thou")}


def desmo(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    found = desmo_from_gaps(inputs["unloaded_gap_mm"], inputs["loaded_gap_mm"])
    answer = {
        "open_clearance_mm": found.opening_mm,
        "close_clearance_mm": found.closing_mm,
        "opener_change_mm": shim_change_mm(found.opening_mm, inputs["target_open_mm"]),
        "closer_change_mm": shim_change_mm(found.closing_mm, inputs["target_close_mm"]),
    }
    if "old_opener_mm" in inputs:
        answer["new_opener_mm"] = new_shim_mm(
            inputs["old_opener_mm"], found.opening_mm, inputs["target_open_mm"]
        )
    if "old_closer_mm" in inputs:
        answer["new_closer_mm"] = new_shim_mm(
            inputs["old_closer_mm"], found.closing_mm, inputs["target_close_mm"]
        )
    return answer


def recession(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    before = DesmoClearances(inputs["open_before_mm"], inputs["close_before_mm"])
    after = after_seat_recession(before, inputs["valve_moves_into_seat_mm"])
    return {
        "open_after_mm": after.opening_mm,
        "close_after_mm": after.closing_mm,
        "sum_mm": after.sum_mm,
    }


def assignment(case: Case) -> dict[str, Any]:
    inputs = case["inputs"]
    valves = [
        ShimValve(str(i), v["old_mm"], v["measured_mm"], v["low_mm"], v["high_mm"], v["target_mm"])
        for i, v in enumerate(inputs["valves"])
    ]
    sold = inputs["buyable_series_mm"]
    series = MadeSeries(sold["thin"], sold["thick"], sold["step"]) if sold else None
    plan = plan_shims(valves, Counter(inputs["drawer_mm"]), series, Policy.FEWEST_NEW)
    assert plan.feasible and all(row.in_range for row in plan.rows)
    return {
        "min_new_shims": plan.to_buy_mm.total(),
        "min_sum_abs_deviation_mm": plan.sum_abs_deviation_mm,
        "fitted_mm": ["new" if row.origin is Origin.BUY else row.in_mm for row in plan.rows],
        "unique": plan.only_one,
    }


HANDLERS = {
    "shim-": shim,
    "shim-series-": made_count,
    "pad-round-": printed_table,
    "feeler-": feeler,
    "feeler-verdict-": feeler_verdict,
    "spec-pm-": nominal,
    "screw-": screw,
    "clr-inch-": inches,
    "desmo-": desmo,
    "desmo-recession-": recession,
    "assign-": assignment,
}


@pytest.mark.parametrize("case", topic_params(6))
def test_clearances_agree_with_source(case: Case) -> None:
    assert_case(case, handler_for(case, HANDLERS)(case))
