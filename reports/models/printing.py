"""The printing progress of an issued sheet."""

from datetime import timedelta

from django.db import models
from django.utils import timezone

from reports.models.handover import HandoverSheet
from workshop.models import PersonalData

MAX_WAITING_TIME = timedelta(minutes=1)
MAX_STEP_TIME = timedelta(minutes=5)


class Printing(models.Model):
    """The printing of a sheet: its step, as shown on the handover page, and the fault if it failed.

    An abandoned attempt changes nothing here once a later one has started.
    """

    class Step(models.TextChoices):
        WAITING = "waiting", "waiting to be printed"
        PICTURES = "pictures", "drawing the pictures"
        PAGES = "pages", "setting the pages"
        KEEPING = "keeping", "keeping the file"
        DONE = "done", "printed"
        FAILED = "failed", "not printed"

    sheet = models.OneToOneField(HandoverSheet, on_delete=models.PROTECT, related_name="printing")
    step = models.CharField(max_length=10, choices=Step, default=Step.WAITING)
    done = models.PositiveSmallIntegerField(default=0)
    of = models.PositiveSmallIntegerField(default=0)
    attempt = models.PositiveSmallIntegerField(default=1)
    moved_at = models.DateTimeField(default=timezone.now)
    fault = models.TextField(blank=True)

    personal_data = PersonalData(customer="sheet__job__customer")

    def __str__(self) -> str:
        return f"{self.sheet}: {self.get_step_display()}"

    @property
    def is_under_way(self) -> bool:
        return self.step not in (self.Step.DONE, self.Step.FAILED)

    @property
    def is_stalled(self) -> bool:
        """Return True if there was no progress for so long that the attempt seems dead."""
        limit = MAX_WAITING_TIME if self.step == self.Step.WAITING else MAX_STEP_TIME
        return self.is_under_way and self.moved_at + limit < timezone.now()

    @property
    def can_be_restarted(self) -> bool:
        return not self.is_under_way or self.is_stalled

    def restart(self) -> None:
        self.attempt += 1
        self.step, self.done, self.of, self.fault = self.Step.WAITING, 0, 0, ""
        self.moved_at = timezone.now()
        self.save()

    @property
    def progress_key(self) -> str:
        """Return a text that changes with every step of progress."""
        return f"{self.attempt}-{self.step}-{self.done}-{self.of}-{int(self.is_stalled)}"
