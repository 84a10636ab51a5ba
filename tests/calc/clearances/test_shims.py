"""Shim thicknesses, available sizes and markings."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.clearances.shims import (
    AvailableSizes,
    ShimValve,
    compute_shim_mm,
    nearest_available_mm,
    parse_marking,
    predict_clearance_mm,
)

SIZES = AvailableSizes(1.20, 3.50, 0.05)
FINE = AvailableSizes(1.200, 2.900, 0.025)


def valve(
    fitted: float, measured: float, *, low: float = 0.17, high: float = 0.23, target: float = 0.20
) -> ShimValve:
    return ShimValve("1", fitted, measured, low, high, target)


# One shim


@given(st.floats(1.2, 3.5), st.floats(0.02, 0.5), st.floats(0.05, 0.4))
def test_new_shim_leaves_target_clearance(fitted: float, measured: float, target: float) -> None:
    new = compute_shim_mm(fitted, measured, target)
    assert predict_clearance_mm(fitted, measured, new) == pytest.approx(target, abs=2e-6)


def test_new_shim_is_thinner_when_clearance_is_tight() -> None:
    assert compute_shim_mm(2.40, 0.10, 0.20) == 2.30


def test_new_shim_is_same_for_decimals() -> None:
    assert compute_shim_mm(Decimal("2.64"), Decimal("0.15"), Decimal("0.18")) == 2.61


def test_nearest_size_is_looser_of_two_equally_near() -> None:
    # ideal 2.325, between 2.30 and 2.35: the thinner leaves 0.225 mm
    assert nearest_available_mm(valve(2.40, 0.125), SIZES) == 2.30


def test_nearest_size_stays_in_range() -> None:
    # target at the upper limit: ideal 2.32, the nearer 2.30 would leave 0.25 mm
    assert nearest_available_mm(valve(2.40, 0.15, target=0.23), SIZES) == 2.35


def test_nearest_size_is_none_when_no_size_is_in_range() -> None:
    assert nearest_available_mm(valve(2.40, 0.125, low=0.19, high=0.21), SIZES) is None
    assert nearest_available_mm(valve(1.20, 0.10), SIZES) is None  # thinner than the thinnest


def test_nearest_size_may_be_thinnest_or_thickest() -> None:
    assert nearest_available_mm(valve(1.25, 0.15), SIZES) == 1.20
    assert nearest_available_mm(valve(3.45, 0.25), SIZES) == 3.50


# Markings and sizes


@pytest.mark.parametrize(
    ("text", "thickness_mm"),
    [("155", 1.55), ("1.55", 1.55), ("1,55", 1.55), (" 1.550 mm", 1.55), ("1775", 1.775), ("262", 2.62)],
)
def test_marking_is_parsed(text: str, thickness_mm: float) -> None:
    assert parse_marking(text).could_be_mm == (thickness_mm,)


@pytest.mark.parametrize("text", ["", "ab", "15", "1.", "-155", "1.5.5", "17777", "²55", "155/160"])
def test_marking_is_refused_when_it_is_none(text: str) -> None:
    with pytest.raises(ValueError, match="not a shim marking"):
        parse_marking(text)


@pytest.mark.parametrize("text", ["0.05", "015", "95.0"])
def test_marking_is_refused_when_no_shim_is_so_thick(text: str) -> None:
    with pytest.raises(ValueError, match="not a plausible"):
        parse_marking(text)


@pytest.mark.parametrize("text", ["177", "178"])
def test_marking_is_warned_about_when_third_decimal_may_be_left_off(text: str) -> None:
    marking = parse_marking(text, FINE)
    assert marking.could_be_mm == (1.775, float(text) / 100)
    assert marking.warning is not None and "Measure this shim with a micrometer" in marking.warning


@pytest.mark.parametrize("text", ["170", "175", "1.775"])
def test_marking_is_certain_when_size_is_available(text: str) -> None:
    assert parse_marking(text, FINE).warning is None


def test_marking_is_warned_about_when_size_is_not_on_sale() -> None:
    marking = parse_marking("262", SIZES)
    assert marking.could_be_mm == (2.62,)
    assert marking.warning is not None and "not an available size" in marking.warning


def test_sizes_are_listed_exactly() -> None:
    assert len(FINE.sizes_nm) == 69  # Honda SH300i manual p. 4-10
    assert [size / 1_000_000 for size in FINE.sizes_nm[:3]] == [1.2, 1.225, 1.25]
    assert FINE.sizes_nm[-1] == 2_900_000
    assert 1.775 in FINE and 1.77 not in FINE


@pytest.mark.parametrize("ends", [(1.2, 2.9, 0), (2.9, 1.2, 0.05), (0, 1.2, 0.05)])
def test_sizes_are_refused_when_impossible(ends: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="above zero"):
        AvailableSizes(*ends)


def test_valve_is_refused_when_no_shim_is_so_thick() -> None:
    with pytest.raises(ValueError, match="not a plausible"):
        valve(240, 0.2)
