"""The question to the customer, on a form whose amount goes over what was authorised."""

from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from jobs.models import Authorisation, Job
from workshop.models import StaffMember
from workshop.people.names import PersonNameField
from workshop.records.fields import ShopDateTimeField

FIELDS = ("asked", "how", "asked_at", "answer", "words")


class AuthorisationMixin(forms.BaseForm):
    """A form that asks, once an amount is typed that needs it, whom the shop asked and what they said."""

    data: QueryDict
    question = ""
    amount = Decimal(0)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        how, answer = Authorisation.How.choices, Authorisation.Answer.choices
        self.fields |= {
            "asked": PersonNameField(label="Who was asked", required=False),
            "how": forms.ChoiceField(label="How", choices=[("", "–"), *how], required=False),
            "asked_at": ShopDateTimeField(label="When", required=False),
            "answer": forms.ChoiceField(label="Answer", choices=[("", "–"), *answer], required=False),
            "words": forms.CharField(label="In their words", max_length=300, required=False),
        }

    @property
    def authorisation_fields(self) -> list[forms.BoundField]:
        """Return the fields of the question, or none if nothing has to be asked."""
        return [self[name] for name in FIELDS] if self.question else []

    def ask(self, job: Job, field: str, question: str, amount: Decimal) -> None:
        """Require the customer's answer to a question about an amount that was typed in a field."""
        self.question, self.amount = question, amount
        cleaned: dict[str, Any] = self.cleaned_data
        if not (cleaned.get("how") or cleaned.get("answer")):
            self.add_error(
                field, f"{question} Ask the customer. Then record below who you asked and what they said."
            )
            self.fill_in(job)
            return
        for name in ("asked", "how", "asked_at", "answer"):
            if not cleaned.get(name) and name not in self.errors:
                self.add_error(name, "Required for recording a question to the customer.")

    def fill_in(self, job: Job) -> None:
        """Fill in whom and when, which is most often the customer and now."""
        data = self.data.copy()
        now = f"{timezone.localtime():%Y-%m-%dT%H:%M}"
        for name, value in (("asked", job.customer.name), ("asked_at", now)):
            key = self.add_prefix(name)
            data[key] = data.get(key) or value
        self.data = data

    def build_answer(self, job: Job, by: StaffMember) -> Authorisation:
        """Return the customer's answer, not stored yet."""
        cleaned: dict[str, Any] = self.cleaned_data
        return Authorisation(
            job=job,
            amount=self.amount,
            asked=cleaned["asked"],
            asked_by=by,
            how=cleaned["how"],
            at=cleaned["asked_at"],
            answer=cleaned["answer"],
            words=cleaned["words"],
        )

    @property
    def is_refused(self) -> bool:
        return bool(self.question) and self.cleaned_data["answer"] == Authorisation.Answer.REFUSED
