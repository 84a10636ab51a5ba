"""Erasing a customer: personal fields are emptied, the name leaves free text, the work stays."""

import re
from collections.abc import Callable, Collection
from typing import Any

from django.db import transaction

from workshop.models import Customer
from workshop.privacy.mentions import compile_terms, erased_name, mention_key
from workshop.privacy.ownership import Model, Ownership, row_model

# Apps above this one add to these from their AppConfig.ready.
erasure_checks: list[Callable[[Customer], str]] = []  # each returns why not yet, or ""
erasure_steps: list[Callable[[Customer], None]] = []  # what else has to end with the erasure


def erasure_blocker(customer: Customer) -> str:
    """Return why the customer cannot be erased yet, or ""."""
    return " ".join(filter(None, (check(customer) for check in erasure_checks)))


@transaction.atomic
def erase(customer: Customer, *, keep: Collection[str] = ()) -> None:
    """Remove the person from the customer's records and their history; the work and its dates stay.

    An issued sheet is a document that was handed out and is never altered.

    Parameters
    ----------
    keep : collection of str
        Keys of mentions that stay as they are.

    Raises
    ------
    ValueError
        The erasure is blocked, for example by an open job.
    """
    if blocker := erasure_blocker(customer):
        raise ValueError(blocker)
    for step in erasure_steps:
        step(customer)
    ownership = Ownership(customer)
    eraser = Eraser(ownership, compile_terms(customer, ownership), erased_name(customer), keep)
    for model, personal in ownership.declared.items():
        if personal.cleared or personal.free_text:
            for row in ownership.current_rows(model).select_for_update():
                eraser.erase_fields(row)
            for row in ownership.past_rows(model):
                eraser.erase_fields(row)
    customer.refresh_from_db()


class Eraser:
    """Empties the fields that describe a customer and takes the terms that name them out of free text."""

    def __init__(
        self, ownership: Ownership, terms: re.Pattern[str], name: str, keep: Collection[str]
    ) -> None:
        self.ownership, self.terms, self.name, self.keep = ownership, terms, name, keep

    def erase_fields(self, row: Any) -> None:
        """Erase one record, or one row of its history, and save it if that changes it."""
        model = row_model(row)
        changed = {
            name: value for name, value in self.erased_values(row, model) if getattr(row, name) != value
        }
        for name, value in changed.items():
            setattr(row, name, value)
        if changed:
            row.save()

    def erased_values(self, row: Any, model: Model) -> Any:
        personal = self.ownership.declared[model]
        if personal.cleared and self.ownership.describes_customer(row):
            yield from ((name, self.empty_value(model._meta.get_field(name))) for name in personal.cleared)
        for name in personal.free_text:
            if mention_key(row, name) not in self.keep:
                yield name, self.without_terms(getattr(row, name), model._meta.get_field(name))

    def empty_value(self, field: Any) -> Any:
        """Return the field's empty value, or the substitute name if the field must not be empty."""
        value = field.get_default()
        return self.name if value == "" and not field.blank else value

    def without_terms(self, value: Any, field: Any) -> Any:
        """Return a text, or a list or table of texts, with the substitute name for every term."""
        if isinstance(value, dict):
            return {key: self.without_terms(item, field) for key, item in value.items()}
        if isinstance(value, list):
            return [self.without_terms(item, field) for item in value]
        if not isinstance(value, str):
            return value
        text = self.terms.sub(self.name, value)
        if field.max_length is not None and len(text) > field.max_length:
            return self.terms.sub("…", value)  # a longer name would cut off the end of the text
        return text
