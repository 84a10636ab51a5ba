"""Parts fitted on a job, and the kinds of parts and other changes."""

from datetime import datetime

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from jobs.models.job import Job
from workshop.models import PersonalData, Record


class PartKind(Record):
    """A kind of part or other change of the bike, which the owner can add, with its effect on road use."""

    class RoadUse(models.TextChoices):
        NONE = "none", "no effect known"
        MAY = "may", "may affect road use"
        RACE = "race", "race use only"

    name = models.CharField(max_length=80, unique=True)
    for_parts = models.BooleanField("offered for parts", default=True)
    for_changes = models.BooleanField("offered for other changes", default=True)
    road_use = models.CharField("effect on road use", max_length=10, choices=RoadUse, default=RoadUse.MAY)
    road_use_effect = models.CharField("effect in words, as printed", max_length=300, blank=True)
    inform = models.BooleanField("the insurer or an authority may have to be told", default=False)
    customer_caution = models.CharField("note for the rider (printed)", max_length=300, blank=True)
    is_fuel = models.BooleanField("names the fuel in the tank", default=False)
    order = models.PositiveSmallIntegerField(default=100)
    retired = models.BooleanField("archived", default=False)

    class Meta:
        ordering = ("order", "name")
        constraints = [
            models.CheckConstraint(
                condition=Q(road_use="none") | ~Q(road_use_effect=""), name="part_kind_effect_in_words"
            ),
            models.CheckConstraint(
                condition=Q(for_parts=True) | Q(for_changes=True), name="part_kind_is_offered_for_something"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def affects_road_use(self) -> bool:
        return self.road_use != self.RoadUse.NONE


class Part(Record):
    """A part as fitted: name, kind, what it replaces, and whether it is for racing only."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="parts")
    # Parts of before the kinds may have none.
    kind = models.ForeignKey(PartKind, on_delete=models.PROTECT, null=True, related_name="+")
    name = models.CharField(max_length=120)
    maker = models.CharField(max_length=80, blank=True)
    part_number = models.CharField("number", max_length=60, blank=True)
    serial = models.CharField("serial number", max_length=60, blank=True)
    quantity = models.DecimalField(
        max_digits=7, decimal_places=2, default=1, validators=[MinValueValidator(0)]
    )
    fitted_at = models.DateTimeField("fitted at", null=True, blank=True)
    replaces = models.CharField(max_length=120, blank=True)
    removes_part = models.ForeignKey(
        "self", on_delete=models.SET_NULL, null=True, blank=True, related_name="+", verbose_name="removes"
    )
    removes_change = models.ForeignKey(
        "jobs.BikeChange",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="undoes the change",
    )
    race_only = models.BooleanField("race use only", default=False)
    approval = models.CharField("approval number", max_length=120, blank=True)
    note = models.TextField(blank=True)

    personal_data = PersonalData(
        customer="job__customer", free_text=("name", "maker", "replaces", "approval", "note")
    )

    class Meta:
        ordering = ("created_at", "pk")
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="part_has_name"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="part_quantity_positive"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def at(self) -> datetime | None:
        return self.fitted_at

    @property
    def changes(self) -> list[str]:
        """Describe what this part changes."""
        return [self.kind.name] if self.kind and self.kind.affects_road_use else []
