"""Form of the erasure."""

from typing import Any

from django import forms

from workshop.models import Customer
from workshop.privacy.erase import erasure_blocker


class EraseForm(forms.Form):
    """The customer's name as confirmation, and the mentions that stay as they are."""

    name = forms.CharField(label="The customer's name, to be sure", max_length=120)

    def __init__(self, data: Any = None, *, customer: Customer) -> None:
        super().__init__(data)
        self.customer = customer
        self.keep = set(data.getlist("keep")) if data is not None else set()

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        if name.strip() != self.customer.name:
            raise forms.ValidationError(f"Type the name as it stands here: {self.customer.name}")
        if blocker := erasure_blocker(self.customer):
            raise forms.ValidationError(blocker)
        return name
