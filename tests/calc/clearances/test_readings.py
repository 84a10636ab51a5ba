"""What a clearance reading says, screws, desmodromic valves and the course over distance."""

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from jobs.calc.clearances.readings import (
    SHAPES,
    DesmoClearances,
    Reading,
    Verdict,
    after_seat_recession,
    compare_as_left,
    desmo_from_gaps,
    format_mm,
    judge,
    question_engine_temperature,
    range_from_nominal,
    turn_screw,
    turns_needed,
)
from jobs.calc.clearances.trend import Course, trend


@pytest.mark.parametrize(
    ("value_mm", "verdict"),
    [
        (0.14, Verdict.BELOW),
        (0.15, Verdict.OFF_TARGET),
        (0.16, Verdict.ON_TARGET),
        (0.17, Verdict.ON_TARGET),
        (0.18, Verdict.ON_TARGET),
        (0.19, Verdict.OFF_TARGET),
        (0.22, Verdict.OFF_TARGET),
        (0.23, Verdict.ABOVE),
    ],
)
def test_value_is_judged_with_both_limits_inside(value_mm: float, verdict: Verdict) -> None:
    assert judge(Reading(value_mm), 0.15, 0.22, 0.17, 0.01).verdict is verdict


@given(st.integers(1, 99), st.integers(0, 99))
def test_limit_met_is_met_in_any_binary_disguise(hundredths: int, more: int) -> None:
    low_mm, high_mm = hundredths / 100, (hundredths + more) / 100
    for reading_mm in (low_mm, high_mm, sum([0.01] * hundredths)):  # ten times 0.01 is not quite 0.1
        assert judge(Reading(reading_mm), low_mm, high_mm).verdict is Verdict.IN_RANGE


def test_decimals_of_a_record_are_judged_like_floats() -> None:
    reading = Reading(Decimal("0.10000"))
    assert judge(reading, Decimal("0.10"), Decimal("0.15"), Decimal("0.12")).verdict is Verdict.OFF_TARGET


@pytest.mark.parametrize(
    ("goes_mm", "not_goes_mm", "verdict", "certainty"),
    [
        (0.15, 0.22, Verdict.IN_RANGE, "in"),
        (0.16, 0.18, Verdict.IN_RANGE, "in"),
        (0.14, 0.16, Verdict.CANNOT_TELL, "undecided"),
        (0.21, 0.23, Verdict.CANNOT_TELL, "undecided"),
        (0.10, 0.25, Verdict.CANNOT_TELL, "undecided"),
        # the blade of the lower limit does not go: certainly too tight
        (0.13, 0.15, Verdict.BELOW, "out"),
        # the blade of the upper limit goes: it may be exactly that
        (0.22, 0.24, Verdict.CANNOT_TELL, "undecided"),
        (0.23, 0.24, Verdict.ABOVE, "out"),
        (0.00, 0.05, Verdict.BELOW, "out"),
    ],
)
def test_bracket_is_judged_by_both_ends(
    goes_mm: float, not_goes_mm: float, verdict: Verdict, certainty: str
) -> None:
    judgement = judge(Reading(goes_mm=goes_mm, not_goes_mm=not_goes_mm), 0.15, 0.22)
    assert (judgement.verdict, judgement.certainty) == (verdict, certainty)


def test_bracket_inside_is_held_against_the_target_by_its_middle() -> None:
    reading = Reading(goes_mm=0.15, not_goes_mm=0.18)  # middle 0.165
    assert judge(reading, 0.10, 0.20, 0.16).verdict is Verdict.ON_TARGET
    assert judge(reading, 0.10, 0.20, 0.15).verdict is Verdict.OFF_TARGET


def test_sentence_says_how_far_and_which_way() -> None:
    said = judge(Reading(0.21), 0.15, 0.22, 0.17).sentence
    assert said == "0.21 mm is inside 0.15 to 0.22 mm, 0.04 mm looser than the target of 0.17 mm."


def test_every_verdict_has_a_word_and_a_shape() -> None:
    assert set(SHAPES) == set(Verdict)
    assert judge(Reading(0.5), 0.1, 0.2).word == "above range"
    assert judge(Reading(0.5), 0.1, 0.2).shape != judge(Reading(0.05), 0.1, 0.2).shape


