"""Gear ratios as people type them."""

import pytest
from django.core.exceptions import ValidationError

from workshop.engines.gear_ratios import GearRatiosField


@pytest.mark.parametrize(
    "typed",
    [
        "2,6 1,9 1,5",
        "2.6 1.9 1.5",
        "2,6; 1,9; 1,5",
        "2.6, 1.9, 1.5",
        "2,6, 1,9, 1,5",
        "2.6,1.9,1.5",
        "2.6;1.9;1.5",
        "2,6\n1,9\n1,5\n",
        " 2,6 /  1.9 / 1,5 ",
    ],
)
def test_ratios_are_told_apart(typed: str) -> None:
    assert GearRatiosField().clean(typed) == [2.6, 1.9, 1.5]


def test_nothing_is_no_ratio() -> None:
    assert GearRatiosField(required=False).clean("  ") == []


def test_one_ratio_with_a_decimal_comma() -> None:
    assert GearRatiosField().clean("2,6") == [2.6]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("2,6,1,9,1,5", "put a blank or a semicolon between them"),
        ("2,6 1,9 abc", "“abc” is not a number"),
        ("2,6 19", "19 is no gear ratio"),
        ("2,6 1,9 1,9", "gear 3 (1.9) is not below gear 2 (1.9)"),
        ("1,5 2,6", "Ratios fall from first to top gear"),
        ("0,1", "0.1 is no gear ratio"),
    ],
)
def test_what_can_not_be_is_said(typed: str, said: str) -> None:
    with pytest.raises(ValidationError) as refusal:
        GearRatiosField().clean(typed)
    assert said in refusal.value.messages[0]


def test_ratios_are_shown_as_they_can_be_typed() -> None:
    field = GearRatiosField()
    assert field.clean(field.prepare_value([2.615, 1.857, 1.0])) == [2.615, 1.857, 1.0]
