"""The records that hold something about a customer."""

from collections.abc import Iterator

from django.apps import apps
from django.db import models

from workshop.models import Customer, PersonalData
from workshop.models.search import Word

SECRET_FIELDS = {"token"}  # anyone with the token can open the sheet

Records = dict[type[models.Model], list[models.Model]]


def declared_models() -> dict[type[models.Model], PersonalData]:
    """Return every model that declares personal data, with its declaration."""
    declared = ((model, getattr(model, "personal_data", None)) for model in apps.get_models())
    return {model: personal for model, personal in declared if isinstance(personal, PersonalData)}


def personal_records(customer: Customer) -> Records:
    """Return every record that belongs to the customer, by model.

    Jobs done on the customer's bike for another owner belong to that owner.
    """
    found = {
        model: list(model._base_manager.filter(**{personal.customer: customer.pk}))
        for model, personal in declared_models().items()
        if personal.customer
    }
    return {model: rows for model, rows in found.items() if rows}


def referencing_fields(model: type[models.Model]) -> Iterator[tuple[type[models.Model], str]]:
    """Yield the model and the name of each foreign key to this model, except for search words."""
    for relation in model._meta.related_objects:
        other = relation.related_model
        if isinstance(other, type) and not issubclass(other, Word) and not relation.many_to_many:
            yield other, relation.field.name
