"""Valve clearances and shims against workshop manuals, geometry and exhaustive search."""

from collections import Counter
from typing import Any

import pytest

from jobs.calc.clearances.readings import (
    ClearanceVerdict,
    Reading,
    compute_turns_in,
    derive_closing_clearance,
    judge,
)
from jobs.calc.clearances.shim_plan import Origin, Policy, plan_shims
from jobs.calc.clearances.shims import (
    AvailableSizes,
    ShimValve,
    compute_shim_mm,
    nearest_available_mm,
    predict_clearance_mm,
)
from jobs.calc.units.factors import convert
from tests.reference.cases import Case, assert_case, find_handler, topic_params
from tests.reference.closed_forms import WholeValve, every_shim_choice, printed_pad_number


def shim(case: Case) -> Any:
    """Return a new shim, a clearance or verdicts on candidates, depending on the inputs."""
    inputs = case["inputs"]
    fitted_mm, measured_mm = inputs["old_mm"], inputs["measured_mm"]
    if "candidates_mm" in inputs:
        left = [
            predict_clearance_mm(fitted_mm, measured_mm, candidate) for candidate in inputs["candidates_mm"]
        ]
        limits = inputs["spec_low_mm"], inputs["spec_high_mm"]
        in_spec = [judge(Reading(clearance), *limits).verdict.is_in for clearance in left]
        return {"resulting_clearance_mm": left, "in_spec": in_spec}
    if "target_mm" not in inputs:
        return predict_clearance_mm(fitted_mm, measured_mm, inputs["fitted_mm"])
    ideal_mm = compute_shim_mm(fitted_mm, measured_mm, inputs["target_mm"])
    if "fitted_mm" not in inputs:
        return ideal_mm
    left_mm = predict_clearance_mm(fitted_mm, measured_mm, inputs["fitted_mm"])
    return {"ideal_mm": ideal_mm, "resulting_clearance_mm": left_mm}


def made_count(case: Case) -> int:
    inputs = case["inputs"]
    return len(AvailableSizes(inputs["thin_mm"], inputs["thick_mm"], inputs["step_mm"]).sizes_nm)


def printed_table(case: Case) -> int:
    """Return the printed rounding; the product's nearest size agrees unless the last digit is 7."""
    number = case["inputs"]["calculated_number"]
    printed = printed_pad_number(number)
    if number % 10 != 7:
        on_target = ShimValve("1", number / 100, 0.20, 0.15, 0.25, 0.20)
        assert nearest_available_mm(on_target, AvailableSizes(1.20, 2.40, 0.05)) == printed / 100
    return printed


