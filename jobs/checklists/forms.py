"""Form of a check on the shop's lists."""

from jobs.models import CheckItem
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm


class CheckItemForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = CheckItem
        fields = ["list", "text", "caution", "order", "retired"]
        help_texts = {
            "caution": "Stands below the check: what can happen, in one sentence.",
            "order": "The lowest stands first in its list.",
            "retired": "Ticks on past jobs stay; other jobs no longer ask for it.",
        }
