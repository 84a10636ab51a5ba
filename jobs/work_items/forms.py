"""Form of a work item."""

from typing import Any

from jobs.calc.units.numbers import format_number
from jobs.models import WorkItem
from jobs.work_items.authorisation_forms import AuthorisationMixin
from jobs.work_items.totals import max_authorised, total_with
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm


class WorkItemForm(AuthorisationMixin, FieldGroupsMixin, RecordForm):
    """Agreed work; if it takes the job over the customer's limit, the customer has to be asked."""

    GROUPS = (("", ("description", "price", "done")),)

    class Meta(RecordForm.Meta):
        model = WorkItem
        fields = ["description", "price", "done"]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        over = total_with(self.instance, self.cleaned_data.get("price"))
        if over is not None and over.amount > max_authorised():
            self.add_error(
                "price",
                f"This adds up to {format_number(over.amount, 2)}, but no more than "
                f"{format_number(max_authorised(), 2)} can be authorised for a job. Check the "
                "prices, or book the rest as a separate job.",
            )
        elif over is not None and over.over is not None:
            more = format_number(over.over, 2)
            question = f"This adds up to {format_number(over.amount, 2)}, {more} over the customer's limit."
            self.ask(self.instance.job, "price", question, over.amount)
        return cleaned
