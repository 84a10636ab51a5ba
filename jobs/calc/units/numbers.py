"""Numbers as text, and arguments that may be one number or an array."""

import math
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from jobs.calc.wording import gettext, localise

THIN_SPACE = "\N{NARROW NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
NO_VALUE = "–"
MIN_GROUPED = 10_000
_EXACT = Context(prec=400, rounding=ROUND_HALF_UP)  # as many digits as the largest float has
# A function returns an array if it is given one, else a float.
FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])


def match_input_type(given: FloatOrArray, result: Any) -> FloatOrArray:
    """Return a result as a float if the argument was a number, else as an array.

    Parameters
    ----------
    given : float or array
        The argument of the calling function.
    result : float or array
        Computed from it with numpy.

    Returns
    -------
    float or array
        Of the type of ``given`` and the shape of ``result``.
    """
    form: Any = float(result) if np.ndim(given) == 0 else np.asarray(result, dtype=np.float64)
    return form


def require_finite(what: str, value: float) -> None:
    """Refuse a value that is missing or infinite.

    Parameters
    ----------
    what : str
        Names the value in the message.
    value : float
        In any unit.

    Raises
    ------
    ValueError
        The value is NaN or infinite.
    """
    if not math.isfinite(value):
        raise ValueError(f"The {what} is missing or is not a number.")


def require_positive(what: str, value: float, unit_label: str = "") -> None:
    """Refuse a value that is missing, zero or negative.

    Parameters
    ----------
    what : str
        Names the value in the message.
    value : float
        In any unit.
    unit_label : str, optional
        Its unit in the message.

    Raises
    ------
    ValueError
        The value is not a number above zero.
    """
    require_finite(what, value)
    if value <= 0:
        unit_text = f" {unit_label}" if unit_label else ""
        raise ValueError(f"The {what} must be above zero; {value:g}{unit_text} was given.")


def format_number(
    value: float | Decimal, places: int = 0, *, signed: bool = False, trim: bool = False
) -> str:
    """Format a number for screen and paper.

    Parameters
    ----------
    value : float or Decimal
        In any unit.
    places : int
        Number of decimals.
    signed : bool
        Whether a positive number has a plus; zero has no sign.
    trim : bool
        Whether trailing zeros are left out.

    Returns
    -------
    str
        '–' for NaN and infinity.

    Notes
    -----
    Thin spaces separate thousands from five digits up, so that no thousands mark can be taken for a decimal
    mark [1]_. The decimal mark is that of the language (`jobs.calc.wording`). Halves of the shortest decimal
    form are rounded away from zero, as a person does: 0.125 to 0.13, 1.005 to 1.01.
    ``static/js/numbers.js`` formats alike; ``tests/shared_cases/numbers.json`` checks both.

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
    if trim and places > 0:
        text = text.rstrip("0").rstrip(".")
    return localise(f"{sign}{text}")


def format_range(low: str, high: str) -> str:
    """Format a range from its ends as text.

    Parameters
    ----------
    low, high : str

    Returns
    -------
    str
        '4000 to 9000'.
    """
    return gettext("%(low)s to %(high)s") % {"low": low, "high": high}


def format_digits(value: float, digits: int = 6) -> str:
    """Format a value of a file with its own digits.

    Parameters
    ----------
    value : float
        Finite, in any unit.
    digits : int
        Most significant digits. A value with more before its point becomes a power of ten.

    Returns
    -------
    str
        Without trailing zeros: '12 345.7', '0.5', '1.5e+09'.
    """
    text = f"{value:.{digits}g}"
    if "e" in text:
        return localise(text.replace("-", MINUS))
    return format_number(float(text), len(text.partition(".")[2]))
