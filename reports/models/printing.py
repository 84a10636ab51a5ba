"""The printing progress of an issued sheet."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.utils import timezone

from reports.models.handover import HandoverSheet
from workshop.models import PersonalData

MAX_WAITING_TIME = timedelta(minutes=1)
MAX_STEP_TIME = timedelta(minutes=5)


class PrintingQuerySet(models.QuerySet["Printing"]):
    def abandoned(self, now: datetime) -> "PrintingQuerySet":
        """Return attempts that stopped, or that nobody took or moved on within the limits."""
        step = Printing.Step
        not_begun = Q(step__in=(step.WAITING, step.STOPPED), moved_at__lt=now - MAX_WAITING_TIME)
        begun = Q(step__in=(step.PICTURES, step.PAGES, step.KEEPING), moved_at__lt=now - MAX_STEP_TIME)
        return self.filter(not_begun | begun)


class Printing(models.Model):
    """The printing of a sheet: its step, as shown on the handover page, and the fault if it failed.

    An abandoned attempt changes nothing here once a later one has started.
    """

    class Step(models.TextChoices):
        WAITING = "waiting", "waiting to be printed"
        PICTURES = "pictures", "drawing the pictures"
        PAGES = "pages", "laying out the pages"
        KEEPING = "keeping", "saving the PDF"
        DONE = "done", "printed"
        STOPPED = "stopped", "stopped before it was printed"
        FAILED = "failed", "not printed"

    sheet = models.OneToOneField(HandoverSheet, on_delete=models.PROTECT, related_name="printing")
    step = models.CharField(max_length=10, choices=Step, default=Step.WAITING)
    done = models.PositiveSmallIntegerField(default=0)
    of = models.PositiveSmallIntegerField(default=0)
    attempt = models.PositiveSmallIntegerField(default=1)
    taken_up = models.PositiveSmallIntegerField(default=0)  # attempts begun by the site since somebody asked
    moved_at = models.DateTimeField(default=timezone.now)
    fault = models.TextField(blank=True)

    personal_data = PersonalData(customer="sheet__job__customer")
    objects = PrintingQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["moved_at"],
                name="printing_under_way",
                condition=~Q(step__in=["done", "failed"]),
            )
        ]

    def __str__(self) -> str:
        return f"{self.sheet}: {self.get_step_display()}"

    @property
    def is_under_way(self) -> bool:
        return self.step not in (self.Step.DONE, self.Step.STOPPED, self.Step.FAILED)

    @property
    def is_stalled(self) -> bool:
        """Return True if there was no progress for so long that the attempt seems dead."""
        limit = MAX_WAITING_TIME if self.step == self.Step.WAITING else MAX_STEP_TIME
        return self.is_under_way and self.moved_at + limit < timezone.now()

    @property
    def can_be_restarted(self) -> bool:
        return not self.is_under_way or self.is_stalled

    def restart(self, *, taken_up: int = 0) -> None:
        self.attempt += 1
        self.taken_up = taken_up
        self.step, self.done, self.of, self.fault = self.Step.WAITING, 0, 0, ""
        self.moved_at = timezone.now()
        self.save()

    @property
    def progress_key(self) -> str:
        """Return a text that changes with every step of progress."""
        return f"{self.attempt}-{self.step}-{self.done}-{self.of}-{int(self.is_stalled)}"
