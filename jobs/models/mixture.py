"""Mixture studies: measured lambda by engine speed and throttle against a target."""

from django.conf import settings
from django.db import models

from jobs.models.job import Job
from jobs.models.runs import Run
from workshop.models import PersonalData, Record


class MixtureStudy(Record):
    """Which runs, which axes and targets, and the result as computed from them."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="mixture_studies")
    title = models.CharField(max_length=120)
    runs = models.ManyToManyField(Run, related_name="mixture_studies")
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    rpm_axis = models.JSONField("engine speed axis (rpm)")
    load_axis = models.JSONField("throttle axis (%)")
    load_channel = models.CharField("throttle measured by", max_length=20, default="grip_pct")
    target = models.JSONField("target lambda (one value, one per throttle point, or one per cell)")
    fuel = models.CharField(max_length=20, default="petrol_e5")
    delay_ms = models.FloatField("sensor delay (ms)", default=150)
    settings_used = models.JSONField(default=dict, blank=True, editable=False)
    result = models.JSONField(null=True, blank=True, editable=False)
    fuel_table_before = models.JSONField(null=True, blank=True)
    fuel_table_after = models.JSONField(null=True, blank=True)
    on_sheet = models.BooleanField("print on the handover sheet", default=True)

    personal_data = PersonalData(customer="job__customer", free_text=("title",))

    class Meta:
        ordering = ("created_at", "pk")
        verbose_name_plural = "mixture studies"

    def __str__(self) -> str:
        return self.title

    def get_fuel_table_before_display(self) -> str:
        """Summarise the table in few words, for the change log."""
        return "a fuel table" if self.fuel_table_before else "no fuel table"

    def get_fuel_table_after_display(self) -> str:
        return "a fuel table" if self.fuel_table_after else "no fuel table"
