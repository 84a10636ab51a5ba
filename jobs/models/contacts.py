"""What shop and customer said to each other about a job, and what the shop noted."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.job import Job
from workshop.models import PersonalData, Record


class ContactEntry(Record):
    """One call, message or note. ``by`` is None if the customer wrote it on their own page."""

    class Kind(models.TextChoices):
        NOTE = "note", "note"
        CALL = "call", "call"
        MESSAGE = "message", "message"

    class Direction(models.TextChoices):
        IN = "in", "from the customer"
        OUT = "out", "to the customer"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="contacts")
    kind = models.CharField("kind", max_length=20, choices=Kind, default=Kind.NOTE)
    direction = models.CharField("direction", max_length=10, choices=Direction, blank=True)
    text = models.TextField("text", max_length=4000)
    said_at = models.DateTimeField("when", default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="+",
    )

    personal_data = PersonalData(customer="job__customer", free_text=("text",))

    class Meta:
        ordering = ("said_at", "pk")
        verbose_name_plural = "contact entries"
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="note", direction="") | ~Q(kind="note") & ~Q(direction=""),
                name="contact_has_direction_unless_note",
            ),
            models.CheckConstraint(condition=~Q(text=""), name="contact_has_text"),
        ]

    def __str__(self) -> str:
        return self.heading

    @property
    def heading(self) -> str:
        """Say who spoke to whom, such as 'Call from the customer'."""
        if self.kind == self.Kind.NOTE:
            return f"Note by {self.by}" if self.by_id else "Note"
        heading = f"{self.get_kind_display().capitalize()} {self.get_direction_display()}"
        return f"{heading}, {self.by}" if self.by_id else heading
