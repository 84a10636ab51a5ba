"""The job (work order): the request, its stage, the agreed work."""

from typing import Any

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models, transaction
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from workshop.models import Bike, Customer, PersonalData, Record, ShopProfile
from workshop.models.search import Word, index_words, tokenise


class Stage(models.TextChoices):
    BOOKED = "booked", "booked"
    RECEIVED = "received", "checked in"
    BENCH = "bench", "on the bench"
    ROLLER = "roller", "on the dyno"
    WAITING = "waiting", "waiting"
    READY = "ready", "ready to hand over"
    HANDED_OVER = "handed_over", "handed over"
    CANCELLED = "cancelled", "cancelled"


CLOSED_STAGES = (Stage.HANDED_OVER, Stage.CANCELLED)
OPEN_STAGES = tuple(stage for stage in Stage if stage not in CLOSED_STAGES)


class JobQuerySet(models.QuerySet["Job"]):
    def open(self) -> "JobQuerySet":
        # Filter on the open stages: few rows, and indexed.
        return self.filter(stage__in=OPEN_STAGES)

    def overdue(self) -> "JobQuerySet":
        """Return the open jobs past their time whose work is not finished."""
        working = [stage for stage in OPEN_STAGES if stage != Stage.READY]
        return self.filter(stage__in=working, promised_at__lt=timezone.now())

    def for_list(self) -> "JobQuerySet":
        return self.select_related("customer", "bike")


