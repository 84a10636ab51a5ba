"""How far the pages of an issued sheet are."""

from datetime import timedelta

from django.db import models
from django.utils import timezone

from reports.models.handover import HandoverSheet
from workshop.models import PersonalData

TAKEN_WITHIN = timedelta(minutes=1)
MOVES_WITHIN = timedelta(minutes=5)


class Printing(models.Model):
    """The making of a sheet's pages: its step, as told on the handover page, and the fault if it failed.

    An attempt that somebody took for dead changes nothing here once a later one is asked for.
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
        """Whether nothing has moved for so long that nobody seems to be at it."""
        patience = TAKEN_WITHIN if self.step == self.Step.WAITING else MOVES_WITHIN
        return self.is_under_way and self.moved_at + patience < timezone.now()

    @property
    def may_be_asked_again(self) -> bool:
        return not self.is_under_way or self.is_stalled

    def begin_anew(self) -> None:
        self.attempt += 1
        self.step, self.done, self.of, self.fault = self.Step.WAITING, 0, 0, ""
        self.moved_at = timezone.now()
        self.save()

    @property
    def mark(self) -> str:
        """Changes whenever there is something new to tell."""
        return f"{self.attempt}-{self.step}-{self.done}-{self.of}-{int(self.is_stalled)}"
