"""Figures that may be one number or an array of them."""

import math
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

THIN_SPACE = "\N{NARROW NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
NO_VALUE = "–"
MIN_GROUPED = 10_000
_EXACT = Context(prec=400, rounding=ROUND_HALF_UP)  # as many digits as the largest float has
# One number or an array; what goes in as the one comes out as the same.
FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])


def match_input_type(given: FloatOrArray, result: Any) -> FloatOrArray:
    """The result as a plain float where a plain number was given, as an array otherwise."""
    form: Any = float(result) if np.ndim(given) == 0 else np.asarray(result, dtype=np.float64)
    return form


def require_finite(what: str, value: float) -> None:
    """Refuse a figure that is missing or endless.

    Raises
    ------
    ValueError
        The value is NaN or infinite.
    """
    if not math.isfinite(value):
        raise ValueError(f"The {what} is missing or is not a number.")


def require_positive(what: str, value: float, unit_label: str = "") -> None:
    """Refuse a figure that is missing, zero or negative.

    Raises
    ------
    ValueError
        The value is not a number above zero.
    """
    require_finite(what, value)
    if value <= 0:
        unit_text = f" {unit_label}" if unit_label else ""
        raise ValueError(f"The {what} must be above zero; {value:g}{unit_text} was given.")


def format_number(value: float, places: int = 0, *, signed: bool = False) -> str:
    """A number as people read it on page and paper, '–' where there is none.

    A thin space parts the thousands from five digits on, so that no mark of thousands can be taken for
    one of decimals, and a minus is a minus. ``signed`` writes a plus as well; zero has no sign. Halves of
    the number as a person would write it are rounded away from zero: 0.125 to 0.13, 1.005 to 1.01.

    ``static/js/numbers.js`` writes the same on the page; both are held to
    ``tests/shared_cases/numbers.json``.

    References
    ----------
    .. [1] BIPM, The International System of Units (SI Brochure), 9th ed., 5.4.4.
    """
    if not math.isfinite(value):
        return NO_VALUE
    rounded = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-places), context=_EXACT)
    size = rounded.copy_abs()
    text = f"{size:,f}".replace(",", THIN_SPACE if size >= MIN_GROUPED else "")
    sign = "" if not rounded else MINUS if rounded < 0 else "+" if signed else ""
    return f"{sign}{text}"
