"""Values, times and texts as JSON holds them: numbers or None, UTC, no control characters."""

import math
import re
from collections.abc import Iterable
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from typing import Any, overload

import numpy as np
import numpy.typing as npt

Json = dict[str, Any]
Curve = list[float | None]

UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")


def number(value: Any, places: int | None = None) -> float | None:
    """Return a float; None if nothing was measured."""
    if value is None or math.isnan(value):
        return None
    return float(value) + 0.0 if places is None else rounded(value, places)


def rounded(value: float, places: int) -> float:
    """Return a rounded value, zero without a sign."""
    return round(float(value), places) + 0.0


def numbers(values: Iterable[Any] | npt.NDArray[np.float64], places: int) -> list[float | None]:
    return [number(value, places) for value in values]


@overload
def moment(at: datetime) -> str: ...
@overload
def moment(at: datetime | None) -> str | None: ...
def moment(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat(timespec="seconds")


def strip_control_characters(value: Any) -> Any:
    """Remove the characters that no page can print from every text, however deep it lies."""
    if isinstance(value, str):
        return UNPRINTABLE.sub("", value.replace("\r\n", "\n").replace("\r", "\n"))
    if is_dataclass(value) and not isinstance(value, type):
        return replace(
            value,
            **{field.name: strip_control_characters(getattr(value, field.name)) for field in fields(value)},
        )
    if isinstance(value, dict):
        return {key: strip_control_characters(item) for key, item in value.items()}
    return [strip_control_characters(item) for item in value] if isinstance(value, list) else value
