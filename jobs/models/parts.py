"""Parts fitted on a job."""

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from jobs.models.job import Job
from workshop.models import PersonalData, Record


class Part(Record):
    """A part as fitted: name, what it replaces and changes, and whether it is for racing only."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="parts")
    name = models.CharField(max_length=120)
    maker = models.CharField(max_length=80, blank=True)
    part_number = models.CharField("number", max_length=60, blank=True)
    serial = models.CharField("serial number", max_length=60, blank=True)
    quantity = models.DecimalField(
        max_digits=7, decimal_places=2, default=1, validators=[MinValueValidator(0)]
    )
    fitted_at = models.DateTimeField("fitted at", null=True, blank=True)
    replaces = models.CharField(max_length=120, blank=True)
    race_only = models.BooleanField("race use only", default=False)
    changes_gearing = models.BooleanField("changes the gearing", default=False)
    changes_exhaust = models.BooleanField("changes the exhaust", default=False)
    changes_intake = models.BooleanField("changes the intake", default=False)
    changes_brakes = models.BooleanField("changes the brakes", default=False)
    changes_suspension = models.BooleanField("changes the suspension", default=False)
    note = models.TextField(blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("name", "maker", "replaces", "note"))

    class Meta:
        ordering = ("created_at", "pk")
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="part_has_name"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="part_quantity_positive"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def changes(self) -> list[str]:
        """Describe what this part changes."""
        kinds = ("gearing", "exhaust", "intake", "brakes", "suspension")
        return [kind for kind in kinds if getattr(self, f"changes_{kind}")]
