"""The factor table against Pint, and the spellings of file headers."""

import math

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.units.factors import FACTORS, convert, identify_unit

# Pint's own names bite: its PS is a petasiemens and its mil an angle.
PINT_NAMES = {
    "w": "watt",
    "kw": "kilowatt",
    "hp": "horsepower",
    "ps": "metric_horsepower",
    "nm": "newton * meter",
    "danm": "decanewton * meter",
    "knm": "kilonewton * meter",
    "lbf_ft": "force_pound * foot",
    "kgf_m": "force_kilogram * meter",
    "pa": "pascal",
    "hpa": "hectopascal",
    "mbar": "millibar",
    "kpa": "kilopascal",
    "bar": "bar",
    "atm": "standard_atmosphere",
    "psi": "psi",
    "mmhg": "millimeter_Hg",
    "k": "kelvin",
    "c": "degree_Celsius",
    "f": "degree_Fahrenheit",
    "mm": "millimeter",
    "m": "meter",
    "km": "kilometer",
    "thou": "thou",
    "in": "inch",
    "ft": "foot",
    "mi": "mile",
    "mps": "meter / second",
    "kmh": "kilometer / hour",
    "mph": "mile / hour",
    "kg": "kilogram",
    "lb": "pound",
    "kpag": "kilopascal",  # Pint knows no gauge units; among themselves they convert like the others
    "mbarg": "millibar",
    "barg": "bar",
    "psig": "psi",
    "g_per_s": "gram / second",
    "kg_per_h": "kilogram / hour",
    "kg_per_s": "kilogram / second",
    "lb_per_min": "pound / minute",
    "n_per_mm": "newton / millimeter",
    "kgf_per_mm": "force_kilogram / millimeter",
    "lbf_per_in": "force_pound / inch",
    "rpm": "revolution / minute",
    "krpm": "kilorevolution / minute",
    "rps": "revolution / second",
    "rad_per_s": "radian / second",
    "s": "second",
    "ms": "millisecond",
    "us": "microsecond",
    "min": "minute",
    "h": "hour",
    "v": "volt",
    "mv": "millivolt",
}
PAIRS = [
    (a, b) for a in PINT_NAMES for b in PINT_NAMES if FACTORS[a].quantity == FACTORS[b].quantity and a != b
]


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry()


@pytest.mark.parametrize(("from_unit", "to_unit"), PAIRS)
def test_convert_agrees_with_pint(registry: pint.UnitRegistry, from_unit: str, to_unit: str) -> None:
    theirs = registry.Quantity(37.5, PINT_NAMES[from_unit]).to(PINT_NAMES[to_unit]).magnitude
    # Pint's millimetre of mercury goes by mercury's density and differs in the seventh figure
    bound = 1e-6 if "mmhg" in (from_unit, to_unit) else 1e-12
    assert convert(37.5, from_unit, to_unit) == pytest.approx(theirs, rel=bound)


@given(
    st.sampled_from([*PAIRS, ("kpa", "inhg"), ("pct", "fraction")]),
    st.floats(min_value=-1e6, max_value=1e6),
)
def test_convert_there_and_back_returns_the_value(pair: tuple[str, str], value: float) -> None:
    there = convert(value, *pair)
    assert convert(there, *reversed(pair)) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_inch_of_mercury_is_conventional() -> None:
    assert convert(1, "inhg", "pa") == 3386.389  # NIST SP 811, Appendix B


def test_convert_keeps_exact_definitions_exact() -> None:
    assert convert(1, "in", "mm") == 25.4
    assert convert(1, "mi", "m") == 1609.344
    assert convert(1, "kgf_m", "nm") == 9.80665


def test_convert_keeps_shape_and_nan_of_arrays() -> None:
    celsius = np.array([[0.0, 100.0], [np.nan, -40.0]])
    fahrenheit = convert(celsius, "c", "f")
    np.testing.assert_allclose(fahrenheit, [[32, 212], [np.nan, -40]], atol=1e-9)
    assert celsius[0, 0] == 0  # the given array is left as it was


def test_convert_returns_floats_when_array_is_whole_numbers() -> None:
    np.testing.assert_allclose(convert(np.array([1, 2]), "in", "mm"), [25.4, 50.8])


def test_convert_keeps_nan() -> None:
    assert math.isnan(convert(math.nan, "kw", "hp"))


