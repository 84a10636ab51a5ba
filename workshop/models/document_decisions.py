"""What the owner decided about stored documents when a customer was erased."""

from django.conf import settings
from django.db import models
from django.utils import timezone

from workshop.models.base import Record
from workshop.models.customers import Customer
from workshop.models.personal_data import PersonalData


class DocumentDecision(Record):
    """The decision to keep or to delete one stored document that holds an erased customer's name."""

    class Choice(models.TextChoices):
        KEEP = "keep", "keep"
        DELETE = "delete", "delete"

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="document_decisions")
    document = models.CharField(max_length=80)  # its model and key
    title = models.CharField(max_length=200)
    choice = models.CharField("decision", max_length=10, choices=Choice)
    reason = models.TextField(blank=True)
    decided_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    personal_data = PersonalData(customer="customer", free_text=("title", "reason"))

    class Meta:
        ordering = ("-decided_at", "-pk")
        indexes = [models.Index(fields=["document"])]

    def __str__(self) -> str:
        return f"{self.title}: {self.get_choice_display()}"
