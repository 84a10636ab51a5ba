"""Sessions on the dyno: from strapping a bike down to taking it off again."""

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.job import Job
from workshop.models import PersonalData, Record


class DynoSession(Record):
    """A further session on the dyno: the bike was taken off and strapped down again.

    The first session of a job has no row: what names no session belongs to it.
    """

    FIRST = 1

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="dyno_sessions")
    number = models.PositiveSmallIntegerField(editable=False, validators=[MinValueValidator(FIRST + 1)])
    started_at = models.DateTimeField("strapped down again at", default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    personal_data = PersonalData(customer="job__customer")

    class Meta:
        ordering = ("number", "pk")
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="dyno_session_number_unique"),
            models.CheckConstraint(condition=Q(number__gt=1), name="dyno_session_after_the_first"),
        ]

    def __str__(self) -> str:
        return f"dyno session {self.number}"
