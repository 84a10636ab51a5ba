"""What the shop measures with, and when each of it was last checked."""

from datetime import date

from django.db import models
from django.db.models import F, OuterRef, Q, Subquery
from django.urls import reverse
from django.utils import timezone

from workshop.models.base import Record
from workshop.models.personal_data import PersonalData


class InstrumentQuerySet(models.QuerySet["Instrument"]):
    def with_last_check(self) -> "InstrumentQuerySet":
        """Add ``last_checked_on`` and ``next_due_on`` of the last check; None without one."""
        last = InstrumentCheck.objects.filter(instrument=OuterRef("pk")).order_by("-checked_on", "-pk")
        return self.annotate(
            last_checked_on=Subquery(last.values("checked_on")[:1]),
            next_due_on=Subquery(last.values("due_on")[:1]),
        )

    def in_use(self) -> "InstrumentQuerySet":
        return self.filter(withdrawn=False)

    def overdue(self) -> "InstrumentQuerySet":
        """Return the instruments in use whose next check was due before today."""
        found = self.with_last_check().in_use()
        return found.filter(next_due_on__lt=timezone.localdate())  # type: ignore[misc]  # annotated


class Instrument(Record):
    """One instrument of the shop; the dyno has a log of its own (jobs.models.dyno_checks)."""

    class Kind(models.TextChoices):
        FEELER = "feeler", "feeler gauges"
        MICROMETER = "micrometer", "micrometer"
        DIAL = "dial", "dial gauge"
        WEATHER = "weather", "weather station"
        LAMBDA = "lambda", "lambda probe or meter"
        THERMOMETER = "thermometer", "thermometer"
        PRESSURE = "pressure", "pressure gauge"
        TORQUE = "torque", "torque wrench"
        WEIGHT = "weight", "weights or scales"
        OTHER = "other", "other"

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=Kind)
    number = models.CharField("serial or shop number", max_length=40, blank=True)
    withdrawn = models.BooleanField("withdrawn from use", default=False)

    objects = InstrumentQuerySet.as_manager()

    class Meta:
        ordering = ("kind", "name", "number", "pk")
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "number"],
                condition=~Q(number=""),
                name="instrument_number_unique",
                violation_error_message="An instrument of this kind with this number already exists.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.number})" if self.number else self.name

    def get_absolute_url(self) -> str:
        return reverse("instrument", args=[self.pk])


class InstrumentCheck(Record):
    """One check that an instrument passed: a calibration, or a comparison within the shop."""

    instrument = models.ForeignKey(Instrument, on_delete=models.CASCADE, related_name="checks")
    checked_on = models.DateField()
    checked_by = models.CharField("checked by or where", max_length=120)
    certificate = models.CharField("certificate number", max_length=60, blank=True)
    due_on = models.DateField("next check due", null=True, blank=True)

    personal_data = PersonalData(free_text=("checked_by",))

    class Meta:
        ordering = ("checked_on", "pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(due_on=None) | Q(due_on__gt=F("checked_on")),
                name="instrument_check_due_later",
                violation_error_message="The next check must be due after this one.",
            )
        ]

    def __str__(self) -> str:
        return f"check of {self.checked_on:%-d %b %Y}"

    def is_overdue_on(self, day: date) -> bool:
        """Return True if the next check was due before a day."""
        return self.due_on is not None and self.due_on < day
