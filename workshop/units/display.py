"""Values as people read and type them: units, rounding for display, numbers.

The factors are those of :mod:`jobs.calc.units.factors`; a record stores a value in the unit that the
field's name says.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from jobs.calc.units.factors import convert, get_unit
from jobs.calc.units.length_format import IN_MM, LengthFormatter
from jobs.calc.units.numbers import NO_VALUE, format_number

# convert is offered here too, so that forms and pages need only one import.
__all__ = [
    "ANYTHING",
    "Plausible",
    "convert",
    "decimals",
    "exact_mm",
    "format_for_input",
    "format_plain",
    "format_typed",
    "format_value",
    "label",
    "length_formatter",
    "parse_number",
    "plausible_length",
    "storage_unit",
]

NOT_MEASURED = NO_VALUE
NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"
MAX_NUMBER_LENGTH = 30
MM_PER_UNIT = {"mm": Decimal(1), "in": Decimal("25.4"), "thou": Decimal("0.0254")}  # exact by definition
INPUT_PLACES = {"in": 6, "thou": 3}  # enough to tell 0.00001 mm apart

# For each quantity: the unit it is stored in, then decimals by unit. They follow the resolution of the
# instrument, not of the conversion.
_DECIMALS: dict[str, tuple[str, dict[str, int]]] = {
    "power": ("kw", {"kw": 1, "hp": 1, "ps": 1}),
    "torque": ("nm", {"nm": 1, "lbf_ft": 1, "kgf_m": 2}),
    "pressure": ("kpa", {"kpa": 1, "hpa": 0, "mbar": 0, "inhg": 2, "mmhg": 0, "psi": 2}),
    "manifold_pressure": ("kpa", {"kpa": 1, "mbar": 0}),
    "gauge_pressure": ("kpag", {"kpag": 0, "barg": 2, "psig": 1}),
    "tyre_pressure": ("kpa", {"kpa": 0, "bar": 2, "psi": 1}),
    "temperature": ("c", {"c": 1, "f": 1, "k": 1}),
    "clearance": ("mm", {"mm": 2, "in": 4, "thou": 1}),
    "shim": ("mm", {"mm": 3, "in": 4, "thou": 1}),
    "length": ("mm", {"mm": 1, "in": 2, "m": 3}),
    "distance": ("km", {"km": 0, "mi": 0}),
    "road_length": ("m", {"m": 1, "ft": 0}),
    "speed": ("kmh", {"kmh": 1, "mph": 1, "mps": 2}),
    "speed_rating": ("kmh", {"kmh": 0, "mph": 0}),
    "mass": ("kg", {"kg": 1, "lb": 0}),
    "mass_flow": ("g_per_s", {"g_per_s": 1}),
    "spring_rate": ("n_per_mm", {"n_per_mm": 2, "kgf_per_mm": 3, "lbf_per_in": 0}),
    "engine_speed": ("rpm", {"rpm": 0, "krpm": 2}),
    "share": ("pct", {"pct": 1}),
    "time": ("s", {"s": 2, "ms": 0}),
    "mixture": ("lambda", {"lambda": 3}),
}

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)", re.ASCII)
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}([ '.,])\d{3}(?:\1\d{3})*(?:(?!\1)[.,](\d*))?", re.ASCII)
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)  # a group of thousands, or three decimals


@dataclass(frozen=True)
class Plausible:
    """What a quantity may be in the unit it is typed in: decides what "12,345" means.

    ``thousandths`` is whether people write it to the third decimal.
    """

    low: float | Decimal | None = None
    high: float | Decimal | None = None
    thousandths: bool = True

    def __contains__(self, number: Decimal) -> bool:
        return (self.low is None or number >= self.low) and (self.high is None or number <= self.high)

    def readings(self, text: str) -> list[Decimal]:
        """Return what a number with one mark and three digits behind it may be."""
        thousands = Decimal(text.replace(",", "").replace(".", ""))
        decimal = [Decimal(text.replace(",", "."))] if self.thousandths else []
        return [number for number in (*decimal, thousands) if number in self]


ANYTHING = Plausible()


def storage_unit(quantity: str) -> str:
    """Return the unit in which records store a quantity.

    Raises
    ------
    ValueError
        The quantity is unknown.
    """
    return _row(quantity)[0]


def label(unit_id: str) -> str:
    """Return a unit as it is printed: 'N·m' for 'nm'.

    Raises
    ------
    ValueError
        The unit is unknown.
    """
    return get_unit(unit_id).label


def decimals(quantity: str, unit_id: str) -> int:
    """Return the number of decimals with which a quantity is shown in a unit.

    Raises
    ------
    ValueError
        The quantity is unknown or never shown in this unit.
    """
    _, by_unit = _row(quantity)
    if unit_id not in by_unit:
        raise ValueError(f"A {quantity.replace('_', ' ')} cannot be shown in {label(unit_id)}.")
    return by_unit[unit_id]


def format_value(
    value: float | Decimal | None, quantity: str, unit_id: str | None = None, *, with_unit: bool = True
) -> str:
    """Write a stored value in a unit, '–' if it was not measured.

    Parameters
    ----------
    value : float or Decimal or None
        Value in its storage unit.
    quantity : str
        Quantity measured.
    unit_id : str, optional
        Unit to show, by default the storage unit.
    with_unit : bool
        Whether the unit follows, after a no-break space.

    Raises
    ------
    ValueError
        The quantity is unknown or never shown in this unit.
    """
    stored_in = storage_unit(quantity)
    shown_in = unit_id or stored_in
    places = decimals(quantity, shown_in)
    if value is None or math.isnan(value):
        return NOT_MEASURED
    text = format_number(convert(float(value), stored_in, shown_in), places)
    return f"{text}{NO_BREAK_SPACE}{label(shown_in)}" if with_unit else text


def format_plain(value: Any) -> str:
    """Write a number without trailing zeros and never with an exponent."""
    text = f"{Decimal(str(value)):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def parse_number(text: str, plausible: Plausible = ANYTHING) -> Decimal:
    """Parse a number typed with a comma or a point, exactly.

    "12,345" is 12 345 or 12.345, whichever is plausible.

    Raises
    ------
    ValueError
        Not a number, or ambiguous.
    """
    plain = " ".join(text.replace("−", "-").replace("’", "'").split())
    if not plain:
        raise ValueError("Enter a number.")
    if _EITHER.fullmatch(plain):
        return _choose_reading(plain, plausible)
    if len(plain) <= MAX_NUMBER_LENGTH and (grouped := _GROUPED.fullmatch(plain)):
        plain = plain.replace(grouped[1], "")
    elif sum(plain.count(mark) for mark in ".,") > 1:
        raise ValueError(
            f"“{text.strip()}” is ambiguous. Enter it without a thousands separator and with one "
            "decimal point or comma."
        )
    if len(plain) > MAX_NUMBER_LENGTH or not _NUMBER.fullmatch(plain):
        raise ValueError(
            f"“{text.strip()[:MAX_NUMBER_LENGTH]}” is not a number. Use digits, and a point or "
            "comma for decimals."
        )
    return Decimal(plain.replace(",", "."))


def _choose_reading(plain: str, plausible: Plausible) -> Decimal:
    readings = plausible.readings(plain)
    if len(readings) == 1:
        return readings[0]
    decimal = plain.replace(",", ".")
    thousands = decimal.replace(".", "")
    raise ValueError(
        f"{plain} can mean {format_number(Decimal(thousands))} or {decimal}. "
        f"Type {thousands}, or {decimal}0 for {decimal}."
    )


def format_typed(value: Any, plausible: Plausible = ANYTHING) -> str:
    """Write a number for a text box, so that it is read again as the same."""
    text = format_plain(value)
    is_ambiguous = _EITHER.fullmatch(text) and plausible.readings(text) != [Decimal(text)]
    return f"{text}0" if is_ambiguous else text


def exact_mm(length: Decimal, unit_id: str) -> Decimal:
    """Convert a length in mm, in or thou to mm, exactly.

    Raises
    ------
    ValueError
        Another unit.
    """
    if unit_id not in MM_PER_UNIT:
        raise ValueError(f"“{unit_id[:MAX_NUMBER_LENGTH]}” is not a length unit here. Use mm, in or thou.")
    return length * MM_PER_UNIT[unit_id]


def plausible_length(unit_id: str, high_mm: float | Decimal | None) -> Plausible:
    """Return what a length up to this one may be in mm, in or thou."""
    per_unit = MM_PER_UNIT.get(unit_id, Decimal(1))
    return Plausible(0, None if high_mm is None else Decimal(high_mm) / per_unit)


def format_for_input(length_mm: Decimal, unit_id: str, high_mm: float | Decimal | None = None) -> str:
    """Write a stored length for a text box: in the unit if that is exact, or else in mm."""
    in_mm = format_typed(length_mm, plausible_length("mm", high_mm))
    if unit_id == "mm":
        return in_mm
    length = round(length_mm / MM_PER_UNIT[unit_id], INPUT_PLACES[unit_id])
    if exact_mm(length, unit_id) == length_mm:
        return format_typed(length, plausible_length(unit_id, high_mm))
    return f"{in_mm} mm"


class _InchFormatter(LengthFormatter):
    unit = label("in")

    def format_number(self, length_mm: float | Decimal) -> str:
        return format_value(length_mm, "shim", "in", with_unit=False)

    def format_change(self, length_mm: float, *, signed: bool = False) -> str:
        return format_number(convert(length_mm, "mm", "in"), decimals("shim", "in") + 1, signed=signed)

    def format_coarse(self, length_mm: float) -> str:
        return format_value(length_mm, "length", "in", with_unit=False)


def length_formatter(unit_id: str) -> LengthFormatter:
    """Return the formatter of lengths for a shop that measures in mm or in inches.

    Raises
    ------
    ValueError
        Another unit.
    """
    known = {"mm": IN_MM, "in": _InchFormatter()}
    if unit_id not in known:
        raise ValueError(f"Clearances are shown in mm or in, not “{unit_id[:MAX_NUMBER_LENGTH]}”.")
    return known[unit_id]


def _row(quantity: str) -> tuple[str, dict[str, int]]:
    if quantity not in _DECIMALS:
        raise ValueError(f"'{quantity}' is not a quantity this program shows.")
    return _DECIMALS[quantity]
