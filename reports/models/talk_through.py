"""The talk-through of a job: its chosen steps, and where it is published with the customer's consent."""

import secrets

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models import Job
from reports.models.handover import HandoverSheet
from workshop.models import PersonalData, Record


class TalkThrough(Record):
    """The steps of a job's talk-through in their order; without a row, all that have a record."""

    job = models.OneToOneField(Job, on_delete=models.CASCADE, related_name="talk_through")
    steps = models.JSONField(default=list, blank=True)

    personal_data = PersonalData(customer="job__customer")

    def __str__(self) -> str:
        return f"talk-through of job {self.job}"

    def get_steps_display(self) -> str:
        """List the steps, for the change log."""
        return ", ".join(self.steps) or "none"


class Publication(Record):
    """A public address of a talk-through, with the customer's consent; revoked, it opens nothing.

    It shows a sheet as it was issued, without the customer's name, plate and VIN.
    """

    class How(models.TextChoices):
        IN_PERSON = "in_person", "in person"
        PHONE = "phone", "by phone"
        WRITING = "writing", "in writing"

    sheet = models.ForeignKey(HandoverSheet, on_delete=models.PROTECT, related_name="publications")
    token = models.CharField(max_length=64, unique=True, default=secrets.token_urlsafe, editable=False)
    steps = models.JSONField(default=list, blank=True, editable=False)
    consent_by = models.CharField("who gave consent", max_length=120)
    consent_how = models.CharField("how", max_length=10, choices=How)
    consent_at = models.DateTimeField("consent given at", default=timezone.now)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True, blank=True, editable=False)

    personal_data = PersonalData(customer="sheet__job__customer", cleared=("consent_by",))

    class Meta:
        ordering = ("created_at", "pk")
        constraints = [models.CheckConstraint(condition=~Q(consent_by=""), name="publication_has_consent")]

    def __str__(self) -> str:
        return f"publication of sheet {self.sheet}"

    @property
    def is_live(self) -> bool:
        return self.revoked_at is None
