"""Duplicate entries of one customer: finding them, merging them, and tracing earlier merges."""

from typing import Any

from django.db import models, transaction

from workshop.customers.duplicates import find_known_customers
from workshop.models import Customer
from workshop.privacy.held_data import referencing_fields

FILLED_IN = ("email", "phone", "experience", "riding_mass_kg")  # from the duplicate, if empty


def likely_duplicates(customer: Customer) -> "models.QuerySet[Customer]":
    """Return other entries with the same email or phone, or found by the same name."""
    known = find_known_customers(phone=customer.phone, email=customer.email, besides=customer)
    same = models.Q(pk__in=Customer.objects.matching(customer.name))
    same |= models.Q(pk__in=[entry.customer.pk for entry in known])
    return Customer.objects.filter(same).exclude(pk=customer.pk)


@transaction.atomic
def merge(*, keep: Customer, duplicate: Customer) -> None:
    """Move everything that points at the duplicate to the surviving entry, and delete the duplicate."""
    if keep.pk == duplicate.pk:
        raise ValueError("These are already the same customer.")
    for model, name in referencing_fields(Customer):
        for row in model._base_manager.filter(**{name: duplicate.pk}):
            setattr(row, name, keep)
            row.save()
    for name in FILLED_IN:
        if getattr(keep, name) in ("", None):
            setattr(keep, name, getattr(duplicate, name))
    merged = f"Merged with {contact_line(duplicate)}."
    keep.note = "\n".join(filter(None, (keep.note, duplicate.note, merged)))
    duplicate.delete()
    keep.save()


def contact_line(entry: Any) -> str:
    """Return the name, phone and email of a customer, or of a customer's history row, in one line."""
    return ", ".join(filter(None, (entry.name, entry.phone, entry.email)))


def merged_ids(customer: Customer) -> set[int]:
    """Return the ids of the entries that were merged into this one, directly or through another."""
    duplicates: dict[int, list[int]] = {}
    for deletion in Customer.history.filter(history_type="-"):
        survivor = find_survivor(deletion)
        if survivor is not None:
            duplicates.setdefault(survivor, []).append(deletion.id)
    found: set[int] = set()
    open_ids = [customer.pk]
    while open_ids:
        new = set(duplicates.get(open_ids.pop(), ())) - found
        found |= new
        open_ids += new
    return found


def find_survivor(deletion: Any) -> int | None:
    """Return the id of the entry that a deleted one was merged into, from its last history row.

    After deleting the duplicate, a merge saves the other entry with the duplicate's contact line in its note.
    """
    later = Customer.history.filter(history_id__gt=deletion.history_id, history_user=deletion.history_user_id)
    saved = later.order_by("history_id").first()
    return saved.id if saved is not None and contact_line(deletion) in saved.note else None