@pytest.mark.parametrize(
    ("from_unit", "to_unit", "sentence"),
    [
        ("kw", "nm", "one cannot be turned into the other"),
        ("afr", "lambda", "by way of the fuel"),
        ("psig", "kpa", "one cannot be turned into the other"),
        ("furlong", "m", "not a unit"),
    ],
)
def test_convert_refuses_units_that_do_not_convert(from_unit: str, to_unit: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        convert(1.0, from_unit, to_unit)


SPELLED = {
    "kw": ["kW", "[kW]", "KW", "kw"],
    "hp": ["hp", "HP", "bhp", "(hp)", "whp"],
    "ps": ["PS", "cv", "pk", "ch", "Metric HP"],
    "nm": ["Nm", "N·m", "N.m", "N⋅m", "N-m", "N*m", "[N m]", "Newton-meter"],
    "lbf_ft": ["lb-ft", "ft-lb", "ft·lbs", "ft.lbs.", "lbf·ft", "lbf ft", "FT-LBF"],
    "kgf_m": ["kgfm", "kgf·m", "mkp", "kg-m"],
    "kmh": ["km/h", "KPH", "km/hr", "kmh"],
    "mph": ["mph", "MPH", "mi/h"],
    "mps": ["m/s", "m/sec"],
    "c": ["°C", "ºC", "℃", "Â°C", "degC", "deg C", "C", "Celsius"],
    "f": ["°F", "degF", "F"],
    "k": ["K", "Kelvin"],
    "kpa": ["kPa", "kpa abs"],
    "hpa": ["hPa"],
    "mbar": ["mbar", "mb"],
    "bar": ["bar", "bara", "bar(a)"],
    "inhg": ["inHg", "in Hg", "in.Hg"],
    "mmhg": ["mmHg", "mm Hg", "Torr"],
    "psi": ["psi", "PSIA", "psi (abs)"],
    "kpag": ["kPa gauge", "kPa(g)"],
    "barg": ["barg", "bar(g)", "bar gauge", "bar(Ü)"],
    "psig": ["psig", "PSIG", "psi g", "[psi(g)]"],
    "knm": ["kN·m", "kNm", "kN*m"],
    "g_per_s": ["g/s", "g/sec"],
    "kg_per_h": ["kg/h"],
    "rpm": ["rpm", "RPM", "1/min", "U/min", "min-1", "min⁻¹", "tr/min", "r.p.m.", "[1/min]"],
    "krpm": ["krpm", "rpm x1000", "rpm × 1000", "RPM (x1000)", "1000/min"],
    "pct": ["%", "percent", "0-100 %"],
    "fraction": ["0-1", "0..1"],
    "s": ["s", "sec", "Seconds"],
    "ms": ["ms", "msec"],
    "us": ["µs", "μs"],
    "lambda": ["lambda", "λ", "Lambda"],
    "afr": ["AFR", "A/F"],
    "phi": ["phi", "φ"],
    "mm": ["mm"],
    "thou": ["thou", "mils"],
    "one": ["-", "[-]"],
}


@pytest.mark.parametrize(
    ("text", "unit_id"), [(text, unit_id) for unit_id, texts in SPELLED.items() for text in texts]
)
def test_identify_unit_reads_header_spellings(text: str, unit_id: str) -> None:
    assert identify_unit(text) == unit_id


@pytest.mark.parametrize("text", ["", "()", "engine speed", "xyz", "42", "[]", "N/A"])
def test_identify_unit_returns_none_when_text_is_no_unit(text: str) -> None:
    assert identify_unit(text) is None


@pytest.mark.parametrize(
    ("text", "quantity", "unit_id"),
    [
        ("KM", "power", "ps"),
        ("KM", None, "km"),
        ("°", "temperature", "c"),
        ("°", None, "deg"),
        ("psi", "gauge_pressure", "psig"),
        ("psi", "pressure", "psi"),
        ("psia", "gauge_pressure", "psi"),
    ],
)
def test_identify_unit_depends_on_quantity(text: str, quantity: str | None, unit_id: str) -> None:
    assert identify_unit(text, quantity) == unit_id


def test_identify_unit_reads_every_label() -> None:
    assert {unit_id: identify_unit(unit.label) for unit_id, unit in FACTORS.items()} == {
        unit_id: unit_id for unit_id in FACTORS
    }
