"""Published and computed values of statistics and numerics, through the project's functions."""

from typing import Any

import pytest

from jobs.calc import statistics
from tests.reference.cases import Case, assert_case, handler_for, topic_params


def quantile(case: Case) -> float:
    return statistics.t_quantile(case["inputs"]["df"], case["inputs"]["confidence"])


def group(given: Any) -> statistics.SampleSummary:
    if isinstance(given, dict):
        return statistics.SampleSummary(n=given["n"], mean=given["mean"], sd=given["sd"], df=given["n"] - 1)
    return statistics.summarise(given)


def two_groups(case: Case) -> dict[str, Any]:
    """Whatever the groups are called, the difference is the first named minus the second."""
    inputs = case["inputs"]
    first, second = (group(v) for v in inputs.values() if isinstance(v, (list, dict)))
    confidence = inputs.get("confidence", statistics.CONFIDENCE)
    compare = statistics.pooled_difference if inputs.get("equal_variances") else statistics.welch
    found = compare(first, second, confidence)
    return {
        "diff": found.difference,
        "se": found.standard_error,
        "t": found.t,
        "df": found.df,
        "p": found.p,
        "ci_low": found.ci_low,
        "ci_high": found.ci_high,
        "significant": bool(found.ci_low > 0 or found.ci_high < 0),
        "sp": statistics.pooled_sd([first, second]).sd,
        "t_crit": statistics.t_quantile(found.df, confidence),
        "mean_x": first.mean,
        "mean_y": second.mean,
        "sd_x": first.sd,
        "sd_y": second.sd,
    }


def one_group(case: Case) -> dict[str, float]:
    values, confidence = case["inputs"]["values"], case["inputs"]["confidence"]
    interval = statistics.mean_interval(values, confidence)
    return {
        "mean": interval.mean,
        "sd": interval.sd,
        "ci_half": interval.half_width,
        "repeatability_limit": statistics.repeatability_limit(interval.sd),
        "cv_percent": statistics.coefficient_of_variation_pct(statistics.summarise(values)),
    }


def pooled(case: Case) -> dict[str, float]:
    found = statistics.pooled_sd([statistics.summarise(g) for g in case["inputs"]["groups"]])
    return {"sr": found.sd, "df": found.df, "r_limit": statistics.repeatability_limit(found.sd)}


def coefficients(case: Case) -> dict[str, Any]:
    """The printed whole numbers over the printed denominator; 9 decimals tell them from any other."""
    denominator = case["expected"]["denominator"]
    weights = statistics.savgol_coefficients(**case["inputs"])
    return {"numerators": [round(float(w) * denominator, 9) for w in weights], "denominator": denominator}


def smoothed(case: Case) -> list[float]:
    inputs = {k: v for k, v in case["inputs"].items() if k not in ("y", "mode")}
    assert case["inputs"].get("mode", "interp") == "interp"
    return list(statistics.savgol(case["inputs"]["y"], **inputs))


def peak(case: Case) -> dict[str, float]:
    return dict(zip("xy", statistics.parabola_peak(case["inputs"]["x"], case["inputs"]["y"]), strict=True))


def looked_up(case: Case) -> float:
    at = case["inputs"]
    return statistics.table_lookup(at["rpm_axis"], at["grip_axis"], at["table"], at["rpm"], at["grip"])


def area(case: Case) -> float:
    return statistics.area_under(case["inputs"]["x"], case["inputs"]["y"])


HANDLERS = {
    "t9": quantile,
    "stat-": two_groups,
    "stat-mean": one_group,
    "stat-pooled-sr": pooled,
    "savgol-": smoothed,
    "savgol-coef": coefficients,
    "peak-": peak,
    "grid-": looked_up,
    "trapz-": area,
}


@pytest.mark.parametrize("case", topic_params(8))
def test_statistics_meet_the_reference(case: Case) -> None:
    assert_case(case, handler_for(case, HANDLERS)(case))
