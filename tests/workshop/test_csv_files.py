"""CSV cells: what a spreadsheet would run is marked as text, numbers stay numbers.

The signs are those of OWASP, "CSV Injection", with their full-width forms (Unicode, Halfwidth and Fullwidth
Forms, U+FF0B, U+FF0D, U+FF1D, U+FF20).
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workshop.csv_files import escape_formula, unescape_formula


@pytest.mark.parametrize("number", ["-5.5", "-0.02", "-0,5", "-.5", "-3", "-1e-05", "-1.5E+3", "0.15", "12"])
def test_number_stays_a_number(number: str) -> None:
    assert escape_formula(number) == number


@pytest.mark.parametrize("number", [Decimal("-0.5"), -3.25, -7])
def test_number_of_the_program_stays_as_it_is(number: object) -> None:
    assert escape_formula(number) is number


@pytest.mark.parametrize(
    ("text", "marked"),
    [
        ("=1+1", "'=1+1"),
        ("+44 5550101", "'+44 5550101"),
        ("-5 °C", "'-5 °C"),
        ("-5.5+A1", "'-5.5+A1"),
        ("-A1", "'-A1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\uff1d1+1", "'\uff1d1+1"),
        ("\uff0b1", "'\uff0b1"),
        ("\uff0d1", "'\uff0d1"),
        ("\uff20A1", "'\uff20A1"),
        ("low;=1+1", "low;'=1+1"),
        ("low;-3", "low;-3"),
        ("low\t=1+1;@A1", "low\t'=1+1;'@A1"),
        ("low\r\n=1+1", "low\r\n'=1+1"),
        ("\t=1+1", "\t'=1+1"),
        ("'=1+1", "''=1+1"),
        ("'-5.5", "''-5.5"),
        ("front - rear", "front - rear"),
        ("a=b", "a=b"),
    ],
)
def test_only_what_a_spreadsheet_would_run_is_marked(text: str, marked: str) -> None:
    assert escape_formula(text) == marked


@given(st.text(st.sampled_from("'=+-@;\t\r\n1.,eA \uff1d\uff0d")))
def test_marked_cell_is_restored(text: str) -> None:
    assert unescape_formula(escape_formula(text)) == text
