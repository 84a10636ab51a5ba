"""Issued handover sheets, the links to them, and what the customer acknowledged."""

import secrets
from typing import Any, ClassVar

from django.conf import settings
from django.db import models, transaction
from django.db.models import Q
from django.utils import timezone
from simple_history.models import HistoricalRecords

from jobs.models import Job
from reports.typesetting.signing import Signature
from workshop.models import OutgoingMail, PersonalData, Record

# Read off paper and typed: no signs that look alike. Ten of them are 49 bits.
CHECK_SIGNS, CHECK_LENGTH = "23456789abcdefghjkmnpqrstuvwxyz", 10


def make_check_code() -> str:
    return "".join(secrets.choice(CHECK_SIGNS) for _ in range(CHECK_LENGTH))


class IssuedSheetIsFinal(Exception):
    """An issued sheet cannot be changed or deleted."""


class NoticeWording(models.Model):
    """A version of the notices' text; printed or acknowledged texts are never altered."""

    version = models.PositiveIntegerField(unique=True)
    road_use = models.TextField()
    safety = models.TextField()
    in_force_from = models.DateTimeField(default=timezone.now)
    history = HistoricalRecords()

    class Meta:
        ordering = ("version",)

    def __str__(self) -> str:
        return f"wording {self.version}"


class SheetQuerySet(models.QuerySet["HandoverSheet"]):
    def update(self, **kwargs: Any) -> int:
        raise IssuedSheetIsFinal("An issued handover sheet is never altered; issue a new one.")

    def delete(self) -> tuple[int, dict[str, int]]:
        raise IssuedSheetIsFinal("An issued handover sheet is never deleted; issue a new one.")


class HandoverSheet(models.Model):
    """An issued PDF with the data it was made from: written once, never altered.

    Data and number are stored when the sheet is issued; the PDF is attached once it is printed. If the
    owner decides so when the customer is erased, the PDF is deleted and the name leaves the data.
    """

    PRINTED: ClassVar = ["pdf", "sha256", "signature", "certificate_sha256"]

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="handover_sheets")
    issue_number = models.PositiveSmallIntegerField()
    pdf = models.FileField(upload_to="sheets/%Y/", blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    # What follows the printed pages in the signed file, so that a lost file can be restored to the byte.
    signature = models.BinaryField(blank=True, default=b"")
    certificate_sha256 = models.CharField(max_length=64, blank=True)
    snapshot = models.JSONField()
    snapshot_sha256 = models.CharField(max_length=64)
    # In the printed address at which anyone can compare the sheet; None for sheets from before there was one.
    check_code = models.CharField(max_length=CHECK_LENGTH, unique=True, null=True, editable=False)  # noqa: DJ001
    wording = models.ForeignKey(NoticeWording, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField(default=timezone.now)
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    open_points = models.JSONField("open points that the owner overrode", default=list, blank=True)
    override_reason = models.TextField(blank=True)
    erased_at = models.DateTimeField("deleted with the customer's data at", null=True, blank=True)
    mails: list[OutgoingMail]  # read together for all sheets of a page
    history = HistoricalRecords(excluded_fields=["snapshot", "signature"])

    # Never altered by the erasure itself; see reports/handover/erasing.py.
    personal_data = PersonalData(customer="job__customer")
    objects = SheetQuerySet.as_manager()

    class Meta:
        ordering = ("job", "issue_number")
        base_manager_name = "objects"
        constraints = [
            models.UniqueConstraint(fields=["job", "issue_number"], name="handover_issue_number_unique"),
            models.CheckConstraint(condition=Q(issue_number__gte=1), name="handover_issue_number_from_1"),
            models.CheckConstraint(
                condition=Q(pdf="", sha256="")
                | (~Q(pdf="") & ~Q(sha256=""))
                | Q(pdf="", erased_at__isnull=False),
                name="handover_pdf_has_hash",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise IssuedSheetIsFinal("An issued handover sheet is never altered; issue a new one.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise IssuedSheetIsFinal("An issued handover sheet is never deleted; issue a new one.")

    @property
    def number(self) -> str:
        return f"{self.job.number}/{self.issue_number}"

    def get_open_points_display(self) -> str:
        """Return the open points as one text, for the change log."""
        return " ".join(self.open_points) or "none"

    @property
    def is_printed(self) -> bool:
        return bool(self.sha256)

    @property
    def is_available(self) -> bool:
        """Return True if it has a PDF that was not deleted."""
        return self.is_printed and self.erased_at is None

    @property
    def is_of_erased_customer(self) -> bool:
        """Return True if it was issued before the customer's personal data were erased."""
        erased_at = self.job.customer.erased_at
        return erased_at is not None and self.issued_at <= erased_at

    def erase_person(self, snapshot: dict[str, Any], override_reason: str, open_points: list[str]) -> None:
        """Store the data without the person and forget the PDF; the only alteration of an issued sheet."""
        with transaction.atomic():
            stored = HandoverSheet.objects.select_for_update().get(pk=self.pk)
            stored.snapshot = snapshot
            stored.override_reason, stored.open_points = override_reason, open_points
            stored.pdf.name, stored.signature, stored.erased_at = "", b"", timezone.now()
            super(HandoverSheet, stored).save()
            stored.history.update(override_reason=override_reason, open_points=open_points)

    def attach(self, name: str, sha256: str, signature: Signature | None = None) -> bool:
        """Attach the stored PDF; return False if the sheet already has one or is deleted."""
        with transaction.atomic():
            stored = HandoverSheet.objects.select_for_update().get(pk=self.pk)
            if stored.sha256 or stored.erased_at:
                return False
            self.pdf.name, self.sha256 = name, sha256
            if signature:
                self.signature, self.certificate_sha256 = signature.appended, signature.certificate_sha256
            super().save(update_fields=self.PRINTED)
        return True


class SheetLink(Record):
    """A secret address for the customer that expires, can be revoked and counts its openings."""

    sheet = models.ForeignKey(HandoverSheet, on_delete=models.PROTECT, related_name="links")
    token = models.CharField(max_length=64, unique=True, default=secrets.token_urlsafe, editable=False)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    with_talk_through = models.BooleanField("shows the talk-through too", default=False)
    openings = models.PositiveIntegerField(default=0)
    last_opened_at = models.DateTimeField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    personal_data = PersonalData(customer="sheet__job__customer")

    class Meta:
        ordering = ("created_at", "pk")

    def __str__(self) -> str:
        return f"link to {self.sheet}"

    @property
    def is_live(self) -> bool:
        return self.revoked_at is None and self.expires_at > timezone.now()


class LinkCall(models.Model):
    """Count of the requests for a link from one address within an hour, over all processes."""

    name = models.CharField(max_length=120, unique=True)
    calls = models.PositiveIntegerField(default=0)
    until = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"{self.name}: {self.calls}"


class Acknowledgement(Record):
    """The customer's confirmation of having read the sheet: name, time and the text shown."""

    sheet = models.ForeignKey(HandoverSheet, on_delete=models.PROTECT, related_name="acknowledgements")
    link = models.ForeignKey(SheetLink, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    name = models.CharField(max_length=120)
    notice_text = models.TextField()
    acknowledged_at = models.DateTimeField(default=timezone.now)

    personal_data = PersonalData(
        customer="sheet__job__customer", cleared=("name",), free_text=("notice_text",)
    )

    class Meta:
        ordering = ("acknowledged_at", "pk")
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="acknowledgement_has_name")]

    def __str__(self) -> str:
        return f"{self.name}, {self.sheet}"
