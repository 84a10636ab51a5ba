"""What becomes of signed receipts when their customer is erased: the owner keeps or deletes each."""

from collections.abc import Iterable
from functools import partial
from typing import Any

from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst

from jobs.models import SignedReceipt
from workshop.models import Customer
from workshop.privacy.documents import StoredDocuments
from workshop.privacy.mentions import Redaction


def find_receipts(customer: Customer) -> Iterable[SignedReceipt]:
    receipts = SignedReceipt.objects.filter(job__customer=customer, erased_at=None).select_related("job")
    return receipts.order_by("signed_at", "pk")


def title_receipt(receipt: SignedReceipt) -> str:
    return f"{capfirst(receipt.label)}, signed {timezone.localtime(receipt.signed_at):%-d %b %Y}"


def receipt_url(receipt: SignedReceipt) -> str:
    return f"{reverse('job-receipt', args=[receipt.job.number])}#receipt-{receipt.pk}"


def delete_receipt(receipt: SignedReceipt, blank: Redaction) -> None:
    """Delete a receipt's PDF and signature and take the person out of its facts; the rest stays."""
    name, storage = receipt.pdf.name, receipt.pdf.storage
    receipt.erase_person(blank_facts(receipt.facts, blank), blank.name)
    if name:
        transaction.on_commit(partial(storage.delete, name))


def blank_facts(facts: dict[str, Any], blank: Redaction) -> dict[str, Any]:
    """Return the facts without what describes the customer or whoever was asked."""
    left: dict[str, Any] = blank.including(facts.get("bike", {}).get("plate", ""))(facts)
    if "customer" in left:
        left["customer"] = {"name": blank.name, "phone": ""}
    for answer in left.get("authorisations", []):
        answer["asked"] = blank.name
    return left


RECEIPTS = StoredDocuments(
    name="signed check-in sheets",
    advice=(
        "A check-in sheet shows the condition in which the bike came, what was agreed and who signed it. "
        "While someone may still make a claim about that, the law may allow or require you to keep it (rule "
        "of thumb, no published source): check your local law. If you delete one, its PDF, its photos and "
        "the signature are deleted, and the name is removed from its data. Its number, dates and SHA-256 "
        "stay, so that a copy can still be compared."
    ),
    find=find_receipts,
    title=title_receipt,
    url=receipt_url,
    delete=delete_receipt,
)
