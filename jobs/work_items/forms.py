"""Form of a work item."""

from typing import Any

from django import forms

from jobs.calc.units.numbers import format_number
from jobs.models import WorkItem
from jobs.work_items.totals import max_authorised, total_with
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm


class WorkItemForm(FieldGroupsMixin, RecordForm):
    """Agreed work; if it takes the job over the authorised amount, the customer has to be asked."""

    asked = forms.BooleanField(label="The customer was asked and agrees", required=False)
    question = ""

    class Meta(RecordForm.Meta):
        model = WorkItem
        fields = ["description", "price", "done"]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        over = total_with(self.instance, self.cleaned_data.get("price"))
        if over is not None and over.amount > max_authorised():
            self.add_error(
                "price",
                f"This makes {format_number(over.amount, 2)}, and no more than "
                f"{format_number(max_authorised(), 2)} can be authorised for a job. "
                "Look whether the prices are right, or book the rest as a job of its own.",
            )
        elif over is not None and over.over is not None:
            more = format_number(over.over, 2)
            self.question = (
                f"This makes {format_number(over.amount, 2)}, which is {more} more than authorised."
            )
            if not self.cleaned_data.get("asked"):
                self.add_error(
                    "price", f"{self.question} Ask the customer, tick that it is agreed and save again."
                )
        return cleaned
