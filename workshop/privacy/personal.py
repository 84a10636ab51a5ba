"""What the shop holds about a person: given out whole, taken together, or kept without the name.

Followed are the records that point at the customer, and those that point at these, whichever app they
belong to. A bike's jobs for another owner are another person's.
"""

import json
import re
import zipfile
from collections.abc import Iterator
from typing import IO, Any

from django.core import serializers
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction

from workshop.models import Bike, Customer, Record
from workshop.models.search import Word

SHORTEST_NAME = 4
UNSAID = {"token"}  # opens something
KEPT_ON_MERGE = ("email", "phone", "experience", "riding_mass_kg")

Held = dict[type[models.Model], dict[Any, models.Model]]


def held_about(customer: Customer) -> Held:
    """Every record that belongs to the person, by model and key."""
    held: Held = {Customer: {customer.pk: customer}}
    new: Held = dict(held)
    while new:
        found: Held = {}
        for model, rows in new.items():
            for other, name in pointing_at(model):
                for row in other._base_manager.filter(**{f"{name}__in": list(rows)}):
                    if row.pk not in held.get(other, {}):
                        found.setdefault(other, {})[row.pk] = row
        for model, rows in found.items():
            held.setdefault(model, {}).update(rows)
        new = found
    return held


def pointing_at(model: type[models.Model]) -> Iterator[tuple[type[models.Model], str]]:
    if model is Bike:
        return
    for relation in model._meta.related_objects:
        other = relation.related_model
        if isinstance(other, type) and not issubclass(other, Word) and not relation.many_to_many:
            yield other, relation.field.name


# given out


def export(customer: Customer, target: IO[bytes]) -> None:
    """Write a ZIP with all that is held about the person: the records as JSON, and every file they name."""
    held = held_about(customer)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        text = json.dumps(told(held), cls=DjangoJSONEncoder, indent=1, ensure_ascii=False)
        archive.writestr("records.json", text)
        for stored in files_of(held):
            if stored.storage.exists(stored.name):
                with stored.storage.open(stored.name, "rb") as source, archive.open(stored.name, "w") as out:
                    for block in source.chunks():
                        out.write(block)


def told(held: Held) -> dict[str, list[dict[str, Any]]]:
    said = {}
    for model, rows in held.items():
        entries = serializers.serialize("python", rows.values())
        said[model._meta.label_lower] = [
            {"id": each["pk"], **{k: v for k, v in each["fields"].items() if k not in UNSAID}}
            for each in entries
        ]
    said["history of the customer's entry"] = list(
        Customer.history.filter(id__in=held[Customer]).values(
            "history_date", "history_user__username", "name", "email", "phone", "note"
        )
    )
    return said


def files_of(held: Held) -> Iterator[Any]:
    for model, rows in held.items():
        names = [each.name for each in model._meta.concrete_fields if isinstance(each, models.FileField)]
        yield from (stored for row in rows.values() for name in names if (stored := getattr(row, name)))


# taken together


@transaction.atomic
def merge(*, keep: Customer, other: Customer) -> None:
    """Make one entry of two of the same person: all that points at the other moves to the one kept."""
    if keep.pk == other.pk:
        raise ValueError("These are one entry already.")
    for model, name in pointing_at(Customer):
        for row in model._base_manager.filter(**{name: other.pk}):
            setattr(row, name, keep)
            row.save()
    for name in KEPT_ON_MERGE:
        if getattr(keep, name) in ("", None):
            setattr(keep, name, getattr(other, name))
    was = ", ".join(filter(None, (other.name, other.phone, other.email)))
    keep.note = "\n".join(filter(None, (keep.note, other.note, f"Taken together with the entry {was}.")))
    other.delete()
    keep.save()


def alike(customer: Customer) -> "models.QuerySet[Customer]":
    """Other entries with the same e-mail or phone, or found by the same name."""
    same = models.Q(pk__in=Customer.objects.matching(customer.name))
    for name in ("email", "phone"):
        if value := getattr(customer, name):
            same |= models.Q(**{f"{name}__iexact": value})
    return Customer.objects.filter(same).exclude(pk=customer.pk)


# kept without the name


def erasure_refused(customer: Customer) -> str:
    """Why the name can't be taken out yet; '' where it can."""
    # The jobs app stands above this one and hangs its jobs on the customer by name.
    still_open = [str(job) for job in customer.jobs.all() if job.is_open]
    return f"Open jobs still need the name: {', '.join(still_open)}." if still_open else ""


@transaction.atomic
def erase(customer: Customer) -> None:
    """Take the person out of every record and its history; work, figures and dates stay.

    Raises ValueError where a job is still open. An issued sheet is a document that was handed out: it
    is never altered, but nobody opens it by a link any more.
    """
    if refused := erasure_refused(customer):
        raise ValueError(refused)
    held = held_about(customer)
    instead = f"Erased customer {customer.pk}"
    person = words_naming(customer)
    for model, rows in held.items():
        if model is not Customer and issubclass(model, Record):
            for row in rows.values():
                forget(row, person, instead)
            for past in model.history.filter(**{f"{model._meta.pk.attname}__in": list(rows)}):
                forget(past, person, instead)
    blank = {"email": "", "phone": "", "note": "", "experience": "", "riding_mass_kg": None}
    for name, value in {"name": instead, **blank}.items():
        setattr(customer, name, value)
    customer.save()
    Customer.history.filter(id=customer.pk).update(name=instead, **blank)


def words_naming(customer: Customer) -> re.Pattern[str]:
    words = [word for word in customer.name.split() if len(word) >= SHORTEST_NAME]
    named = filter(None, (customer.name, customer.email, customer.phone, *words))
    return re.compile("|".join(rf"(?<!\w){re.escape(word)}(?!\w)" for word in named), re.IGNORECASE)


def forget(row: Any, person: re.Pattern[str], instead: str) -> None:
    """Clear what the record's kind calls PERSONAL, and the name wherever somebody wrote it."""
    changed = False
    model = getattr(row, "instance_type", type(row))
    for name, blank in getattr(model, "PERSONAL", {}).items():
        if getattr(row, name) != blank:
            setattr(row, name, blank)
            changed = True
    for field in model._meta.concrete_fields:
        value = (
            getattr(row, field.name, None) if isinstance(field, models.CharField | models.TextField) else None
        )
        if isinstance(value, str) and not isinstance(field, models.FileField) and person.search(value):
            setattr(row, field.name, person.sub(instead, value)[: field.max_length])
            changed = True
    if changed:
        row.save()
