"""Checks: lists the owner edits, ticked on each job by the person who made them."""

from django.conf import settings
from django.db import models
from django.utils import timezone

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
    order = models.PositiveSmallIntegerField(default=100)
    retired = models.BooleanField("no longer used", default=False)

    class Meta:
        ordering = ("list", "order", "pk")
        constraints = [models.UniqueConstraint(fields=["list", "text"], name="check_item_unique")]

    def __str__(self) -> str:
        return self.text


class Check(Record):
    """An item ticked on a job."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="checks")
    item = models.ForeignKey(CheckItem, on_delete=models.PROTECT, related_name="checks")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    note = models.CharField(max_length=200, blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("note",))

    class Meta:
        ordering = ("at", "pk")
        constraints = [models.UniqueConstraint(fields=["job", "item"], name="check_once_a_job")]

    def __str__(self) -> str:
        return f"{self.item}"
