"""Sag and its hints."""

import math

import pytest

from jobs.calc.chassis.sag import SAG_GUIDES, compute_sag, sag_hints, static_sag_mm


def test_swapped_laden_readings_give_the_same_sag() -> None:
    assert compute_sag(560, 526, 532, 120) == compute_sag(560, 532, 526, 120)


def test_unknown_travel_gives_no_percentage() -> None:
    assert math.isnan(compute_sag(560, 526, 532).percent_of_travel)


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
        compute_sag(*readings)


def test_bike_taller_on_its_wheels_is_refused() -> None:
    with pytest.raises(ValueError, match="longer than the unloaded"):
        static_sag_mm(560, 565)


def test_hint_follows_the_guide_for_the_use() -> None:
    soft = compute_sag(600, 560, 556, 120)  # 42 mm, 35 %
    assert sag_hints(soft, SAG_GUIDES["road", "rear"]) == []  # 28 to 35 %, ends included
    (hint,) = sag_hints(soft, SAG_GUIDES["track", "rear"])  # 23 to 30 %
    assert "Add preload" in hint
    hard = compute_sag(600, 580, 578, 120)  # 21 mm, 17.5 %
    (hint,) = sag_hints(hard, SAG_GUIDES["track", "front"])
    assert "Reduce preload" in hint


def test_hint_names_a_share_outside_the_range_it_names() -> None:
    (hint,) = sag_hints(
        compute_sag(120, 82, 78, 120), SAG_GUIDES["road", "front"]
    )  # 40 of 120 mm; 28 to 33 %
    assert hint.startswith("33.3 % is more than the usual 28 to 33 %")
    assert sag_hints(compute_sag(1000, 669.8, 669.8, 1000), SAG_GUIDES["road", "front"]) == []


def test_high_stiction_gets_a_hint() -> None:
    (hint,) = sag_hints(compute_sag(600, 570, 555), None)
    assert "15 mm apart" in hint
    assert sag_hints(compute_sag(600, 570, 560), None) == []
