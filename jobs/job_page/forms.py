"""Form of a job that is booked: a higher limit needs the customer's answer."""

from typing import Any

from jobs.calc.units.numbers import format_number
from jobs.job.forms import JobForm
from jobs.work_items.authorisation_forms import AuthorisationMixin
from jobs.work_items.totals import total


class JobEditForm(AuthorisationMixin, JobForm):
    """The job; going over the customer's limit keeps who was asked and what they said."""

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        limit, before = self.cleaned_data.get("authorised_amount"), self.initial["authorised_amount"]
        if limit is None or limit == before or "authorised_amount" in self.errors:
            return cleaned
        agreed = total(self.instance, list(self.instance.work_items.all())).amount
        if limit < agreed:
            self.add_error(
                "authorised_amount",
                f"The agreed work adds up to {format_number(agreed, 2)}, "
                f"which is {format_number(agreed - limit, 2)} more than this. Remove work first, "
                "or enter a limit that covers it.",
            )
        elif before is not None and limit > before:
            question = (
                f"This is {format_number(limit - before, 2)} more than the {format_number(before, 2)} "
                "authorised so far."
            )
            self.ask(self.instance, "authorised_amount", question, limit)
        return cleaned

    def keep_limit(self) -> None:
        """Leave the authorised amount as it was, since the customer refused a higher one."""
        self.instance.authorised_amount = self.initial["authorised_amount"]
