"""Values as shown and numbers as typed."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.units.numbers import format_number
from workshop.models import ShopProfile
from workshop.units.display import decimals, format_value, label, parse_number, storage_unit

NBSP = "\N{NO-BREAK SPACE}"
# SI Brochure, 9th ed., 5.4.4: thousands are parted by a space, four digits customarily not
THIN = "\N{NARROW NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("value", "quantity", "unit_id", "text"),
    [
        (94.24778, "power", None, f"94.2{NBSP}kW"),
        (94.24778, "power", "hp", f"126.4{NBSP}hp"),
        (94.24778, "power", "ps", f"128.1{NBSP}PS"),
        (100.0, "torque", "lbf_ft", f"73.8{NBSP}lbf·ft"),
        (99.0, "pressure", "inhg", f"29.23{NBSP}inHg"),
        (99.04, "pressure", "mbar", f"990{NBSP}mbar"),
        (25.0, "temperature", "f", f"77.0{NBSP}°F"),
        (0.2, "clearance", "thou", f"7.9{NBSP}thou"),
        (Decimal("0.125"), "clearance", None, f"0.13{NBSP}mm"),
        (0.1, "clearance", "in", f"0.0039{NBSP}in"),
        (2.375, "shim", "mm", f"2.375{NBSP}mm"),
        (12_500.4, "distance", "mi", f"7767{NBSP}mi"),
        (10_456.7, "engine_speed", None, f"10{THIN}457{NBSP}rpm"),
    ],
)
def test_value_is_shown_in_requested_unit(
    value: float | Decimal, quantity: str, unit_id: str | None, text: str
) -> None:
    assert format_value(value, quantity, unit_id) == text


@pytest.mark.parametrize("value", [None, math.nan, Decimal("NaN")])
def test_missing_value_is_shown_as_dash(value: float | Decimal | None) -> None:
    assert format_value(value, "power", "hp") == "–"


def test_value_is_shown_without_unit() -> None:
    assert format_value(5.0, "torque", "nm", with_unit=False) == "5.0"


def test_rounded_zero_has_no_sign() -> None:
    assert format_value(-0.04, "power", with_unit=False) == "0.0"


def test_every_unit_choice_of_the_shop_can_be_shown() -> None:
    for quantity, name in (
        ("power", "power_unit"),
        ("torque", "torque_unit"),
        ("pressure", "pressure_unit"),
        ("temperature", "temperature_unit"),
        ("length", "length_unit"),
        ("clearance", "length_unit"),
        ("shim", "length_unit"),
        ("distance", "distance_unit"),
    ):
        for unit_id, shown in ShopProfile._meta.get_field(name).choices:
            assert label(unit_id) == shown
            assert decimals(quantity, unit_id) >= 0


def test_unknown_quantity_or_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be shown in"):
        format_value(1.0, "power", "mm")
    with pytest.raises(ValueError, match="not a quantity"):
        storage_unit("beauty")
    with pytest.raises(ValueError, match="not a unit"):
        label("cubit")


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("0.15", "0.15"),
        ("0,15", "0.15"),
        (" 1,10 ", "1.10"),
        (",5", "0.5"),
        ("5.", "5"),
        ("-3", "-3"),
        ("−3", "-3"),
        ("+2", "2"),
        ("12 500", "12500"),
        (f"12{NBSP}500,5", "12500.5"),
        ("2,3500", "2.35"),
    ],
)
def test_number_is_parsed_with_comma_or_point(text: str, number: str) -> None:
    assert parse_number(text) == Decimal(number)


@pytest.mark.parametrize("text", ["1.234.5", "1,23.4", "12,34,567", "1.2.3"])
def test_ambiguous_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is ambiguous"):
        parse_number(text)


@pytest.mark.parametrize(
    "text", ["abc", "1e5", "nan", "inf", "1 2", "0x10", "٣", "-", ".", "1/8", "9" * 40, "5 mm"]
)
def test_text_that_is_not_a_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a number"):
        parse_number(text)


@pytest.mark.parametrize("text", ["", "   "])
def test_empty_text_asks_for_a_number(text: str) -> None:
    with pytest.raises(ValueError, match="Enter a number"):
        parse_number(text)


@given(st.decimals(min_value=-99_999, max_value=99_999, places=5))
def test_number_is_parsed_exactly(number: Decimal) -> None:
    assert parse_number(f"{number:f}".replace(".", ",")) == number


def test_printed_number_can_be_typed() -> None:
    assert parse_number(format_number(-24310.5, 1)) == Decimal("-24310.5")
