"""Form of the erasure."""

from collections.abc import Iterator
from typing import Any

from django import forms
from django.forms import BoundField

from workshop.models import Customer, DocumentDecision
from workshop.privacy.documents import Decision, FoundDocument, find_documents
from workshop.privacy.erase import erasure_blocker

KEEP, DELETE = DocumentDecision.Choice.KEEP, DocumentDecision.Choice.DELETE
CHOICES = [
    (KEEP, "Keep it as it is, with the name"),
    (DELETE, "Delete it or remove the name from it, as described"),
]


class EraseForm(forms.Form):
    """The customer's name as confirmation, the mentions that stay, and a decision on each document."""

    name = forms.CharField(label="Type the customer's name to confirm", max_length=120)

    def __init__(self, data: Any = None, *, customer: Customer) -> None:
        super().__init__(data)
        self.customer = customer
        self.keep = set(data.getlist("keep")) if data is not None else set()
        self.documents = find_documents(customer)
        for document in self.documents:
            self.add_decision(document)

    def add_decision(self, document: FoundDocument) -> None:
        """Add the fields of a decision; nothing is chosen beforehand but what was decided earlier."""
        earlier = document.earlier
        self.fields[f"choice-{document.key}"] = forms.ChoiceField(
            label=document.title,
            choices=CHOICES,
            widget=forms.RadioSelect,
            initial=earlier.choice if earlier else None,
            error_messages={"required": f"{document.title}: keep or delete it."},
        )
        self.fields[f"reason-{document.key}"] = forms.CharField(
            label="Why you keep it, and until when",
            max_length=500,
            required=False,
            initial=earlier.reason if earlier else "",
        )

    @property
    def document_fields(self) -> Iterator[tuple[FoundDocument, BoundField, BoundField]]:
        """Yield each document with the fields of its decision."""
        for document in self.documents:
            yield document, self[f"choice-{document.key}"], self[f"reason-{document.key}"]

    @property
    def decisions(self) -> dict[str, Decision]:
        """Return what was decided, by the key of the document."""
        cleaned = self.cleaned_data
        return {
            document.key: Decision(
                DocumentDecision.Choice(cleaned[f"choice-{document.key}"]), cleaned[f"reason-{document.key}"]
            )
            for document in self.documents
        }

    def clean(self) -> dict[str, Any]:
        for document in self.documents:
            reason = f"reason-{document.key}"
            if self.cleaned_data.get(f"choice-{document.key}") == KEEP and not self.cleaned_data.get(reason):
                self.add_error(reason, f"{document.title}: enter why you keep it, and until when.")
        return self.cleaned_data

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        if name.strip() != self.customer.name:
            raise forms.ValidationError(f"The name does not match. Type: {self.customer.name}")
        if blocker := erasure_blocker(self.customer):
            raise forms.ValidationError(blocker)
        return name
