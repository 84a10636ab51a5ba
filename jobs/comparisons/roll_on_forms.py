"""Form of a roll-on; an empty field takes the value on record."""

from typing import Any

from django import forms
from django.http import QueryDict

from jobs.comparisons.roll_on import RollOnInputs
from jobs.job.fields import LimitedQuantityField
from workshop.models import ShopProfile
from workshop.records.fields import FloatNumberField, WholeNumberField
from workshop.units.shop_units import shop_unit


class RollOnForm(forms.Form):
    drive_gear = WholeNumberField(label="Gear", required=False, min_value=1, max_value=8)
    from_kmh = LimitedQuantityField(storage_unit="kmh", low=0, high=350, label="From", required=False)
    to_kmh = LimitedQuantityField(storage_unit="kmh", low=1, high=400, label="To", required=False)
    mass_kg = FloatNumberField(
        label="Mass of bike and rider (kg)", required=False, min_value=50, max_value=600
    )
    drag_area_m2 = FloatNumberField(label="Drag area (m²)", required=False, min_value=0, max_value=3)
    rotating_pct = FloatNumberField(
        label="Rotating masses (% of the mass)", required=False, min_value=0, max_value=60
    )
    wheelbase_mm = FloatNumberField(label="Wheelbase (mm)", required=False, min_value=900, max_value=2200)
    mass_ahead_mm = FloatNumberField(
        label="Centre of mass ahead of the rear axle (mm)", required=False, min_value=100, max_value=2000
    )
    mass_height_mm = FloatNumberField(
        label="Height of the centre of mass (mm)", required=False, min_value=200, max_value=1500
    )
    friction = FloatNumberField(
        label="Friction of the rear tyre", required=False, min_value=0.1, max_value=2.5
    )

    def __init__(self, query: QueryDict, *, defaults: RollOnInputs, shop: ShopProfile) -> None:
        self.defaults = defaults
        is_sent = any(name in query for name in self.base_fields)
        super().__init__(query if is_sent else None, initial=self.initial_values(defaults))
        unit = shop_unit(shop, "speed")
        for name in ("from_kmh", "to_kmh"):
            self.fields[name].set_unit(unit)  # type: ignore[attr-defined]  # both are quantities

    @staticmethod
    def initial_values(inputs: RollOnInputs) -> dict[str, Any]:
        values = {**vars(inputs), "drive_gear": inputs.gear}
        return {name: value for name, value in values.items() if value is not None}

    def show(self, inputs: RollOnInputs) -> None:
        """Show the values used for the fields left empty."""
        self.initial = self.initial_values(inputs)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        start, end = cleaned.get("from_kmh"), cleaned.get("to_kmh")
        if start is not None and end is not None and not start < end:
            self.add_error("to_kmh", "The end speed must be higher than the start speed.")
        base, ahead = cleaned.get("wheelbase_mm"), cleaned.get("mass_ahead_mm")
        if base is not None and ahead is not None and not ahead < base:
            self.add_error("mass_ahead_mm", "The centre of mass must be between the wheels.")
        return cleaned

    @property
    def inputs(self) -> RollOnInputs:
        """The values entered, else those on record."""
        typed = {k: v for k, v in getattr(self, "cleaned_data", {}).items() if v is not None}
        if "drive_gear" in typed:
            typed["gear"] = typed.pop("drive_gear")
        return RollOnInputs(**{**vars(self.defaults), **typed})
