"""Readings that verify the dyno itself; they belong to no job."""

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.utils import timezone

from workshop.models import Instrument, PersonalData, Record


class DynoCheck(Record):
    """One reading of something that should always read the same."""

    class Method(models.TextChoices):
        BIKE = "bike", "reference bike"
        WEIGHT = "weight", "dead weight"
        OTHER = "other", "other"

    class Unit(models.TextChoices):
        KW = "kw", "kW"
        HP = "hp", "hp"
        NM = "nm", "N·m"
        LBF_FT = "lbf_ft", "lbf·ft"
        N = "n", "N"

    method = models.CharField(max_length=10, choices=Method, default=Method.BIKE)
    subject = models.CharField("what is measured", max_length=120)
    unit = models.CharField(max_length=10, choices=Unit, default=Unit.KW)
    reading = models.FloatField(validators=[MinValueValidator(0)])
    true_value = models.FloatField(
        "true value, if known", null=True, blank=True, validators=[MinValueValidator(0)]
    )
    true_value_error = models.FloatField(
        "true value known within (±)", null=True, blank=True, validators=[MinValueValidator(0)]
    )
    instrument = models.ForeignKey(
        Instrument,
        verbose_name="instrument for the true value",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    at = models.DateTimeField("measured at", default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True)

    personal_data = PersonalData(free_text=("subject", "note"))

    class Meta:
        ordering = ("at", "pk")

    def __str__(self) -> str:
        return f"{self.get_method_display()}: {self.subject}"
