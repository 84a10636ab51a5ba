"""Forms of the stock of shims."""

from decimal import Decimal

from django import forms

from workshop.models import ShimStock
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import NumberField, WholeNumberField
from workshop.records.form import RecordForm


def size_field(label: str, max_mm: int, example: str) -> NumberField:
    return NumberField(
        label=label,
        min_value=Decimal("0.1"),
        max_value=Decimal(max_mm),
        max_digits=9,
        decimal_places=5,
        help_text=f"For example {example}.",
        error_messages={
            "min_value": "This is not a plausible shim size. Enter millimetres.",
            "max_value": f"A shim cannot be larger than {max_mm} mm. Enter millimetres.",
        },
    )


class ShimAddForm(FieldGroupsMixin, forms.Form):
    """Shims to add to the stock."""

    diameter_mm = size_field("Diameter (mm)", 60, "7.48")
    thickness_mm = size_field("Thickness (mm)", 20, "2.35")
    count = WholeNumberField(label="Number", min_value=1, max_value=10_000, initial=1)


class ShimCountForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = ShimStock
        fields = ["count"]
        labels = {"count": "Number in stock"}
