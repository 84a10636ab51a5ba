"""Erasing a customer: personal fields are emptied, the name leaves free text, the work stays."""

from collections.abc import Callable, Collection, Mapping
from typing import Any

from django.db import connection, transaction
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from workshop.mail.outbox import cancel_mails
from workshop.models import Customer, DocumentDecision, StaffMember
from workshop.privacy.documents import Decision, find_documents
from workshop.privacy.mentions import Redaction, compile_terms, erased_name, mention_key
from workshop.privacy.ownership import Model, Ownership, row_model

# Apps above this one add to these from their AppConfig.ready.
erasure_checks: list[Callable[[Customer], str]] = []  # each returns why not yet, or ""
erasure_steps: list[Callable[[Customer], None]] = []  # what else has to end with the erasure


def erasure_blocker(customer: Customer) -> str:
    """Return why the customer cannot be erased yet, or ""."""
    return " ".join(filter(None, (check(customer) for check in erasure_checks)))


@transaction.atomic
def erase(
    customer: Customer,
    *,
    keep: Collection[str] = (),
    documents: Mapping[str, Decision] | None = None,
    by: StaffMember | None = None,
) -> None:
    """Remove the person from the customer's records and their history; the work and its dates stay.

    Parameters
    ----------
    keep : collection of str
        Keys of mentions that stay as they are.
    documents : mapping of str to Decision, optional
        What the owner decided about each stored document; one that is not decided upon is kept.
    by : StaffMember, optional
        Who decided about the documents.

    Raises
    ------
    ValueError
        The erasure is blocked, for example by an open job.
    """
    if blocker := erasure_blocker(customer):
        raise ValueError(blocker)
    cancel_mails(customer)
    for step in erasure_steps:
        step(customer)
    ownership = Ownership(customer)
    redaction = Redaction(compile_terms(customer, ownership), erased_name(customer))
    decide_documents(customer, redaction, documents or {}, by)
    customer.refresh_from_db()
    if customer.erased_at is None:
        customer.erased_at = timezone.now()
        customer.save()
    eraser = Eraser(ownership, redaction, keep)
    for model, personal in ownership.declared.items():
        if personal.cleared or personal.free_text:
            for row in ownership.current_rows(model).select_for_update():
                eraser.erase_fields(row)
            for row in ownership.past_rows(model):
                eraser.erase_fields(row)
    # What failed may have named the value that it failed on.
    DBTaskResult.objects.exclude(traceback="").update(traceback="")
    transaction.on_commit(overwrite_deleted, robust=True)  # the erasure holds if others write
    customer.refresh_from_db()


def decide_documents(
    customer: Customer, redaction: Redaction, decisions: Mapping[str, Decision], by: StaffMember | None
) -> None:
    """Store each decision about a stored document, and delete those that are not kept."""
    for document in find_documents(customer):
        if document.key not in decisions:
            continue
        if by is None:
            raise ValueError("A decision about a document needs its owner.")
        decision = decisions[document.key]
        DocumentDecision.objects.create(
            customer=customer,
            document=document.key,
            title=document.title,
            choice=decision.choice,
            reason=decision.reason,
            by=by,
        )
        if decision.choice == DocumentDecision.Choice.DELETE:
            document.kind.delete(document.record, redaction)


def overwrite_deleted() -> None:
    """Rewrite an SQLite file, since what was deleted stays in its free pages until they are used again."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("VACUUM")
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


class Eraser:
    """Empties the fields that describe a customer and takes the terms that name them out of free text."""

    def __init__(self, ownership: Ownership, redaction: Redaction, keep: Collection[str]) -> None:
        self.ownership, self.redaction, self.keep = ownership, redaction, keep

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
            stored = (name for name in personal.cleared if hasattr(row, name))  # a history may leave some out
            yield from ((name, self.empty_value(model._meta.get_field(name))) for name in stored)
        for name in personal.free_text:
            if mention_key(row, name) not in self.keep:
                max_length = getattr(model._meta.get_field(name), "max_length", None)
                yield name, self.redaction(getattr(row, name), max_length)

    def empty_value(self, field: Any) -> Any:
        """Return the field's empty value, or the substitute name if the field must not be empty."""
        value = field.get_default()
        return self.redaction.name if value == "" and not field.blank else value
