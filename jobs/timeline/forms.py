"""Form of a change to the bike."""

from jobs.models import BikeChange
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm


class BikeChangeForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = BikeChange
        fields = ["kind", "description", "at"]
