"""Figures, times and texts as JSON holds them: numbers or None, UTC, no characters that print as nothing."""

import base64
import math
import re
from collections.abc import Iterable
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from typing import Any, overload

import numpy as np
import numpy.typing as npt

UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")


def number(value: Any, places: int | None = None) -> float | None:
    """A float; None where nothing was measured."""
    if value is None or math.isnan(value):
        return None
    return float(value) + 0.0 if places is None else rounded(value, places)


def rounded(value: float, places: int) -> float:
    """Return a rounded figure, zero without a sign."""
    return round(float(value), places) + 0.0


def numbers(values: Iterable[Any] | npt.NDArray[np.float64], places: int) -> list[float | None]:
    return [number(value, places) for value in values]


@overload
def moment(at: datetime) -> str: ...
@overload
def moment(at: datetime | None) -> str | None: ...
def moment(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat(timespec="seconds")


def encoded(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def tidied(value: Any) -> Any:
    """The same with every text freed of control characters, which no page can print."""
    if isinstance(value, str):
        return UNPRINTABLE.sub("", value.replace("\r\n", "\n").replace("\r", "\n"))
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{each.name: tidied(getattr(value, each.name)) for each in fields(value)})
    if isinstance(value, dict):
        return {key: tidied(each) for key, each in value.items()}
    return [tidied(each) for each in value] if isinstance(value, list) else value
