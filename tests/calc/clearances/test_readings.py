"""Clearance readings and their verdicts, adjuster screws, desmodromic valves and the check as left."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.clearances.readings import (
    ClearanceVerdict,
    Reading,
    compare_as_left,
    compute_turns_in,
    derive_closing_clearance,
    engine_temperature_warning,
    judge,
)
from jobs.calc.units.length_format import format_mm


@pytest.mark.parametrize(
    ("value_mm", "verdict"),
    [
        (0.14, ClearanceVerdict.TIGHT),
        (0.15, ClearanceVerdict.OFF_TARGET),
        (0.16, ClearanceVerdict.ON_TARGET),
        (0.17, ClearanceVerdict.ON_TARGET),
        (0.18, ClearanceVerdict.ON_TARGET),
        (0.19, ClearanceVerdict.OFF_TARGET),
        (0.22, ClearanceVerdict.OFF_TARGET),
        (0.23, ClearanceVerdict.LOOSE),
    ],
)
def test_value_is_judged_with_both_limits_in_range(value_mm: float, verdict: ClearanceVerdict) -> None:
    assert judge(Reading(value_mm), 0.15, 0.22, 0.17, 0.01).verdict is verdict


@given(st.integers(1, 99), st.integers(0, 99))
def test_limit_counts_as_met_whatever_its_binary_fraction(hundredths: int, more: int) -> None:
    low_mm, high_mm = hundredths / 100, (hundredths + more) / 100
    for reading_mm in (low_mm, high_mm, sum([0.01] * hundredths)):  # ten times 0.01 is not quite 0.1
        assert judge(Reading(reading_mm), low_mm, high_mm).verdict is ClearanceVerdict.IN_RANGE


def test_decimals_are_judged_like_floats() -> None:
    reading = Reading(Decimal("0.10000"))
    assert (
        judge(reading, Decimal("0.10"), Decimal("0.15"), Decimal("0.12")).verdict
        is ClearanceVerdict.OFF_TARGET
    )


@pytest.mark.parametrize(
    ("goes_mm", "not_goes_mm", "verdict"),
    [
        (0.15, 0.22, ClearanceVerdict.IN_RANGE),
        (0.16, 0.18, ClearanceVerdict.IN_RANGE),
        (0.14, 0.16, ClearanceVerdict.CANNOT_TELL),
        (0.21, 0.23, ClearanceVerdict.CANNOT_TELL),
        (0.10, 0.25, ClearanceVerdict.CANNOT_TELL),
        # the blade of the lower limit does not go: certainly too tight
        (0.13, 0.15, ClearanceVerdict.TIGHT),
        # the blade of the upper limit goes: it may be exactly that
        (0.22, 0.24, ClearanceVerdict.CANNOT_TELL),
        (0.23, 0.24, ClearanceVerdict.LOOSE),
        (0.00, 0.05, ClearanceVerdict.TIGHT),
    ],
)
def test_bracket_is_judged_by_both_ends(
    goes_mm: float, not_goes_mm: float, verdict: ClearanceVerdict
) -> None:
    assert judge(Reading(goes_mm=goes_mm, not_goes_mm=not_goes_mm), 0.15, 0.22).verdict is verdict


def test_verdict_is_in_out_or_neither() -> None:
    assert {verdict for verdict in ClearanceVerdict if verdict.is_out} == {
        ClearanceVerdict.TIGHT,
        ClearanceVerdict.LOOSE,
    }
    assert {verdict for verdict in ClearanceVerdict if verdict.is_in} == {
        ClearanceVerdict.ON_TARGET,
        ClearanceVerdict.OFF_TARGET,
        ClearanceVerdict.IN_RANGE,
    }


def test_bracket_in_range_is_compared_with_target_by_its_middle() -> None:
    reading = Reading(goes_mm=0.15, not_goes_mm=0.18)  # middle 0.165
    assert judge(reading, 0.10, 0.20, 0.16).verdict is ClearanceVerdict.ON_TARGET
    assert judge(reading, 0.10, 0.20, 0.15).verdict is ClearanceVerdict.OFF_TARGET


def test_judgement_hints_at_finer_blades_when_not_certain() -> None:
    assert judge(Reading(goes_mm=0.14, not_goes_mm=0.16), 0.15, 0.22).hint() == (
        "0.14 to 0.16 mm may be inside or outside 0.15 to 0.22 mm. Use finer blades."
    )
    assert judge(Reading(0.21), 0.15, 0.22, 0.17).hint() == ""


@pytest.mark.parametrize(
    ("given_reading", "sentence"),
    [
        ({}, "Enter the clearance"),
        ({"goes_mm": 0.1}, "both blades"),
        ({"value_mm": 0.1, "goes_mm": 0.1, "not_goes_mm": 0.2}, "not both"),
        ({"goes_mm": 0.2, "not_goes_mm": 0.15}, "must be thicker"),
        ({"goes_mm": 0.2, "not_goes_mm": 0.2}, "must be thicker"),
        ({"value_mm": -0.01}, "below zero"),
        ({"value_mm": math.nan}, "missing"),
        ({"value_mm": 15}, "Check the unit"),
    ],
)
def test_reading_is_refused_when_impossible(given_reading: dict[str, float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Reading(**given_reading)


def test_range_is_refused_when_upside_down_or_target_is_outside() -> None:
    with pytest.raises(ValueError, match="above the upper"):
        judge(Reading(0.1), 0.2, 0.1)
    with pytest.raises(ValueError, match="outside the range"):
        judge(Reading(0.1), 0.1, 0.2, 0.25)


@pytest.mark.parametrize(
    ("value", "text"), [(0.15, "0.15"), (0.125, "0.125"), (0.1, "0.10"), (2, "2.00"), (0.0, "0.00")]
)
def test_millimetres_have_two_decimals_or_as_many_as_needed(value: float, text: str) -> None:
    assert format_mm(value) == text


@pytest.mark.parametrize(("temperature_c", "warned"), [(20, False), (34.9, False), (35, True), (80, True)])
def test_engine_temperature_is_warned_about_from_35_degrees(temperature_c: float, warned: bool) -> None:
    assert (engine_temperature_warning(temperature_c) is not None) == warned


# Screw and locknut


@given(st.floats(0.01, 0.5), st.floats(0.05, 0.4), st.sampled_from([0.5, 0.75, 1.0]))
def test_turns_of_screw_lead_to_target(found_mm: float, target_mm: float, pitch_mm: float) -> None:
    turns_in = compute_turns_in(found_mm, target_mm, pitch_mm)
    assert found_mm - turns_in * pitch_mm == pytest.approx(target_mm, abs=2e-6)
    assert (turns_in > 0) == (found_mm > target_mm)


def test_turns_of_screw_are_refused_without_pitch() -> None:
    with pytest.raises(ValueError, match="pitch"):
        compute_turns_in(0.2, 0.1, 0)


# Desmodromic valves


def test_closing_clearance_is_difference_of_gaps() -> None:
    assert derive_closing_clearance(Reading(0.10), Reading(0.13)) == Reading(0.03)


def test_closing_clearance_of_brackets_is_all_it_may_be() -> None:
    unloaded, loaded = Reading(goes_mm=0.10, not_goes_mm=0.12), Reading(goes_mm=0.15, not_goes_mm=0.16)
    assert derive_closing_clearance(unloaded, loaded) == Reading(goes_mm=0.03, not_goes_mm=0.06)


@pytest.mark.parametrize(
    ("unloaded", "sentence"),
    [(Reading(0.14), "will burn"), (Reading(goes_mm=0.12, not_goes_mm=0.14), "may be below zero")],
)
def test_closing_clearance_is_refused_when_valve_is_held_off_its_seat(
    unloaded: Reading, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        derive_closing_clearance(unloaded, Reading(0.13))


# As left against the plan


@pytest.mark.parametrize(
    ("reading", "difference_mm", "warned"),
    [
        (Reading(0.19), 0.02, False),  # 0.19 - 0.17 is 0.0200…018 in binary
        (Reading(0.21), 0.04, True),
        (Reading(0.14), -0.03, True),
        (Reading(goes_mm=0.15, not_goes_mm=0.18), 0.0, False),
        (Reading(goes_mm=0.20, not_goes_mm=0.25), 0.03, True),
    ],
)
def test_as_left_is_compared_with_prediction(reading: Reading, difference_mm: float, warned: bool) -> None:
    check = compare_as_left(0.17, reading)
    assert check.difference_mm == pytest.approx(difference_mm, abs=1e-9)
    assert bool(check.describe()) == warned


def test_as_left_warning_names_likely_causes() -> None:
    assert compare_as_left(0.17, Reading(0.21)).describe() == (
        "0.21 mm is 0.04 mm looser than the 0.17 mm predicted. Check for a wrong shim, a shim not seated or "
        "the wrong valve. Measure the shim."
    )


@pytest.mark.parametrize(
    ("reading", "is_near"),
    [
        # Two readings that differ by up to 0.02 mm each scatter by 0.02/√2 = 0.0141 mm.
        (Reading(0.08), False),
        (Reading(0.0858), False),
        (Reading(0.0859), True),
        (Reading(0.09), True),
        (Reading(0.10), True),
        (Reading(0.1141), True),
        (Reading(0.1142), False),
        (Reading(0.15), False),
        (Reading(0.19), True),
        (Reading(0.21), True),
        (Reading(0.22), False),
        (Reading(None, 0.12, 0.15), False),
        (Reading(None, 0.11, 0.15), True),
        (Reading(None, 0.07, 0.09), True),  # tight, and the thicker blade is near the limit
        (Reading(None, 0.08, 0.12), False),  # not certain already
    ],
)
def test_reading_near_a_limit_is_found(reading: Reading, is_near: bool) -> None:
    assert judge(reading, 0.10, 0.20).is_near_limit is is_near
