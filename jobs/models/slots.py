"""Time on the dyno and at the benches, closed days, and the calendar links that show both."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import models, transaction
from django.db.models import F, Q

from jobs.models.job import Job
from workshop.models import PersonalData, Record

QUARTER = timedelta(minutes=15)


class WorkPlace(Record):
    """A dyno or a bench that one job at a time can have."""

    class Kind(models.TextChoices):
        DYNO = "dyno", "dyno"
        BENCH = "bench", "bench"

    name = models.CharField(max_length=40, unique=True)
    kind = models.CharField(max_length=10, choices=Kind)
    order = models.PositiveSmallIntegerField(default=100)
    retired = models.BooleanField("archived", default=False)

    class Meta:
        verbose_name = "workstation"
        ordering = ("order", "pk")
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=["dyno", "bench"]), name="work_place_kind_known")
        ]

    def __str__(self) -> str:
        return self.name


class ShutDays(Record):
    """One or several consecutive days on which the shop is closed."""

    first = models.DateField("first day")
    last = models.DateField("last day")
    reason = models.CharField(max_length=120)

    class Meta:
        verbose_name = "closed days"
        verbose_name_plural = "closed days"
        ordering = ("first", "pk")
        constraints = [models.CheckConstraint(condition=Q(last__gte=F("first")), name="shut_days_in_order")]

    def __str__(self) -> str:
        return f"{self.reason}, {self.span}"

    @property
    def span(self) -> str:
        """Format the days: one, or from the first to the last."""
        if self.first == self.last:
            return f"{self.first:%a %-d %b %Y}"
        return f"{self.first:%a %-d %b} to {self.last:%a %-d %b %Y}"

    def covers(self, day: date) -> bool:
        return self.first <= day <= self.last


class Slot(Record):
    """A workstation reserved for a job from one instant to another.

    Raises IntegrityError on saving if another job has the workstation for a part of that time.
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="slots")
    place = models.ForeignKey(WorkPlace, on_delete=models.PROTECT, related_name="slots")
    starts_at = models.DateTimeField("from")
    ends_at = models.DateTimeField("to")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    personal_data = PersonalData(customer="job__customer")

    class Meta:
        ordering = ("starts_at", "place", "pk")
        indexes = [models.Index(fields=["starts_at"])]
        constraints = [
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="slot_ends_after_its_start")
        ]

    def __str__(self) -> str:
        return f"{self.place} for job {self.job.number}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        with transaction.atomic():
            super().save(*args, **kwargs)
            self.quarters.all().delete()
            SlotQuarter.objects.bulk_create(
                SlotQuarter(slot=self, place_id=self.place_id, at=at)
                for at in quarters(self.starts_at, self.ends_at)
            )


class SlotQuarter(models.Model):
    """A quarter of an hour of a workstation that is taken.

    No two slots have the same one: every database supports this, unlike the exclusion of ranges.
    """

    slot = models.ForeignKey(Slot, on_delete=models.CASCADE, related_name="quarters")
    place = models.ForeignKey(WorkPlace, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    personal_data = PersonalData(customer="slot__job__customer")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["place", "at"], name="slot_no_double_booking")]

    def __str__(self) -> str:
        return f"{self.place} {self.at:%Y-%m-%d %H:%M}"


def quarters(starts_at: datetime, ends_at: datetime) -> list[datetime]:
    """Yield every quarter of an hour in a span; offsets from UTC are whole quarters everywhere."""
    starts_at, ends_at = starts_at.astimezone(UTC), ends_at.astimezone(UTC)
    offset = starts_at.timestamp() % QUARTER.total_seconds()
    first = starts_at - timedelta(seconds=offset)
    count = -((first - ends_at) // QUARTER)
    return [first + number * QUARTER for number in range(count)]


class CalendarAddress(models.Model):
    """The secret link of one person's calendar; only its hash is stored."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="calendar_address"
    )
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    read_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"calendar of {self.person}"
