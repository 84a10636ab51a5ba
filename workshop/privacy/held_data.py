"""The records that hold something about a customer, and their export."""

import json
import zipfile
from collections.abc import Iterator
from typing import IO, Any

from django.apps import apps
from django.core import serializers
from django.core.serializers.json import DjangoJSONEncoder
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


def export(customer: Customer, target: IO[bytes]) -> None:
    """Write a ZIP with the customer's records as JSON and every file they name."""
    records = personal_records(customer)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        text = json.dumps(export_rows(customer, records), cls=DjangoJSONEncoder, indent=1, ensure_ascii=False)
        archive.writestr("records.json", text)
        for stored in stored_files(records):
            if stored.storage.exists(stored.name):
                with stored.storage.open(stored.name, "rb") as source, archive.open(stored.name, "w") as out:
                    for block in source.chunks():
                        out.write(block)


def export_rows(customer: Customer, records: Records) -> dict[str, list[dict[str, Any]]]:
    """Return the records as plain values by model, without the fields that open something."""
    exported = {}
    for model, rows in records.items():
        entries = serializers.serialize("python", rows)
        exported[model._meta.label_lower] = [
            {"id": entry["pk"], **{k: v for k, v in entry["fields"].items() if k not in SECRET_FIELDS}}
            for entry in entries
        ]
    exported["history of the customer's entry"] = list(
        Customer.history.filter(id=customer.pk).values(
            "history_date", "history_user__username", "name", "email", "phone", "note"
        )
    )
    return exported


def stored_files(records: Records) -> Iterator[Any]:
    """Yield every file that the records name."""
    for model, rows in records.items():
        names = [field.name for field in model._meta.concrete_fields if isinstance(field, models.FileField)]
        yield from (stored for row in rows for name in names if (stored := getattr(row, name)))
