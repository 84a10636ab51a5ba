"""Form of a check on the shop's lists."""

from typing import Any

from jobs.models import CheckItem
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm


class CheckItemForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = CheckItem
        fields = ["list", "text", "caution", "order", "retired"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["caution"].help_text = "Stands below the check: what can happen, in one sentence."
        self.fields["order"].help_text = "The lowest stands first in its list."
        self.fields["retired"].help_text = "Ticks on past jobs stay; other jobs no longer ask for it."
