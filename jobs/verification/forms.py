"""Form of one reading that verifies the dyno."""

from jobs.models import DynoCheck
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin


class DynoCheckForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    RECORDED = ("at",)
    GROUPS = (("", ("method", "subject", "reading", "unit", "true_value", "at", "note")),)

    class Meta(RecordForm.Meta):
        model = DynoCheck
        fields = ["method", "subject", "reading", "unit", "true_value", "at", "note"]
        help_texts = {
            "subject": "The same words each time, for example: shop's own bike in gear 4, peak power.",
            "reading": "As the dyno shows it, a mean if you repeat it.",
            "true_value": "For a dead weight: mass (kg) × 9.80665 × arm (m) in N·m.",
        }
