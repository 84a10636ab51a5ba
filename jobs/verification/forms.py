"""Form of one reading that verifies the dyno."""

from typing import Any

from jobs.models import DynoCheck
from workshop.instruments.forms import InstrumentChoiceField, MeasuredWithMixin
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin

FIELDS = (
    "method",
    "subject",
    "reading",
    "unit",
    "true_value",
    "true_value_error",
    "instrument",
    "at",
    "note",
)


class DynoCheckForm(MeasuredWithMixin, QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    RECORDED = ("at",)
    GROUPS = (("", FIELDS),)

    instrument = InstrumentChoiceField(
        label="Instrument for the true value",
        help_text="The weights or scales that the dyno is compared with.",
    )

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if self.cleaned_data.get("true_value_error") is not None and not self.cleaned_data.get("true_value"):
            self.add_error("true_value", "Enter the true value that this limit belongs to.")
        return cleaned

    class Meta(RecordForm.Meta):
        model = DynoCheck
        fields = FIELDS
        help_texts = {
            "subject": "Use the same words each time, for example: shop's own bike in gear 4, peak power.",
            "reading": "As shown by the dyno. If you repeat the reading, enter the mean.",
            "true_value": "For a dead weight: mass (kg) × 9.80665 × arm (m) in N·m.",
            "true_value_error": (
                "In the same unit. If entered, this reading is used for the uncertainty of power."
            ),
        }
