"""Checks: lists the owner edits, ticked on each job by the person who made them."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.dyno_sessions import DynoSession
from jobs.models.job import Job
from workshop.models import PersonalData, Record


class CheckItem(Record):
    """A line of one of the shop's checklists."""

    class List(models.TextChoices):
        # In the order of the work.
        AFTER_VALVES = "after_valves", "after valve work, before the first start"
        BEFORE_ROLLER = "before_roller", "before running on the dyno"
        BEFORE_HANDOVER = "before_handover", "before handover"

    list = models.CharField(max_length=20, choices=List)
    text = models.CharField(max_length=200)
    caution = models.CharField(max_length=300, blank=True)
    needs = models.CharField("needs on the bike", max_length=120, blank=True)
    order = models.PositiveSmallIntegerField(default=100)
    retired = models.BooleanField("archived", default=False)

    class Meta:
        ordering = ("list", "order", "pk")
        constraints = [models.UniqueConstraint(fields=["list", "text"], name="check_item_unique")]

    def __str__(self) -> str:
        return self.text


class Check(Record):
    """An item answered on a job: checked, or not applicable for a reason.

    ``session`` is the session on the dyno that the answer belongs to; None for the first one, and for
    the lists that belong to no session. ``recorded_at`` is None if it was recorded as it was made.
    """

    # Common practice, no source: a round of the bike, and then the ticks, take less than that.
    RECORDED_LATER = timedelta(minutes=15)

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="checks")
    item = models.ForeignKey(CheckItem, on_delete=models.PROTECT, related_name="checks")
    session = models.ForeignKey(
        DynoSession, on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="checks"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField("checked at", default=timezone.now)
    recorded_at = models.DateTimeField(null=True, blank=True, editable=False)
    not_applicable = models.BooleanField("does not apply to this job", default=False)
    note = models.CharField("reason", max_length=200, blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("note",))

    class Meta:
        ordering = ("at", "pk")
        constraints = [
            # NULLs differ from each other, so the first session needs a constraint of its own.
            models.UniqueConstraint(
                fields=["job", "item"], condition=Q(session=None), name="check_once_in_first_session"
            ),
            models.UniqueConstraint(fields=["job", "item", "session"], name="check_once_a_session"),
            models.CheckConstraint(
                condition=Q(not_applicable=False) | ~Q(note=""), name="check_not_applicable_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item}"

    @property
    def recorded_later_at(self) -> datetime | None:
        """Return when the answer was recorded, or None if that was about when it was made."""
        if self.recorded_at is None or abs(self.recorded_at - self.at) <= self.RECORDED_LATER:
            return None
        return self.recorded_at