class Job(Record):
    class IntendedUse(models.TextChoices):
        ROAD = "road", "road"
        ROAD_AND_TRACK = "road_and_track", "road and track"
        TRACK_ONLY = "track_only", "track only"

    class WaitingFor(models.TextChoices):
        PARTS = "parts", "parts"
        CUSTOMER = "customer", "the customer"
        DECISION = "decision", "a decision"

    class Fuel(models.TextChoices):
        EMPTY = "empty", "empty"
        QUARTER = "quarter", "a quarter"
        HALF = "half", "half"
        THREE_QUARTERS = "three_quarters", "three quarters"
        FULL = "full", "full"

    year = models.PositiveSmallIntegerField(editable=False)
    sequence = models.PositiveIntegerField(editable=False)
    number = models.CharField(max_length=12, unique=True, editable=False)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="jobs")
    bike = models.ForeignKey(Bike, on_delete=models.PROTECT, related_name="jobs")
    brief = models.TextField("customer's request")
    intended_use = models.CharField(max_length=20, choices=IntendedUse)
    stage = models.CharField(max_length=20, choices=Stage, default=Stage.BOOKED, editable=False)
    waiting_for = models.CharField(max_length=20, choices=WaitingFor, blank=True, editable=False)
    booked_for = models.DateTimeField("drop-off", null=True, blank=True)
    promised_at = models.DateTimeField("ready by", null=True, blank=True)
    received_at = models.DateTimeField(null=True, blank=True, editable=False)
    handed_over_at = models.DateTimeField(null=True, blank=True, editable=False)
    odometer_km = models.FloatField(
        "odometer (km)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(2_000_000)],
    )
    engine_hours = models.FloatField(
        "engine hours", null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100_000)]
    )
    fuel = models.CharField("fuel in the tank", max_length=20, choices=Fuel, blank=True)
    keys = models.PositiveSmallIntegerField("keys", null=True, blank=True)
    condition = models.TextField("condition on arrival", blank=True)
    authorised_amount = models.DecimalField(
        "customer's limit",
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    condition_marks = models.JSONField("damage marks", default=list, blank=True)
    next_service = models.TextField("next service and what to watch", blank=True)
    not_tested = models.TextField("not tested", blank=True)
    mechanic = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    tuner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    personal_data = PersonalData(
        customer="customer",
        free_text=("brief", "condition", "condition_marks", "next_service", "not_tested"),
    )
    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ("-year", "-sequence")
        indexes = [
            models.Index(fields=["stage", "promised_at"]),
            models.Index(fields=["stage", "-year", "-sequence"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["year", "sequence"], name="job_year_sequence_unique"),
            models.CheckConstraint(
                condition=Q(odometer_km__gte=0) | Q(odometer_km=None), name="job_odometer_not_negative"
            ),
            models.CheckConstraint(condition=Q(stage__in=Stage.values), name="job_stage_known"),
            models.CheckConstraint(
                condition=Q(stage=Stage.WAITING) & ~Q(waiting_for="")
                | ~Q(stage=Stage.WAITING) & Q(waiting_for=""),
                name="job_waits_for_something",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    def get_absolute_url(self) -> str:
        return reverse("job", args=[self.number])

    def save(self, *args: Any, **kwargs: Any) -> None:
        with transaction.atomic():
            if self._state.adding and not self.number:
                self._take_number()
            super().save(*args, **kwargs)
            self.index_words()

    def index_words(self) -> None:
        wishes = self.wishes.values_list("text", flat=True)
        index_words(self.words, tokenise(self.brief, self.number, *wishes))

    def _take_number(self) -> None:
        # Lock the shop row while a number is assigned, so that no two jobs get the same one.
        ShopProfile.current()
        ShopProfile.objects.select_for_update().get(pk=1)
        self.year = timezone.localdate().year
        last = Job.objects.filter(year=self.year).aggregate(models.Max("sequence"))["sequence__max"]
        self.sequence = (last or 0) + 1
        self.number = f"{self.year}-{self.sequence:03d}"

    @property
    def is_open(self) -> bool:
        return self.stage not in CLOSED_STAGES

    @property
    def is_late(self) -> bool:
        """Return True if the work is past its time; a finished bike waits for its collection."""
        if not self.is_open or self.stage == Stage.READY or self.promised_at is None:
            return False
        return self.promised_at < timezone.now()


class JobWord(Word):
    """A word of a job's brief or of a wish, or its number."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="words")


class StageEntry(Record):
    """One step of a job from stage to stage: person, time, reason."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="stage_entries")
    stage = models.CharField(max_length=20, choices=Stage)
    waiting_for = models.CharField(max_length=20, choices=Job.WaitingFor, blank=True)
    why = models.TextField(blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    personal_data = PersonalData(customer="job__customer", free_text=("why",))

    class Meta:
        ordering = ("at", "pk")
        verbose_name_plural = "stage entries"

    def __str__(self) -> str:
        return f"{self.job} {self.get_stage_display()}"


class Photo(Record):
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="photos")
    image = models.FileField(upload_to="photos/%Y/")
    original_name = models.CharField(max_length=200)
    caption = models.CharField("caption", max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    personal_data = PersonalData(customer="job__customer", free_text=("original_name", "caption"))

    class Meta:
        ordering = ("created_at", "pk")

    def __str__(self) -> str:
        return self.caption or self.original_name


class WorkItem(Record):
    """Work agreed with the customer, with its price."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="work_items")
    description = models.CharField("work agreed", max_length=200)
    price = models.DecimalField(
        max_digits=10, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    done = models.BooleanField(default=False)

    personal_data = PersonalData(customer="job__customer", free_text=("description",))

    class Meta:
        ordering = ("created_at", "pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(price__gte=0) | Q(price=None), name="work_item_price_not_negative"
            )
        ]

    def __str__(self) -> str:
        return self.description


class BikeChange(Record):
    """A change of the bike that no other record holds, such as a tyre, a fuel or a part taken off."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="bike_changes")
    kind = models.ForeignKey("jobs.PartKind", on_delete=models.PROTECT, related_name="+")
    description = models.CharField("change", max_length=300)
    removes_part = models.ForeignKey(
        "jobs.Part",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="removes",
    )
    removes_change = models.ForeignKey(
        "self",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="undoes the change",
    )
    approval = models.CharField("approval number", max_length=120, blank=True)
    at = models.DateTimeField("changed at", default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    personal_data = PersonalData(customer="job__customer", free_text=("description", "approval"))

    class Meta:
        ordering = ("at", "pk")

    def __str__(self) -> str:
        return self.description
