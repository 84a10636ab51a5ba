"""Measured quantities of a record as form fields in the shop's units."""

from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.text import capfirst

from workshop.models import ShopProfile
from workshop.records.fields import QuantityField
from workshop.records.form import limits
from workshop.units.display import Plausible, convert, decimals, format_plain, label, storage_unit
from workshop.units.shop_units import shop_unit

# Units that people read off their instruments, the likeliest first.
ASKED_UNITS = {
    "pressure": ("hpa", "kpa", "inhg", "psi", "mmhg"),
    "tyre_pressure": ("kpa", "bar", "psi"),
    "temperature": ("c", "f"),
}


class LimitedQuantityField(QuantityField):
    """A quantity whose limits are shown in the unit it was entered in."""

    def __init__(self, *, low: float, high: float, quantity: str = "", **kwargs: Any) -> None:
        self.quantity, self.low, self.high = quantity, low, high
        super().__init__(**kwargs)

    @property
    def plausible(self) -> Plausible:
        return Plausible(self.in_unit(self.low), self.in_unit(self.high), self.thousandths)

    def run_validators(self, value: Any) -> None:
        if value is not None and not self.low <= value <= self.high:
            low, high = (
                format_plain(round(float(convert(end, self.storage_unit, self.unit)), 1))
                for end in (self.low, self.high)
            )
            limits_sentence = f"Enter a value from {low} to {high} {label(self.unit)}."
            raise ValidationError(f"{limits_sentence} {self.ask_for_unit(float(value))}".strip())
        super().run_validators(value)

    def ask_for_unit(self, value: float) -> str:
        """Ask whether a number that is out of the limits was meant in another unit."""
        typed = float(convert(value, self.storage_unit, self.unit))
        for unit in ASKED_UNITS.get(self.quantity, ()):
            if unit != self.unit and self.low <= convert(typed, unit, self.storage_unit) <= self.high:
                number = f"{format_plain(round(typed, 3))} {label(unit)}"
                return f"If {number} is meant, type the unit with it: {number}."
        return ""


def quantity_field(field: "models.FloatField[Any, Any]", quantity: str) -> LimitedQuantityField:
    """Return the form field of a model's quantity, with the limits that the model sets."""
    low, high = map(float, limits(field))
    return LimitedQuantityField(
        quantity=quantity,
        storage_unit=storage_unit(quantity),
        low=low,
        high=high,
        label=capfirst(field.verbose_name),
        required=not field.blank,
    )


class InShopUnits(forms.BaseForm):
    """A form whose QUANTITIES (field name to quantity) are entered in the shop's units."""

    QUANTITIES: ClassVar[dict[str, str]] = {}

    def use_units(self, shop: ShopProfile) -> None:
        for name, quantity in self.QUANTITIES.items():
            model_field = self._meta.model._meta.get_field(name)  # type: ignore[attr-defined]  # every user is a ModelForm
            field = quantity_field(model_field, quantity)
            unit = shop_unit(shop, quantity)
            field.set_unit(unit)
            field.thousandths = decimals(quantity, unit) > 0
            self.fields[name] = field


class LinesField(forms.CharField):
    """Several short texts, one a line."""

    def __init__(self, *, max_line_length: int, max_lines: int = 20, rows: int = 4, **kwargs: Any) -> None:
        super().__init__(widget=forms.Textarea(attrs={"rows": rows}), **kwargs)
        self.max_line_length, self.max_lines = max_line_length, max_lines

    def clean(self, value: Any) -> list[str]:
        lines = [" ".join(line.split()) for line in super().clean(value).splitlines()]
        lines = [line for line in lines if line]
        if len(lines) > self.max_lines:
            raise ValidationError(f"Enter at most {self.max_lines} lines. You entered {len(lines)}.")
        too_long = next((line for line in lines if len(line) > self.max_line_length), None)
        if too_long:
            raise ValidationError(
                f"Shorten this line to {self.max_line_length} characters: “{too_long[:40]}…”"
            )
        return lines


class ManyFilesInput(forms.FileInput):
    allow_multiple_selected = True
