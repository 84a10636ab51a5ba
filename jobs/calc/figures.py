"""Figures that may be one number or an array of them."""

import math
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

# One number or an array; what goes in as the one comes out as the same.
Figures = TypeVar("Figures", float, NDArray[np.float64])


def same_form(given: Figures, result: Any) -> Figures:
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
