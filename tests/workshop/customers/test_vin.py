"""VIN: form and check digit (49 CFR 565.15), always a hint."""

import pytest

from workshop.customers.vin import LETTER_VALUES, read_vin

PUBLISHED = "1J9RP1A36A1644345"  # NHTSA, outline for new manufacturers


def test_letter_values_match_the_regulation() -> None:
    table = "A1 B2 C3 D4 E5 F6 G7 H8 J1 K2 L3 M4 N5 P7 R9 S2 T3 U4 V5 W6 X7 Y8 Z9"  # table III
    assert {pair[0]: int(pair[1]) for pair in table.split()} == LETTER_VALUES


@pytest.mark.parametrize("text", [PUBLISHED.lower(), "1J9 RP1A36 A1644345", "1J9-RP1A36-A1644345"])
def test_spaces_dashes_and_case_are_ignored(text: str) -> None:
    vin = read_vin(text)
    assert vin.text == PUBLISHED
    assert vin.check_digit_matches
    assert vin.hint is None


def test_check_digit_of_all_ones_follows_from_the_weights() -> None:
    vin = read_vin("1" * 17)  # 8+7+6+5+4+3+2+10+0+9+8+7+6+5+4+3+2 = 89, remainder 1
    assert (vin.weighted_sum, vin.check_digit, vin.check_digit_matches) == (89, "1", True)


def test_swapped_digits_give_a_hint() -> None:
    vin = read_vin("1J9RP1A36A1644354")
    assert vin.well_formed and vin.check_digit_matches is False
    assert vin.hint is not None and "should be 7" in vin.hint and "leave it" in vin.hint


@pytest.mark.parametrize(
    ("text", "fault", "hint"),
    [
        ("ABC123", "length", "6 characters, not 17"),
        ("", "length", "0 characters"),
        ("1J9RP1O36A1644345", "letter O", "never contains O"),
        ("1J9RP1/36A1644345", "character /", "never contains /"),
        ("1J9RP1Ä36A1644345", "character Ä", "never contains Ä"),
    ],
)
def test_malformed_number_gives_its_fault(text: str, fault: str, hint: str) -> None:
    vin = read_vin(text)
    assert vin.fault == fault
    assert not vin.well_formed
    assert vin.hint is not None and hint in vin.hint
    assert (vin.weighted_sum, vin.check_digit, vin.check_digit_matches) == (None, None, None)