def feeler(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    reading = Reading(goes_mm=inputs["goes_mm"], not_goes_mm=inputs["does_not_go_mm"])
    return {
        "low_mm": reading.low_mm,
        "high_mm": reading.high_mm,
        "mid_mm": reading.best_mm,
        "half_width_mm": reading.half_width_mm,
        "std_uncertainty_mm": reading.standard_uncertainty_mm,
        "new_shim_mid_mm": compute_shim_mm(inputs["old_shim_mm"], reading.best_mm, inputs["target_mm"]),
    }


def feeler_verdict(case: Case) -> str:
    inputs = case["inputs"]
    reading = Reading(goes_mm=inputs["measured_low_mm"], not_goes_mm=inputs["measured_high_mm"])
    verdict = judge(reading, inputs["spec_low_mm"], inputs["spec_high_mm"]).verdict
    return "in" if verdict.is_in else "out" if verdict.is_out else "undecided"


def nominal(case: Case) -> dict[str, float]:
    """Return the on-target range if the tolerance is the printed ±."""
    target_mm, tolerance_mm = case["inputs"]["nominal_mm"], case["inputs"]["plus_minus_mm"]
    thousandths = [number / 1000 for number in range(1001)]
    judged = [judge(Reading(value), 0, 1, target_mm, tolerance_mm).verdict for value in thousandths]
    on_target = [
        value
        for value, verdict in zip(thousandths, judged, strict=True)
        if verdict is ClearanceVerdict.ON_TARGET
    ]
    return {"low_mm": min(on_target), "high_mm": max(on_target)}


def screw(case: Case) -> dict[str, float]:
    """Return the change of clearance by the product's turns, which must equal the case's."""
    inputs = case["inputs"]
    before_mm, pitch_mm = inputs["clearance_before_mm"], inputs["pitch_mm"]
    turns_in = compute_turns_in(before_mm, case["expected"]["clearance_after_mm"], pitch_mm)
    assert turns_in == pytest.approx(inputs["turns_in"], abs=1e-9)
    return {"change_mm": -turns_in * pitch_mm, "clearance_after_mm": before_mm - turns_in * pitch_mm}


def inches(case: Case) -> dict[str, float]:
    clearance_mm = case["inputs"]["clearance_mm"]
    return {"inch": convert(clearance_mm, "mm", "in"), "thou": convert(clearance_mm, "mm", "thou")}


def desmo(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    opening_mm = inputs["unloaded_gap_mm"]
    closing_mm = derive_closing_clearance(Reading(opening_mm), Reading(inputs["loaded_gap_mm"])).best_mm
    result = {
        "open_clearance_mm": opening_mm,
        "close_clearance_mm": closing_mm,
        "opener_change_mm": compute_shim_mm(0, opening_mm, inputs["target_open_mm"]),
        "closer_change_mm": compute_shim_mm(0, closing_mm, inputs["target_close_mm"]),
    }
    if "old_opener_mm" in inputs:
        result["new_opener_mm"] = compute_shim_mm(
            inputs["old_opener_mm"], opening_mm, inputs["target_open_mm"]
        )
    if "old_closer_mm" in inputs:
        result["new_closer_mm"] = compute_shim_mm(
            inputs["old_closer_mm"], closing_mm, inputs["target_close_mm"]
        )
    return result


def recession(case: Case) -> dict[str, float]:
    """Return both clearances after recession; the loaded gap of the opener stays the same."""
    inputs = case["inputs"]
    unloaded_mm = inputs["open_before_mm"] - inputs["valve_moves_into_seat_mm"]
    loaded_mm = inputs["open_before_mm"] + inputs["close_before_mm"]
    closing_mm = derive_closing_clearance(Reading(unloaded_mm), Reading(loaded_mm)).best_mm
    return {"open_after_mm": unloaded_mm, "close_after_mm": closing_mm, "sum_mm": unloaded_mm + closing_mm}


def micrometres(length_mm: float) -> int:
    return round(length_mm * 1000)


def assignment(case: Case) -> dict[str, Any]:
    """Return the product's plan, and True if an exhaustive search finds another as good."""
    inputs = case["inputs"]
    valves = [
        ShimValve(str(i), v["old_mm"], v["measured_mm"], v["low_mm"], v["high_mm"], v["target_mm"])
        for i, v in enumerate(inputs["valves"])
    ]
    sold = inputs["buyable_series_mm"]
    sizes = AvailableSizes(sold["thin"], sold["thick"], sold["step"]) if sold else None
    plan = plan_shims(valves, Counter(inputs["drawer_mm"]), sizes, Policy.FEWEST_NEW)
    assert all(row.valve.low_mm <= row.predicted_mm <= row.valve.high_mm for row in plan.rows)
    names = ("old_mm", "measured_mm", "low_mm", "high_mm", "target_mm")
    whole = [WholeValve(*(micrometres(valve[name]) for name in names)) for valve in inputs["valves"]]
    on_sale = [size // 1000 for size in sizes.sizes_nm] if sizes else []
    choices = list(every_shim_choice(whole, list(map(micrometres, inputs["drawer_mm"])), on_sale))
    worth = {choice: (choice.unserved, choice.bought, choice.deviation) for choice in choices}
    least = min(worth.values())
    best = {choice.fitted for choice in choices if worth[choice] == least}
    fitted = tuple("new" if row.origin is Origin.BUY else row.in_mm for row in plan.rows)
    assert tuple(size if size == "new" else micrometres(size) for size in fitted) in best
    return {
        "min_new_shims": plan.to_buy_mm.total(),
        "min_sum_abs_deviation_mm": plan.sum_abs_deviation_mm,
        "fitted_mm": list(fitted),
        "unique": len(best) == 1,
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
    assert_case(case, find_handler(case, HANDLERS)(case))
