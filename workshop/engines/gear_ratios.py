"""Gear ratios typed in one line."""

import re
from itertools import pairwise
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from workshop.units.display import Plausible, format_plain, format_typed, parse_number

EXAMPLE = "2.6 1.9 1.5"
MIN_RATIO, MAX_RATIO = 0.2, 10.0
PLAUSIBLE = Plausible(MIN_RATIO, MAX_RATIO)


def split_ratios(text: str) -> list[str]:
    """Split a line into ratios.

    Semicolons, slashes and line ends separate ratios; without any, spaces do, and a comma at the end of
    a word is ignored; commas do if the ratios have decimal points.

    Raises
    ------
    ValueError
        A comma may be a decimal comma or a separator.
    """
    if re.search(r"[;\n/]", text):
        return [part.strip() for part in re.split(r"[;\n/]", text) if part.strip()]
    parts: list[str] = []
    for word in text.split():
        word = word.strip(",")
        if word.count(",") > 1 and "." not in word:
            raise ValueError(
                f"We cannot tell the ratios in “{word}” apart. Separate them with spaces or semicolons, for "
                f"example {EXAMPLE}."
            )
        parts += [part for part in word.split(",") if part] if "." in word else [word]
    return [part for part in parts if part]


def parse_ratios(text: str) -> list[float]:
    """Parse the ratios from first to top gear.

    Raises
    ------
    ValueError
        Ambiguous separators, not a number, outside 0.2 to 10, or not falling from gear to gear.
    """
    ratios = [float(parse_number(part, PLAUSIBLE)) for part in split_ratios(text)]
    for ratio in ratios:
        if not MIN_RATIO < ratio < MAX_RATIO:
            raise ValueError(
                f"{format_plain(ratio)} is not a plausible gear ratio. Enter a value from {MIN_RATIO} to "
                f"{MAX_RATIO:g}."
            )
    for gear, (before, ratio) in enumerate(pairwise(ratios), start=2):
        if ratio >= before:
            raise ValueError(
                f"Each gear ratio must be lower than the one before: gear {gear} ({format_plain(ratio)}) "
                f"is not below gear {gear - 1} ({format_plain(before)})."
            )
    return ratios


class GearRatiosField(forms.CharField):
    """A list of ratios, shown and typed as one line."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", f"First to top gear, separated by spaces: {EXAMPLE}.")
        super().__init__(**{"max_length": 200, **kwargs})

    def to_python(self, value: Any) -> Any:
        if isinstance(value, list):
            return value
        try:
            return parse_ratios(super().to_python(value) or "")
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem

    def validate(self, value: Any) -> None:
        if self.required and not value:
            raise ValidationError(self.error_messages["required"], code="required")

    def run_validators(self, value: Any) -> None:
        """Skip the validators of the text, which do not fit a list."""

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, list):
            return value
        return " ".join(format_typed(ratio, PLAUSIBLE) for ratio in value)
