"""Stored documents that hold a customer's name: the owner keeps or deletes each when erasing.

An app that stores documents declares each kind with `register_documents` from its AppConfig.ready. The
page of the erasure lists them, and `erase` deletes those that the owner does not keep.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.db import models

from workshop.models import Customer, DocumentDecision
from workshop.privacy.mentions import Redaction


@dataclass(frozen=True, kw_only=True)
class StoredDocuments:
    """One kind of stored document.

    Attributes
    ----------
    name : str
        The kind, as the page calls several of them.
    advice : str
        What speaks for keeping one, and from which source; what stays of one that is deleted.
    find : callable
        Returns the customer's documents of this kind that are not deleted yet.
    title : callable
        Returns the name of one document, without the customer's.
    url : callable
        Returns the address at which staff open it.
    delete : callable
        Deletes one document or takes the person out of it, within the transaction of the erasure. Gets
        the document and a function that replaces all that identifies the customer in a text, list or
        table. A file is deleted after the commit.
    """

    name: str
    advice: str
    find: Callable[[Customer], Iterable[models.Model]]
    title: Callable[[Any], str]
    url: Callable[[Any], str]
    delete: Callable[[Any, Redaction], None]


@dataclass(frozen=True)
class FoundDocument:
    """A stored document of a customer, and what was decided about it at an earlier erasure."""

    kind: StoredDocuments
    record: models.Model
    earlier: DocumentDecision | None

    @property
    def key(self) -> str:
        return document_key(self.record)

    @property
    def title(self) -> str:
        return self.kind.title(self.record)

    @property
    def url(self) -> str:
        return self.kind.url(self.record)


@dataclass(frozen=True)
class Decision:
    """What to do with one document, and why."""

    choice: DocumentDecision.Choice
    reason: str = ""


_kinds: dict[str, StoredDocuments] = {}


def register_documents(kind: StoredDocuments) -> None:
    """Declare a kind of stored documents; declaring it again replaces it."""
    _kinds[kind.name] = kind


def document_key(record: models.Model) -> str:
    return f"{record._meta.label_lower}-{record.pk}".replace(".", "-")


def find_documents(customer: Customer) -> list[FoundDocument]:
    """Return the customer's stored documents that were not deleted yet."""
    decisions = DocumentDecision.objects.filter(customer=customer).order_by("decided_at", "pk")
    latest = {decision.document: decision for decision in decisions}
    return [
        FoundDocument(kind, record, latest.get(document_key(record)))
        for kind in _kinds.values()
        for record in kind.find(customer)
    ]
