"""Valve clearances, as found and as left, and the shim plan made from them."""

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from jobs.calc.clearances.shim_plan import Origin, Policy
from jobs.models.job import Job
from workshop.models import ClearanceKind, Instrument, PersonalData, Record, Side
from workshop.models.engines import mm_field


class ClearanceSet(Record):
    class When(models.TextChoices):
        AS_FOUND = "as_found", "as found"
        AS_LEFT = "as_left", "as left"

    class Cold(models.TextChoices):
        COLD = "cold", "cold, no part warmer than a hand"
        WARM = "warm", "still warm"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="clearance_sets")
    when = models.CharField(max_length=10, choices=When)
    engine_temperature_c = models.FloatField(
        "engine temperature (°C)",
        null=True,
        blank=True,
        validators=[MinValueValidator(-30), MaxValueValidator(150)],
    )
    # Asked if the engine ran earlier on the same day; ``ran_at`` is when it did, as far as was on record.
    engine_cold = models.CharField("the engine was", max_length=10, choices=Cold, blank=True)
    stood_hours = models.FloatField(
        "time at rest (hours)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(24)],
    )
    ran_at = models.DateTimeField(null=True, blank=True, editable=False)
    feeler_gauge = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # Of the shims measured with this set.
    micrometer = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    instrument = models.CharField("other instrument", max_length=80, blank=True)
    measured_at = models.DateTimeField("measured at", default=timezone.now)
    measured_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("note",))

    class Meta:
        ordering = ("measured_at", "pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(engine_temperature_c=None)
                | Q(engine_temperature_c__gte=-30, engine_temperature_c__lte=150),
                name="clearance_set_temperature_plausible",
            )
        ]

    def __str__(self) -> str:
        return f"clearances {self.get_when_display()}"

    @property
    def measured_with(self) -> str:
        """Return what the gaps were measured with; empty if not recorded."""
        return ", ".join(str(named) for named in (self.feeler_gauge, self.instrument) if named)


class ClearanceReading(Record):
    """One gap of one valve: a value, or a bracket (largest blade that goes, smallest that does not)."""

    clearance_set = models.ForeignKey(ClearanceSet, on_delete=models.CASCADE, related_name="readings")
    cylinder = models.PositiveSmallIntegerField()
    side = models.CharField(max_length=10, choices=Side)
    position = models.PositiveSmallIntegerField()
    gap = models.CharField(max_length=10, choices=ClearanceKind, default=ClearanceKind.OPENING)
    clearance_mm = mm_field("clearance (mm)")
    goes_mm = mm_field("largest blade that goes (mm)")
    not_goes_mm = mm_field("smallest blade that does not go (mm)")
    shim_marked_mm = mm_field("shim fitted, as marked (mm)")
    shim_measured_mm = mm_field("shim fitted, measured (mm)")

    personal_data = PersonalData(customer="clearance_set__job__customer")

    class Meta:
        ordering = ("cylinder", "-side", "position", "-gap")
        constraints = [
            models.UniqueConstraint(
                fields=["clearance_set", "cylinder", "side", "position", "gap"],
                name="clearance_reading_unique",
            ),
            models.CheckConstraint(
                condition=Q(clearance_mm__gte=0, goes_mm=None, not_goes_mm=None)
                | Q(clearance_mm=None, goes_mm__gte=0, not_goes_mm__gt=F("goes_mm")),
                name="clearance_reading_value_or_bracket",
            ),
        ]

    def __str__(self) -> str:
        return f"cylinder {self.cylinder}, {self.side} {self.position}, {self.get_gap_display()}"

    @property
    def shim_mm(self) -> Decimal | None:
        """Return the shim's thickness: a measurement overrides the marking."""
        return self.shim_measured_mm if self.shim_measured_mm is not None else self.shim_marked_mm


POLICY_LABELS = {
    Policy.TARGET.value: "closest to target",
    Policy.FEWEST_NEW.value: "fewest shims to buy",
    Policy.FEWEST_CAMSHAFTS.value: "fewest camshafts removed",
}
ORIGIN_LABELS = {
    Origin.STAYS.value: "stays",
    Origin.VALVE.value: "from another valve",
    Origin.STOCK.value: "from stock",
    Origin.BUY.value: "to buy",
}


class ShimPlan(Record):
    """The plan that was accepted for one as-found set."""

    clearance_set = models.OneToOneField(ClearanceSet, on_delete=models.CASCADE, related_name="shim_plan")
    policy = models.CharField(max_length=20, choices=POLICY_LABELS)
    accepted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    accepted_at = models.DateTimeField(default=timezone.now)
    stock_booked_out_at = models.DateTimeField(null=True, blank=True)
    left_over_in_drawer_at = models.DateTimeField(null=True, blank=True, editable=False)

    personal_data = PersonalData(customer="clearance_set__job__customer")

    def __str__(self) -> str:
        return f"shim plan, {self.get_policy_display()}"


class ShimPlanRow(Record):
    plan = models.ForeignKey(ShimPlan, on_delete=models.CASCADE, related_name="rows")
    cylinder = models.PositiveSmallIntegerField()
    side = models.CharField(max_length=10, choices=Side)
    position = models.PositiveSmallIntegerField()
    gap = models.CharField(max_length=10, choices=ClearanceKind, default=ClearanceKind.OPENING)
    out_mm = mm_field("old shim (mm)", null=False)
    in_mm = mm_field("new shim (mm)", null=False)
    origin = models.CharField(max_length=10, choices=ORIGIN_LABELS)
    origin_detail = models.CharField(max_length=80, blank=True)
    predicted_mm = mm_field("predicted clearance (mm)", null=False)
    shim_diameter_mm = mm_field("shim diameter (mm)")  # as when the plan was accepted
    why = models.CharField(max_length=300, blank=True)

    personal_data = PersonalData(customer="plan__clearance_set__job__customer")

    class Meta:
        ordering = ("cylinder", "-side", "position", "-gap")
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "cylinder", "side", "position", "gap"], name="shim_plan_row_unique"
            )
        ]

    def __str__(self) -> str:
        return f"cylinder {self.cylinder}, {self.side} {self.position}: {self.in_mm} mm"
