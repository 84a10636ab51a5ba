"""Form of a contact entry."""

from datetime import datetime
from typing import Any

from django.utils import timezone

from jobs.models import ContactEntry
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin


class ContactForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    GROUPS = (("", ("text", "kind", "direction", "said_at")),)
    RECORDED = ("said_at",)

    class Meta(RecordForm.Meta):
        model = ContactEntry
        fields = ["text", "kind", "direction", "said_at"]
        help_texts = {"direction": "Only for a call or message."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["said_at"].required = False

    def clean_said_at(self) -> datetime:
        # The short form of the job page has no time: it is written as it happens.
        said_at: datetime | None = self.cleaned_data["said_at"]
        return said_at or timezone.now()

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if self.cleaned_data.get("kind") == ContactEntry.Kind.NOTE:
            self.cleaned_data["direction"] = ""
        elif not self.cleaned_data.get("direction") and "kind" in self.cleaned_data:
            self.add_error("direction", "Choose who called or wrote.")
        return cleaned
