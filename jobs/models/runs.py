"""Run files, how they were read, and comparisons of runs."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.dyno_sessions import DynoSession
from jobs.models.job import Job
from jobs.models.tunes import TuneRevision
from workshop.models import Instrument, PersonalData, Record


class FileLayout(Record):
    """Import settings of one kind of file, identified by the fingerprint of its header."""

    name = models.CharField(max_length=120)
    fingerprint = models.CharField(max_length=64, unique=True)
    layout = models.JSONField()

    personal_data = PersonalData(free_text=("name",))  # by default it quotes the name of a run's file

    class Meta:
        ordering = ("name", "pk")

    def __str__(self) -> str:
        return self.name


class Run(Record):
    class Kind(models.TextChoices):
        SWEEP = "sweep", "sweep"
        HELD = "held", "held-throttle run"
        IDLE = "idle", "idle"
        COAST = "coast", "coast-down"
        OTHER = "other", "other"

    class Status(models.TextChoices):
        TO_NAME = "to_name", "to be confirmed"
        READ = "read", "read"
        REFUSED = "refused", "cannot be read"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="runs")
    original = models.FileField(upload_to="runs/%Y/")
    original_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64, editable=False)
    size = models.PositiveBigIntegerField(editable=False)
    # Number of the pull in a file that holds several; 0 for the whole file.
    pull = models.PositiveSmallIntegerField("pull of the file", default=0, editable=False)
    status = models.CharField(max_length=10, choices=Status, default=Status.TO_NAME, editable=False)
    refusal = models.TextField(blank=True, editable=False)
    file_layout = models.ForeignKey(
        FileLayout, on_delete=models.SET_NULL, null=True, blank=True, related_name="runs"
    )
    layout_used = models.JSONField(null=True, blank=True, editable=False)
    report = models.JSONField("reading report", null=True, blank=True, editable=False)
    channels = models.FileField(upload_to="channels/%Y/", blank=True, editable=False)
    channel_names = models.JSONField(default=list, blank=True, editable=False)
    samples = models.PositiveIntegerField(null=True, blank=True, editable=False)

    name = models.CharField(max_length=120, blank=True)
    kind = models.CharField(max_length=10, choices=Kind, default=Kind.SWEEP)
    gear = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(8)]
    )
    # Of a held run whose file has no grip or throttle column.
    held_grip_pct = models.FloatField(
        "twist grip (%)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    temperature_c = models.FloatField(
        "air temperature (°C)",
        null=True,
        blank=True,
        validators=[MinValueValidator(-30), MaxValueValidator(60)],
    )
    pressure_kpa = models.FloatField(
        "barometer, absolute (kPa)",
        null=True,
        blank=True,
        validators=[MinValueValidator(50), MaxValueValidator(110)],
    )
    humidity_pct = models.FloatField(
        "relative humidity (%)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    weather_station = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lambda_probe = models.ForeignKey(
        Instrument,
        verbose_name="lambda probe or meter",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    corrected_by = models.CharField("correction already applied in the file", max_length=20, blank=True)
    file_factor = models.FloatField(
        "correction factor in the file",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.5), MaxValueValidator(1.5)],
    )
    tune_revision = models.ForeignKey(
        TuneRevision, on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    # By its time; None for the first session on the dyno.
    session = models.ForeignKey(
        DynoSession, on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="runs"
    )
    made_at = models.DateTimeField("made at", default=timezone.now)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    sweep_start = models.PositiveIntegerField("sweep from sample", null=True, blank=True)
    sweep_stop = models.PositiveIntegerField("sweep to sample", null=True, blank=True)
    note = models.TextField(blank=True)
    set_aside = models.BooleanField(default=False)
    set_aside_reason = models.CharField("reason for excluding", max_length=200, blank=True)

    personal_data = PersonalData(
        customer="job__customer", free_text=("original_name", "name", "refusal", "note", "set_aside_reason")
    )

    class Meta:
        ordering = ("made_at", "pk")
        constraints = [
            models.UniqueConstraint(fields=["job", "sha256", "pull"], name="run_pull_once_a_job"),
            models.CheckConstraint(
                condition=Q(set_aside=False) | ~Q(set_aside_reason=""), name="run_set_aside_has_reason"
            ),
            models.CheckConstraint(
                condition=Q(humidity_pct=None) | Q(humidity_pct__gte=0, humidity_pct__lte=100),
                name="run_humidity_0_to_100",
            ),
            models.CheckConstraint(
                condition=~Q(status="read") | ~Q(channels=""), name="run_read_has_channels"
            ),
        ]

    def __str__(self) -> str:
        return self.with_pull(self.name) if self.name else self.file_title

    @property
    def file_title(self) -> str:
        return self.with_pull(self.original_name)

    def with_pull(self, name: str) -> str:
        return f"{name}, pull {self.pull}" if self.pull else name

    @property
    def session_number(self) -> int:
        """Return the number of the session on the dyno in which the run was made."""
        return self.session.number if self.session else DynoSession.FIRST

    @property
    def has_air(self) -> bool:
        return None not in (self.temperature_c, self.pressure_kpa, self.humidity_pct)

    @property
    def counts(self) -> bool:
        """True if the run's results are used: it is read and not excluded."""
        return self.status == self.Status.READ and not self.set_aside


class Comparison(Record):
    """Two groups of repeats, before and after."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="comparisons")
    title = models.CharField("what is compared", max_length=120)
    on_sheet = models.BooleanField("print on the handover sheet", default=True)
    note = models.TextField(blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("title", "note"))

    class Meta:
        ordering = ("created_at", "pk")

    def __str__(self) -> str:
        return self.title


class ComparisonRun(Record):
    class Group(models.TextChoices):
        BEFORE = "before", "before"
        AFTER = "after", "after"

    comparison = models.ForeignKey(Comparison, on_delete=models.CASCADE, related_name="members")
    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="compared_in")
    group = models.CharField(max_length=10, choices=Group)

    personal_data = PersonalData(customer="comparison__job__customer")

    class Meta:
        ordering = ("group", "run__made_at")
        constraints = [
            models.UniqueConstraint(fields=["comparison", "run"], name="comparison_run_on_one_side")
        ]

    def __str__(self) -> str:
        return f"{self.run} ({self.group})"
