"""Names of people in binding records: who was told, who signed, who received the bike."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy

NAME_NEEDED = gettext_lazy("Enter the name of a person, with at least two different letters.")


def is_person_name(text: str) -> bool:
    """Return True if a text may be a person's name: it has two different letters, in any script."""
    return len({letter for letter in text.casefold() if letter.isalpha()}) > 1


def validate_person_name(text: str) -> None:
    """Raise ValidationError with a sentence if a text cannot be a person's name."""
    if not is_person_name(text):
        raise ValidationError(NAME_NEEDED, code="person_name")


class PersonNameField(forms.CharField):
    """The name of a person who is held to a record, such as a signature."""

    def __init__(self, *, max_length: int = 120, **kwargs: Any) -> None:
        super().__init__(max_length=max_length, **kwargs)
        self.validators.append(validate_person_name)
