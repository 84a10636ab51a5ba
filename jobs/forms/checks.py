"""Forms of the shop's check lists, and of changes of the bike that no other record holds."""

from jobs.models import BikeChange, CheckItem
from workshop.forms.groups import Grouped
from workshop.forms.records import RecordForm


class CheckItemForm(Grouped, RecordForm):
    class Meta(RecordForm.Meta):
        model = CheckItem
        fields = ["list", "text", "caution", "order", "retired"]


class BikeChangeForm(Grouped, RecordForm):
    class Meta(RecordForm.Meta):
        model = BikeChange
        fields = ["kind", "description", "at"]
