"""Form of a change to the bike."""

from jobs.models import BikeChange
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin


class BikeChangeForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    GROUPS = (("", ("kind", "description", "at")),)
    RECORDED = ("at",)

    class Meta(RecordForm.Meta):
        model = BikeChange
        fields = ["kind", "description", "at"]
