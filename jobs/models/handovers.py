"""The bike leaving the shop: to whom, who was told what, and what was still open."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.job import Job
from workshop.models import PersonalData, Record


class Handover(Record):
    """A bike handed over, with the open points that the owner overrode, by name as they stood."""

    class Informed(models.TextChoices):
        NOT_DUE = "not_due", "there was nothing to tell"
        TOLD = "told", "told"
        NOT_TOLD = "not_told", "not told"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="handovers")
    at = models.DateTimeField("handed over at", default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    handed_to = models.CharField("handed over to", max_length=120)
    informed = models.CharField("customer told about road use", max_length=10, choices=Informed)
    informed_person = models.CharField("who was told", max_length=120, blank=True)
    open_points = models.JSONField("open points that the owner overrode", default=list, blank=True)
    override_reason = models.TextField("reason of the owner", blank=True)

    personal_data = PersonalData(
        customer="job__customer",
        cleared=("handed_to", "informed_person"),
        free_text=("open_points", "override_reason"),
    )

    class Meta:
        ordering = ("at", "pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(informed="told") | Q(informed__in=["not_due", "not_told"], informed_person=""),
                name="handover_names_who_was_told",
            ),
            models.CheckConstraint(condition=~Q(handed_to=""), name="handover_names_who_received_the_bike"),
        ]

    def __str__(self) -> str:
        return f"handover of {self.job}"

    def get_open_points_display(self) -> str:
        """Return the open points as one text, for the change log."""
        return " ".join(self.open_points) or "none"
