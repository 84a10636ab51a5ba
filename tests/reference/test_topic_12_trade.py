"""Trade guidance behind hints and warnings; most are rules of thumb without a published source."""

from typing import Any

import pytest

from jobs.calc.chassis.sag import SAG_GUIDES
from jobs.calc.clearances.readings import FEELER_STEP_MM, engine_temperature_warning
from jobs.calc.dyno.repeats import ASSUMED_REPEATABILITY_PCT
from jobs.calc.mixture.fuel import FULL_THROTTLE_LAMBDA
from tests.reference.cases import Case, assert_case, find_handler, topic_params

USE_BY_RIDER = {"street": "road", "road-race": "track"}
FIGURES = {
    "dyno repeatability": (ASSUMED_REPEATABILITY_PCT, ASSUMED_REPEATABILITY_PCT),
    "full-throttle lambda": FULL_THROTTLE_LAMBDA,
    "feeler blade step": FEELER_STEP_MM,
}


def sag_guide(figure: str) -> tuple[float, float]:
    rider, end = figure.split(" rider sag, ")
    guide = SAG_GUIDES[USE_BY_RIDER[rider], end]
    return guide.low_pct, guide.high_pct


def guidance(case: Case) -> dict[str, float]:
    figure = case["inputs"]["figure"]
    if "rider sag" in figure:
        low, high = sag_guide(figure)
    else:
        (low, high) = next(range_ for words, range_ in FIGURES.items() if figure.startswith(words))
    return {"low": low, "high": high}


def cold_engine(case: Case) -> bool:
    return engine_temperature_warning(case["inputs"]["engine_temp_C"]) is None


HANDLERS = {"trade-": guidance, "trade-cold-": cold_engine}


@pytest.mark.parametrize("case", topic_params(12))
def test_guidance_agrees_with_trade_values(case: Case) -> None:
    result: Any = find_handler(case, HANDLERS)(case)
    assert_case(case, result)
