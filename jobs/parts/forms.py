"""The form of a part fitted."""

from typing import Any

from django.utils import timezone

from jobs.models import Part
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin

PART_GROUPS: Groups = (
    ("The part", ("name", "maker", "part_number", "serial", "quantity", "replaces", "fitted_at")),
    (
        "What it means for the bike",
        (
            "race_only",
            "changes_gearing",
            "changes_exhaust",
            "changes_intake",
            "changes_brakes",
            "changes_suspension",
        ),
    ),
    ("", ("note",)),
)


class PartForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    GROUPS = PART_GROUPS
    RECORDED = ("fitted_at",)

    class Meta(RecordForm.Meta):
        model = Part
        fields = field_names(PART_GROUPS)
        labels = {"replaces": "Fitted in place of"}
        help_texts = {
            "fitted_at": "Leave empty while the part still lies on the shelf.",
            "quantity": "More than nothing.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance._state.adding:
            self.initial["fitted_at"] = timezone.now()
