"""Published and computed values of statistics and numerics, through the project's functions."""

from typing import Any

import numpy as np
import pytest

from jobs.calc import statistics
from jobs.calc.dyno.design import Design, estimate
from jobs.calc.dyno.roller import roller_power
from jobs.calc.dyno.spread import RunSpread, SessionSpread
from jobs.calc.statistics import FloatArray
from tests.reference.cases import Case, assert_case, find_handler, topic_params
from tests.reference.closed_forms import welch


def quantile(case: Case) -> float:
    return statistics.t_quantile(case["inputs"]["df"], case["inputs"]["confidence"])


def group(given: Any) -> statistics.SampleSummary:
    if isinstance(given, dict):
        return statistics.SampleSummary(n=given["n"], mean=given["mean"], sd=given["sd"], df=given["n"] - 1)
    return statistics.summarise(given)


def two_groups(case: Case) -> dict[str, Any]:
    """Return the difference of the first group minus the second."""
    inputs = case["inputs"]
    first, second = (group(v) for v in inputs.values() if isinstance(v, (list, dict)))
    confidence = inputs.get("confidence", statistics.CONFIDENCE)
    found = welch(first, second, confidence)
    return {
        "diff": found.difference,
        "se": found.standard_error,
        "t": found.t,
        "df": found.df,
        "p": found.p,
        "ci_low": found.ci_low,
        "ci_high": found.ci_high,
        "significant": bool(found.ci_low > 0 or found.ci_high < 0),
        "t_crit": statistics.t_quantile(found.df, confidence),
        "mean_x": first.mean,
        "mean_y": second.mean,
        "sd_x": first.sd,
        "sd_y": second.sd,
    }


def equal_spreads(case: Case) -> dict[str, Any]:
    """Return Student's t of two groups with a pooled spread, first minus second."""
    samples = [group(case["inputs"][name]) for name in ("sample1", "sample2")]
    second, first = (values_of(sample) for sample in reversed(samples))
    design = Design.from_runs([False] * second.size + [True] * first.size)
    known_none = RunSpread(1.0, np.inf), SessionSpread(0.5, np.inf)
    found = estimate(design, np.concatenate([second, first]), *known_none)
    return {
        "t": found.difference / found.standard_error,
        "df": found.df,
        "sp": found.run_sd,
        "t_crit": found.half_width / found.standard_error,
    }


def values_of(sample: statistics.SampleSummary) -> FloatArray:
    """Return values that have this number, mean and standard deviation."""
    steps = np.arange(sample.n, dtype=float)
    return np.asarray(sample.mean + sample.sd * (steps - steps.mean()) / steps.std(ddof=1))


def one_group(case: Case) -> dict[str, float]:
    values, confidence = case["inputs"]["values"], case["inputs"]["confidence"]
    interval = statistics.mean_interval(values, confidence)
    return {
        "mean": interval.mean,
        "sd": interval.sd,
        "ci_half": interval.half_width,
        "repeatability_limit": statistics.repeatability_limit(interval.sd),
        "cv_percent": 100 * interval.sd / interval.mean,
    }


def pooled(case: Case) -> dict[str, float]:
    found = statistics.pooled_sd([statistics.summarise(g) for g in case["inputs"]["groups"]])
    return {"sr": found.sd, "df": found.df, "r_limit": statistics.repeatability_limit(found.sd)}


def value_and_slope(time_s: FloatArray, y: FloatArray, window_s: float) -> tuple[FloatArray, FloatArray]:
    """Return value and slope from the power of a roller with ω² = y: P = J/2·d(ω²)/dt, J = 2000 kg·m²."""
    above_zero = 10 - np.min(y)
    found = roller_power(time_s, np.sqrt(np.asarray(y) + above_zero), 2000.0, window_s=window_s)
    return found.roller_speed_rad_s**2 - above_zero, found.power_kw


def savitzky_golay(
    y: Any, *, window: int, polyorder: int, deriv: int = 0, delta: float = 1.0, mode: str = "interp"
) -> FloatArray:
    """Smooth even samples with the product's local quadratics.

    At the ends the quadratic of the last full window applies, since there are no samples beyond the run.
    """
    assert (polyorder, mode) == (2, "interp")
    last, time = len(y) - 1, np.arange(len(y)) * delta
    results = []
    for i in range(len(y)):
        reach = max(window // 2, window - 1 - i, window - 1 - (last - i))
        results.append([found[i] for found in value_and_slope(time, y, 2 * reach * delta)])
    return np.array(results)[:, deriv]


def coefficients(case: Case) -> dict[str, Any]:
    """Divide the printed integers by the printed denominator; 9 decimals distinguish them."""
    denominator, window = case["expected"]["denominator"], case["inputs"]["window"]
    impulses = np.eye(window)
    weights = [savitzky_golay(impulse, **case["inputs"])[window // 2] for impulse in impulses]
    return {"numerators": [round(float(w) * denominator, 9) for w in weights], "denominator": denominator}


def smoothed(case: Case) -> list[float]:
    return list(savitzky_golay(**case["inputs"]))


def peak(case: Case) -> dict[str, float]:
    return dict(zip("xy", statistics.parabola_peak(case["inputs"]["x"], case["inputs"]["y"]), strict=True))


def looked_up(case: Case) -> float:
    at = case["inputs"]
    return statistics.interpolate_table(at["rpm_axis"], at["grip_axis"], at["table"], at["rpm"], at["grip"])


def area(case: Case) -> float:
    return statistics.integrate(case["inputs"]["x"], case["inputs"]["y"])


HANDLERS = {
    "t9": quantile,
    "stat-": two_groups,
    "stat-nist-pooled": equal_spreads,
    "stat-mean": one_group,
    "stat-pooled-sr": pooled,
    "savgol-": smoothed,
    "savgol-coef": coefficients,
    "peak-": peak,
    "grid-": looked_up,
    "trapz-": area,
}


@pytest.mark.parametrize("case", topic_params(8))
def test_statistics_agree_with_source(case: Case) -> None:
    assert_case(case, find_handler(case, HANDLERS)(case))
