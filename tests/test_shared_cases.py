"""Cases in which server and scripts must agree; tests/browser runs them on the scripts."""

import re
from decimal import Decimal
from typing import Any

import pytest

from jobs.calc.clearances.readings import (
    ClearanceVerdict,
    Reading,
    compare_as_left,
    derive_closing_clearance,
)
from jobs.calc.units.numbers import format_digits, format_number
from jobs.clearances.form_boxes import parse_gap
from jobs.clearances.recording import to_mm
from jobs.clearances.valve_gaps import ValveGap, verdict_slug
from tests.shared_cases import shared_cases
from workshop.models import ClearanceKind, Side, Valve
from workshop.units.display import Plausible, length_formatter, parse_number

NUMBERS, VERDICTS = shared_cases("numbers"), shared_cases("verdicts")


def case_id(case: dict[str, Any]) -> str:
    return " ".join(str(value) for value in case.values())


@pytest.mark.parametrize("case", NUMBERS["cases"], ids=case_id)
def test_format_number_agrees_with_scripts(case: dict[str, Any]) -> None:
    assert (
        format_number(float(case["value"]), case["places"], signed=case.get("signed", False)) == case["text"]
    )


@pytest.mark.parametrize("case", NUMBERS["typed"], ids=case_id)
def test_typed_number_is_understood_from_its_range_or_asked(case: dict[str, Any]) -> None:
    plausible = Plausible(case.get("low"), case.get("high"), case.get("thousandths", True))
    if "ask" in case:
        with pytest.raises(ValueError, match="can mean") as asked:
            parse_number(case["typed"], plausible)
        assert str(asked.value) == case["ask"]
    else:
        assert parse_number(case["typed"], plausible) == Decimal(case["number"])


def parse_reading(typed: str, unit: str = "mm") -> Reading | None:
    """Parse a clearance like the form."""
    if not typed.strip():
        return None
    gap = parse_gap(typed, unit)
    lengths_mm = [to_mm(figure, gap.unit) for figure in gap.figures]
    return Reading(lengths_mm[0]) if len(lengths_mm) == 1 else Reading(None, *lengths_mm)


def make_gap(case: dict[str, Any]) -> ValveGap:
    low, high, target = (Decimal(case[name]) if name in case else None for name in ("low", "high", "target"))
    tolerance = Decimal(case.get("tolerance", "0.01"))
    return ValveGap(
        Valve(1, Side.INTAKE, 1, 1), ClearanceKind.OPENING, False, low, high, target, tolerance, "intake"
    )


@pytest.mark.parametrize("case", VERDICTS["cases"], ids=case_id)
def test_clearance_verdict_agrees_with_scripts(case: dict[str, Any]) -> None:
    try:
        reading = parse_reading(case["typed"], case.get("unit", "mm"))
    except ValueError:
        assert case["verdict"] == "unreadable"
        return
    assert verdict_slug(reading and make_gap(case).judge(reading)) == case["verdict"]


@pytest.mark.parametrize("case", VERDICTS["at_limit"], ids=case_id)
def test_value_at_a_limit_says_so_as_in_scripts(case: dict[str, Any]) -> None:
    reading = parse_reading(case["typed"])
    assert reading is not None
    judgement = make_gap(case).judge(reading)
    assert judgement is not None
    assert judgement.word == case["word"]


@pytest.mark.parametrize("case", VERDICTS["closing"], ids=case_id)
def test_closing_clearance_verdict_agrees_with_scripts(case: dict[str, Any]) -> None:
    unloaded, loaded = parse_reading(case["unloaded"]), parse_reading(case["loaded"])
    reading = derive_closing_clearance(unloaded, loaded) if unloaded and loaded else None
    assert verdict_slug(reading and make_gap(case).judge(reading)) == case["verdict"]


@pytest.mark.parametrize("case", VERDICTS["as_left"], ids=case_id)
def test_as_left_check_agrees_with_scripts(case: dict[str, Any]) -> None:
    unit = case.get("unit", "mm")
    reading = parse_reading(case["typed"], unit)
    assert reading is not None
    sentence = compare_as_left(Decimal(case["predicted"]), reading).describe(length_formatter(unit))
    said = re.search(r" is (.*) than the .* predicted[.] ", sentence)
    assert (said[1] if said else sentence) == case["says"]


def test_verdict_texts_agree_with_scripts() -> None:
    assert {
        verdict.name.lower().replace("_", "-"): verdict.value for verdict in ClearanceVerdict
    } == VERDICTS["words"]


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.5, "0.5"), (12.0, "12"), (12345.0, "12\u202f345"), (-0.04, "0"), (-7.25, "−7.3"), (100.0, "100")],
)
def test_format_number_trims_trailing_zeros(value: float, text: str) -> None:
    assert format_number(value, 1, trim=True) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (101.325, "101.325"),
        (12345.678, "12\u202f345.7"),
        (-40.0, "−40"),
        (0.00012345678, "0.000123457"),
        (2e-7, "2e−07"),
        (123456.4, "123\u202f456"),
        (5e12, "5e+12"),
    ],
)
def test_format_digits_keeps_significant_digits(value: float, text: str) -> None:
    assert format_digits(value) == text
