"""Signed receipts: what a customer signed when the bike was handed in, written once."""

from typing import Any

from django.conf import settings
from django.db import models, transaction
from django.db.models import Q
from django.utils import timezone
from simple_history.models import HistoricalRecords

from jobs.models.job import Job
from workshop.models import PersonalData


class SignedReceiptIsFinal(Exception):
    """A signed receipt cannot be changed; a new one is signed instead."""


class SignedReceipt(models.Model):
    """A signature with the facts that it was given for; the PDF is attached once it is printed.

    ``facts`` are empty for signatures that an earlier version of the program stored without them. If the
    owner decides so when the customer is erased, the PDF is deleted and the person leaves the facts.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="signed_receipts")
    number = models.PositiveSmallIntegerField()
    facts = models.JSONField(default=dict)
    pictures = models.JSONField(default=dict)  # the photos of the facts, as base64 by their id
    signed_by = models.CharField("signed by", max_length=120)
    signed_at = models.DateTimeField(default=timezone.now)
    taken_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    signature = models.JSONField("signature", default=list, blank=True)
    pdf = models.FileField(upload_to="receipts/%Y/", blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    erased_at = models.DateTimeField("deleted with the customer's data at", null=True, blank=True)
    history = HistoricalRecords(excluded_fields=["facts", "pictures"])

    # Never altered by the erasure itself; see reports/receipt/erasing.py.
    personal_data = PersonalData(customer="job__customer")

    class Meta:
        ordering = ("job", "number")
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="signed_receipt_number_unique"),
            models.CheckConstraint(condition=Q(number__gte=1), name="signed_receipt_number_from_1"),
            models.CheckConstraint(
                condition=Q(pdf="", sha256="")
                | (~Q(pdf="") & ~Q(sha256=""))
                | Q(pdf="", erased_at__isnull=False),
                name="signed_receipt_pdf_has_hash",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise SignedReceiptIsFinal("A signed check-in sheet is never altered; have a new one signed.")
        super().save(*args, **kwargs)

    @property
    def label(self) -> str:
        return f"check-in sheet {self.job.number}/{self.number}"

    @property
    def has_facts(self) -> bool:
        return bool(self.facts)

    @property
    def is_printed(self) -> bool:
        return bool(self.sha256)

    @property
    def is_available(self) -> bool:
        """Return True if it has a PDF that was not deleted."""
        return self.is_printed and self.erased_at is None

    @property
    def lines(self) -> list[str]:
        """Return the strokes of the signature as points of SVG polylines."""
        return [" ".join(f"{x},{y}" for x, y in stroke) for stroke in self.signature]

    def attach(self, name: str, sha256: str) -> bool:
        """Attach the stored PDF; return False if the receipt already has one or is deleted."""
        with transaction.atomic():
            stored = SignedReceipt.objects.select_for_update().get(pk=self.pk)
            if stored.sha256 or stored.erased_at:
                return False
            self.pdf.name, self.sha256 = name, sha256
            super().save(update_fields=["pdf", "sha256"])
        return True

    def erase_person(self, facts: dict[str, Any], signed_by: str) -> None:
        """Store the facts without the person and forget PDF and signature; the only alteration."""
        with transaction.atomic():
            self.facts, self.pictures, self.signature, self.signed_by = facts, {}, [], signed_by
            self.pdf.name, self.erased_at = "", timezone.now()
            super().save()
            self.history.update(signature=[], signed_by=signed_by)
