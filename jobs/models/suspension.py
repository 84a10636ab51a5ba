"""Suspension and settings, as found and as left."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from jobs.models.job import Job
from workshop.models import PersonalData, Record


def reading(name: str, highest: float = 1000) -> models.FloatField:
    return models.FloatField(
        name, null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(highest)]
    )


class SuspensionSetting(Record):
    class When(models.TextChoices):
        AS_FOUND = "as_found", "as found"
        AS_LEFT = "as_left", "as left"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="suspension_settings")
    when = models.CharField(max_length=10, choices=When)
    set_at = models.DateTimeField("date and time", default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    front_preload = models.CharField("front preload", max_length=40, blank=True)
    front_compression = models.CharField("front compression (clicks or turns out)", max_length=40, blank=True)
    front_rebound = models.CharField("front rebound (clicks or turns out)", max_length=40, blank=True)
    front_unloaded_mm = reading("front, wheel off the ground (mm)")
    front_bike_only_mm = reading("front, bike alone (mm)")
    front_pushed_mm = reading("front with rider, pushed down and let up (mm)")
    front_lifted_mm = reading("front with rider, lifted and let down (mm)")
    front_travel_mm = reading("front travel (mm)")
    front_rate_n_per_mm = reading("front spring rate (N/mm)")
    front_oil = models.CharField("fork oil and level", max_length=80, blank=True)
    front_height = models.CharField("fork height in the clamps", max_length=40, blank=True)
    front_pressure_kpa = reading("front tyre pressure, cold (kPa)")

    rear_preload = models.CharField("rear preload", max_length=40, blank=True)
    rear_compression = models.CharField("rear compression (clicks or turns out)", max_length=40, blank=True)
    rear_rebound = models.CharField("rear rebound (clicks or turns out)", max_length=40, blank=True)
    rear_unloaded_mm = reading("rear, wheel off the ground (mm)")
    rear_bike_only_mm = reading("rear, bike alone (mm)")
    rear_pushed_mm = reading("rear with rider, pushed down and let up (mm)")
    rear_lifted_mm = reading("rear with rider, lifted and let down (mm)")
    rear_travel_mm = reading("rear travel (mm)")
    rear_rate_n_per_mm = reading("rear spring rate (N/mm)")
    rear_height = models.CharField("rear ride height", max_length=40, blank=True)
    rear_pressure_kpa = reading("rear tyre pressure, cold (kPa)")

    front_sprocket = models.PositiveSmallIntegerField("front sprocket (teeth)", null=True, blank=True)
    rear_sprocket = models.PositiveSmallIntegerField("rear sprocket (teeth)", null=True, blank=True)
    note = models.TextField(blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("note",))

    class Meta:
        ordering = ("set_at", "pk")

    def __str__(self) -> str:
        return f"suspension {self.get_when_display()}"
