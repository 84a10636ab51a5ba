"""Sag, springs and preload."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.chassis.sag import (
    SAG_GUIDES,
    free_sag_mm,
    parallel_rate_n_per_mm,
    preload_for_sag,
    sag,
    sag_hints,
    sag_under_load_mm,
    series_rate_n_per_mm,
    wheel_rate_n_per_mm,
)


def test_order_of_the_two_laden_readings_makes_no_difference() -> None:
    assert sag(560, 526, 532, 120) == sag(560, 532, 526, 120)


def test_travel_not_known_gives_no_percentage() -> None:
    assert math.isnan(sag(560, 526, 532).percent_of_travel)


@pytest.mark.parametrize(
    ("readings", "sentence"),
    [
        ((560, 570, 532), "longer than the unloaded"),
        ((math.nan, 526, 532), "unloaded reading is missing"),
        ((560, 526, 0), "after lifting"),
        ((560, 526, 532, 20), "more than the travel"),
        ((560, 526, 532, 0), "travel must be above zero"),
    ],
)
def test_impossible_readings_are_refused(readings: tuple[float, ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        sag(*readings)


def test_bike_taller_on_its_wheels_is_refused() -> None:
    with pytest.raises(ValueError, match="longer than the unloaded"):
        free_sag_mm(560, 565)


def test_hint_follows_the_guide_for_the_use() -> None:
    soft = sag(600, 560, 556, 120)  # 42 mm, 35 %
    assert sag_hints(soft, SAG_GUIDES["road", "rear"]) == []  # 28 to 35 %, ends included
    (hint,) = sag_hints(soft, SAG_GUIDES["track", "rear"])  # 23 to 30 %
    assert "more preload" in hint
    hard = sag(600, 580, 578, 120)  # 21 mm, 17.5 %
    (hint,) = sag_hints(hard, SAG_GUIDES["track", "front"])
    assert "less preload" in hint


def test_hint_names_a_share_that_is_outside_the_range_it_names() -> None:
    (hint,) = sag_hints(sag(120, 82, 78, 120), SAG_GUIDES["road", "front"])  # 40 of 120 mm; 28 to 33 %
    assert hint.startswith("33.3 % is more than the customary 28 to 33 %")
    assert sag_hints(sag(1000, 669.8, 669.8, 1000), SAG_GUIDES["road", "front"]) == []


def test_sticking_parts_are_pointed_out() -> None:
    (hint,) = sag_hints(sag(600, 570, 555), None)
    assert "15 mm apart" in hint
    assert sag_hints(sag(600, 570, 560), None) == []


@given(st.lists(st.floats(1, 200), min_size=2, max_size=4))
def test_side_by_side_is_stiffer_and_end_to_end_softer_than_any(rates: list[float]) -> None:
    assert parallel_rate_n_per_mm(rates) > max(rates)
    assert series_rate_n_per_mm(rates) < min(rates)


def test_one_spring_is_itself_either_way() -> None:
    assert parallel_rate_n_per_mm([9.5]) == series_rate_n_per_mm([9.5]) == 9.5


def test_direct_spring_has_its_own_rate_at_the_wheel() -> None:
    assert wheel_rate_n_per_mm(9.5, 1) == 9.5


@pytest.mark.parametrize("rates", [[], [0.0], [9.5, -1], [math.nan]])
def test_impossible_springs_are_refused(rates: list[float]) -> None:
    with pytest.raises(ValueError, match="spring"):
        parallel_rate_n_per_mm(rates)
    with pytest.raises(ValueError, match="spring"):
        series_rate_n_per_mm(rates)


@given(st.floats(25, 45), st.floats(25, 45), st.sampled_from([0.4, 0.5, 1.0]))
def test_preload_change_brings_a_linear_spring_to_its_target(
    before_mm: float, target_mm: float, motion_ratio: float
) -> None:
    rate, load = 90.0, 3000.0  # at the wheel k·MR², so preload at the shock counts MR-fold there
    wheel_rate = wheel_rate_n_per_mm(rate, motion_ratio)
    preload_mm = load / wheel_rate - before_mm  # as seen at the wheel
    change = preload_for_sag(before_mm, target_mm, 1.5, motion_ratio)
    after_mm = sag_under_load_mm(load, wheel_rate, preload_mm + change.preload_change_mm / motion_ratio)
    assert after_mm == pytest.approx(target_mm, abs=1e-9)
    assert change.turns == pytest.approx(change.preload_change_mm / 1.5)


def test_preload_above_the_load_leaves_no_sag() -> None:
    assert sag_under_load_mm(250, 19, 15) == 0


@pytest.mark.parametrize(
    ("figures", "sentence"),
    [
        ((math.nan, 30, 1), "sag is missing"),
        ((35, 30, 0), "one turn"),
        ((35, 30, 1, 0), "motion ratio"),
    ],
)
def test_impossible_preload_is_refused(figures: tuple[float, ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        preload_for_sag(*figures)