@pytest.mark.parametrize(
    ("given_reading", "sentence"),
    [
        ({}, "Enter the clearance"),
        ({"goes_mm": 0.1}, "both the blade"),
        ({"value_mm": 0.1, "goes_mm": 0.1, "not_goes_mm": 0.2}, "not both"),
        ({"goes_mm": 0.2, "not_goes_mm": 0.15}, "must be thicker"),
        ({"goes_mm": 0.2, "not_goes_mm": 0.2}, "must be thicker"),
        ({"value_mm": -0.01}, "below zero"),
        ({"value_mm": math.nan}, "missing"),
        ({"value_mm": 15}, "another unit"),
    ],
)
def test_impossible_reading_is_refused(given_reading: dict[str, float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Reading(**given_reading)


def test_range_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match="above the upper"):
        judge(Reading(0.1), 0.2, 0.1)
    with pytest.raises(ValueError, match="outside the range"):
        judge(Reading(0.1), 0.1, 0.2, 0.25)
    with pytest.raises(ValueError, match="±"):
        range_from_nominal(0.02, 0.03)


@pytest.mark.parametrize(
    ("value", "text"), [(0.15, "0.15"), (0.125, "0.125"), (0.1, "0.10"), (2, "2.00"), (0.0, "0.00")]
)
def test_millimetres_as_a_mechanic_writes_them(value: float, text: str) -> None:
    assert format_mm(value) == text


@pytest.mark.parametrize(("temperature_c", "asked"), [(20, False), (34.9, False), (35, True), (80, True)])
def test_warm_engine_is_questioned(temperature_c: float, asked: bool) -> None:
    assert (question_engine_temperature(temperature_c) is not None) == asked


# Screw and locknut


def test_eighth_of_a_turn_in_takes_an_eighth_of_the_pitch() -> None:
    turn = turn_screw(0.25, 0.5, 0.125)
    assert (turn.change_mm, turn.clearance_mm) == (-0.0625, 0.1875)


@given(st.floats(0.01, 0.5), st.floats(0.05, 0.4), st.sampled_from([0.5, 0.75, 1.0]))
def test_turns_needed_lead_to_the_target(found_mm: float, target_mm: float, pitch_mm: float) -> None:
    turn = turns_needed(found_mm, target_mm, pitch_mm)
    assert turn.clearance_mm == pytest.approx(target_mm, abs=2e-6)
    assert (turn.turns_in > 0) == (found_mm > target_mm)


def test_screw_without_pitch_is_refused() -> None:
    with pytest.raises(ValueError, match="pitch"):
        turns_needed(0.2, 0.1, 0)


# Desmodromic valves


def test_closing_clearance_is_the_play_taken_up() -> None:
    found = desmo_from_gaps(0.10, 0.13)
    assert (found.opening_mm, found.closing_mm, found.warning) == (0.1, 0.03, None)


def test_valve_held_off_its_seat_is_warned_of() -> None:
    warning = desmo_from_gaps(0.10, 0.09).warning
    assert warning is not None and "off its seat" in warning


def test_recession_moves_clearance_from_opening_to_closing() -> None:
    after = after_seat_recession(DesmoClearances(0.12, 0.03), 0.04)
    assert after == DesmoClearances(0.08, 0.07)
    assert after.sum_mm == 0.15


# As left against the plan


@pytest.mark.parametrize(
    ("reading", "difference_mm", "pointed_out"),
    [
        (Reading(0.19), 0.02, False),  # 0.19 - 0.17 is 0.0200…018 in binary
        (Reading(0.21), 0.04, True),
        (Reading(0.14), -0.03, True),
        (Reading(goes_mm=0.15, not_goes_mm=0.18), 0.0, False),
        (Reading(goes_mm=0.20, not_goes_mm=0.25), 0.03, True),
    ],
)
def test_as_left_is_held_against_the_prediction(
    reading: Reading, difference_mm: float, pointed_out: bool
) -> None:
    check = compare_as_left(0.17, reading)
    assert check.difference_mm == pytest.approx(difference_mm, abs=1e-9)
    assert (check.sentence is not None) == pointed_out


def test_as_left_sentence_names_likely_causes() -> None:
    assert compare_as_left(0.17, Reading(0.21)).sentence == (
        "0.21 mm is 0.04 mm looser than the 0.17 mm predicted: wrong shim, not seated, or wrong valve? "
        "Measure the shim and look again."
    )


# The course over distance


def test_slope_and_its_interval_agree_with_scipy() -> None:
    # scattered more than the blades alone explain, so that the data's own scatter counts
    use = np.array([0.0, 5000, 11_000, 16_000, 24_000, 30_000])
    clearance = np.array([0.22, 0.17, 0.19, 0.13, 0.14, 0.08])
    fit = linregress(use, clearance)
    half = 2.7764 * fit.stderr  # t of 0.975 at 4 degrees of freedom, printed tables
    found = trend(list(use), list(clearance), 0.10, 0.30)
    assert found.course is Course.TIGHTER
    assert found.change_mm is not None
    assert found.change_mm.value == pytest.approx(fit.slope * 10_000)
    assert found.change_mm.high - found.change_mm.value == pytest.approx(half * 10_000, rel=1e-4)


def test_limit_is_reached_where_the_line_meets_it() -> None:
    # 0.20 mm falling by 0.01 mm each 6,000 km is at 0.15 mm after 30,000 km
    found = trend([0, 6000, 12_000, 18_000], [0.20, 0.19, 0.18, 0.17], 0.15, 0.25)
    assert found.limit_mm == 0.15
    assert found.reached_at is not None
    assert found.reached_at.value == pytest.approx(30_000)
    assert found.reached_at.low < 30_000 < found.reached_at.high


def test_interval_of_the_limit_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(20_240_501)
    use = np.arange(0.0, 50_000, 6000)
    held = 0
    for _ in range(400):
        clearance = 0.30 - 0.03 * use / 10_000 + rng.normal(0, 0.006, len(use))
        span = trend(list(use), list(clearance), 0.10, 0.40).reached_at
        assert span is not None
        held += span.low <= (0.30 - 0.10) / 0.03 * 10_000 <= span.high
    assert 0.92 <= held / 400 <= 0.98  # 95 %, give or take three standard errors


def test_known_shims_are_taken_out() -> None:
    # the same wear of 0.01 mm each 6,000 km, a shim 0.05 mm thinner fitted at 12,000 km
    use = [0, 6000, 12_000, 12_000, 18_000, 24_000]
    clearance = [0.20, 0.19, 0.18, 0.23, 0.22, 0.21]
    found = trend(use, clearance, 0.15, 0.25, shim_mm=[2.40, 2.40, 2.40, 2.35, 2.35, 2.35])
    assert found.change_mm is not None and found.reached_at is not None
    assert found.change_mm.value == pytest.approx(-0.01 / 6000 * 10_000)
    assert found.reached_at.value == pytest.approx(60_000)  # 0.21 at 24,000, six more steps to 0.15


def test_unknown_adjustment_at_a_job_is_taken_out() -> None:
    use = [0, 6000, 12_000, 12_000, 18_000, 24_000]
    clearance = [0.20, 0.19, 0.18, 0.23, 0.22, 0.21]
    found = trend(use, clearance, 0.15, 0.25)
    assert found.change_mm is not None and found.reached_at is not None
    assert found.change_mm.value == pytest.approx(-0.01 / 6000 * 10_000)
    assert found.reached_at.value == pytest.approx(60_000)


def test_growing_clearance_is_followed_to_the_upper_limit() -> None:
    found = trend([0, 50, 100, 150], [0.10, 0.12, 0.14, 0.16], 0.05, 0.20, use_unit="h")
    assert found.course is Course.LOOSER
    assert found.limit_mm == 0.20
    assert found.reached_at is not None and found.reached_at.value == pytest.approx(250)
    assert "per 100 h" in found.sentence


def test_limit_already_passed_is_said() -> None:
    found = trend([0, 6000, 12_000, 18_000], [0.20, 0.18, 0.16, 0.14], 0.15, 0.25)
    assert found.sentence.endswith("the limit of 0.15 mm is reached.")


@pytest.mark.parametrize(
    ("use", "clearance"),
    [([], []), ([0], [0.2]), ([0, 6000], [0.2, 0.19]), ([9, 9, 9], [0.2, 0.19, 0.2])],
)
def test_too_little_history_says_so(use: list[float], clearance: list[float]) -> None:
    found = trend(use, clearance, 0.15, 0.25)
    assert found.course is Course.TOO_LITTLE
    assert found.reached_at is None


def test_scatter_alone_shows_no_change() -> None:
    found = trend([0, 6000, 12_000, 18_000], [0.20, 0.21, 0.20, 0.21], 0.15, 0.25)
    assert found.course is Course.NOTHING_SHOWN
    assert found.reached_at is None


def test_readings_not_made_are_left_out() -> None:
    with_gap = trend([0, 6000, 9000, 12_000, 18_000], [0.20, 0.19, math.nan, 0.18, 0.17], 0.15, 0.25)
    assert with_gap == trend([0, 6000, 12_000, 18_000], [0.20, 0.19, 0.18, 0.17], 0.15, 0.25)


def test_trend_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="runs backwards"):
        trend([6000, 0, 12_000], [0.2, 0.2, 0.2], 0.1, 0.3)
    with pytest.raises(ValueError, match="needs its distance"):
        trend([0, 1], [0.2], 0.1, 0.3)
    with pytest.raises(ValueError, match="km, mi or h"):
        trend([0, 1], [0.2, 0.2], 0.1, 0.3, use_unit="furlong")
