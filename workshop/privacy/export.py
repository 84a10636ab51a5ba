"""Export of a customer's personal data: their records with earlier versions, their files, and mentions."""

import json
import zipfile
from collections.abc import Iterator
from typing import IO, Any

from django.core import serializers
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from workshop.models import Customer
from workshop.privacy.held_data import SECRET_FIELDS, Records, personal_records
from workshop.privacy.mentions import find_mentions
from workshop.privacy.ownership import Ownership


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
    """Return the records, their earlier versions and other mentions as plain values.

    Fields that open something are left out.
    """
    exported = {model._meta.label_lower: list(plain_rows(rows)) for model, rows in records.items()}
    ownership = Ownership(customer)
    for model, personal in ownership.declared.items():
        if personal.customer and hasattr(model, "history"):
            past = [row for row in ownership.past_rows(model) if ownership.describes_customer(row)]
            if past:
                exported[f"history of {model._meta.label_lower}"] = list(plain_rows(past))
    exported["mentions of the customer"] = [
        {"record": found.record, "field": found.field, "text": "".join(text for text, _ in found.excerpt)}
        for found in find_mentions(customer)
    ]
    return exported


def plain_rows(rows: list[Any]) -> Iterator[dict[str, Any]]:
    for entry in serializers.serialize("python", rows):
        yield {"id": entry["pk"], **{k: v for k, v in entry["fields"].items() if k not in SECRET_FIELDS}}


def stored_files(records: Records) -> Iterator[Any]:
    """Yield every file that the records name."""
    for model, rows in records.items():
        names = [field.name for field in model._meta.concrete_fields if isinstance(field, models.FileField)]
        yield from (stored for row in rows for name in names if (stored := getattr(row, name)))
