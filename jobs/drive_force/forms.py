"""Form of the drive force; an empty field takes the value on record."""

from dataclasses import replace

from django import forms
from django.http import QueryDict

from jobs.drive_force.compute import DriveInputs
from workshop.records.fields import FloatNumberField


class DriveForceForm(forms.Form):
    mass_kg = FloatNumberField(
        label="Mass of bike and rider (kg)", required=False, min_value=50, max_value=600
    )
    drag_area_m2 = FloatNumberField(label="Drag area (m²)", required=False, min_value=0, max_value=3)

    def __init__(self, query: QueryDict, *, defaults: DriveInputs) -> None:
        self.defaults = defaults
        is_sent = any(name in query for name in self.base_fields)
        super().__init__(query if is_sent else None, initial=vars(defaults))

    @property
    def inputs(self) -> DriveInputs:
        """The values entered, else those on record."""
        typed = {k: v for k, v in getattr(self, "cleaned_data", {}).items() if v is not None}
        return replace(self.defaults, **typed)
