"""Forms of the customer's wishes and of their answers."""

from itertools import groupby
from typing import Any

from django import forms
from django.db import models
from django.http import QueryDict

from jobs.job.fields import LinesField
from jobs.job.results import JobResults
from jobs.models import Wish
from jobs.models.wish import MAX_WISH_LENGTH
from jobs.wishes.evidence import list_evidence
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.form import RecordForm

WISH_GROUPS: Groups = (
    ("The wish", ("text", "position")),
    ("The answer", ("result", "answer", "records")),
)


class NewWishesForm(FieldGroupsMixin, forms.Form):
    wishes = LinesField(
        label="Wishes, one per line",
        rows=6,
        max_line_length=MAX_WISH_LENGTH,
        help_text="In the customer's words. Each line gets its own answer on the sheet.",
    )


class WishForm(FieldGroupsMixin, RecordForm):
    """A wish with its answer and the records that show it."""

    GROUPS = WISH_GROUPS
    records = forms.MultipleChoiceField(
        label="Records that show it",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Without a record, the answer is printed as your words, not as a measurement.",
    )

    class Meta(RecordForm.Meta):
        model = Wish
        fields = field_names(WISH_GROUPS)
        help_texts = {
            "position": "1 comes first.",
            "answer": "In plain words. Example: “All 12 valves in range, 5 were tight.”",
        }

    def __init__(self, *args: Any, results: JobResults, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["records"]
        field.choices = [
            (title, [(item.key, item.name) for item in items])
            for title, items in groupby(list_evidence(results), key=lambda item: item.title)
        ]
        if not field.choices:
            field.help_text = "No records yet that could show it."

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        result, answer = self.cleaned_data.get("result"), self.cleaned_data.get("answer")
        if result and result != Wish.Result.OPEN and not answer and "answer" not in self.errors:
            self.add_error("answer", "Enter the answer in one line: it is printed next to the wish.")
        return cleaned

    def adopt_saved_value(self, name: str, now: models.Model, data: QueryDict) -> None:
        if name == "records":
            data.setlist(self.add_prefix(name), now.records)  # type: ignore[attr-defined]  # the historical wish
        else:
            super().adopt_saved_value(name, now, data)
