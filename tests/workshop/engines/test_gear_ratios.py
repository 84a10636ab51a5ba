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
def test_ratios_are_split_at_any_separator(typed: str) -> None:
    assert GearRatiosField().clean(typed) == [2.6, 1.9, 1.5]


def test_empty_text_gives_no_ratios() -> None:
    assert GearRatiosField(required=False).clean("  ") == []


def test_single_ratio_may_have_decimal_comma() -> None:
    assert GearRatiosField().clean("2,6") == [2.6]


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("2,6,1,9,1,5", "Separate them with spaces or semicolons"),
        ("2,6 1,9 abc", "“abc” is not a number"),
        ("2,6 19", "19 is not a plausible gear ratio"),
        ("2,6 1,9 1,9", "gear 3 (1.9) is not below gear 2 (1.9)"),
        ("1,5 2,6", "Each gear ratio must be lower than the one before"),
        ("0,1", "0.1 is not a plausible gear ratio"),
    ],
)
def test_invalid_ratios_are_refused_with_a_reason(typed: str, message: str) -> None:
    with pytest.raises(ValidationError) as refusal:
        GearRatiosField().clean(typed)
    assert message in refusal.value.messages[0]


def test_shown_ratios_can_be_submitted_again() -> None:
    field = GearRatiosField()
    assert field.clean(field.prepare_value([2.615, 1.857, 1.0])) == [2.615, 1.857, 1.0]
