"""What the customer was asked about money, and what they said."""

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.job import Job
from workshop.models import PersonalData, Record


class Authorisation(Record):
    """One question to the customer: up to what amount the shop may go, and the answer."""

    class How(models.TextChoices):
        PHONE = "phone", "by phone"
        MESSAGE = "message", "by message"
        IN_PERSON = "in_person", "in person"

    class Answer(models.TextChoices):
        AGREED = "agreed", "agreed"
        REFUSED = "refused", "refused"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="authorisations")
    amount = models.DecimalField(
        "amount asked for", max_digits=10, decimal_places=2, validators=[MinValueValidator(0)]
    )
    asked = models.CharField("who was asked", max_length=120)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    how = models.CharField("how", max_length=20, choices=How)
    at = models.DateTimeField("when", default=timezone.now)
    answer = models.CharField("answer", max_length=20, choices=Answer)
    words = models.CharField("in their words", max_length=300, blank=True)

    personal_data = PersonalData(customer="job__customer", cleared=("asked",), free_text=("words",))

    class Meta:
        ordering = ("at", "pk")
        constraints = [
            models.CheckConstraint(condition=Q(amount__gte=0), name="authorisation_amount_not_negative"),
            models.CheckConstraint(condition=~Q(asked=""), name="authorisation_names_who_was_asked"),
        ]

    def __str__(self) -> str:
        return f"{self.asked} {self.get_answer_display()} ({self.amount})"
