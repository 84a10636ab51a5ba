"""The customer's wishes, each a line, and how the work answered them."""

from typing import Any

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models, transaction
from django.db.models import Q

from jobs.models.job import Job
from workshop.models import PersonalData, Record

MAX_WISH_LENGTH = 200


class Wish(Record):
    """One wish of the customer's request: what became of it, and the records that show it.

    ``records`` holds keys such as "comparison-12"; one whose record is gone names nothing.
    """

    class Result(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        PARTLY = "partly", "partly done"
        NOT_DONE = "not_done", "not done"
        ASK_FIRST = "ask_first", "ask the customer first"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="wishes")
    position = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(99)]
    )
    text = models.CharField("wish", max_length=MAX_WISH_LENGTH)
    result = models.CharField(max_length=10, choices=Result, default=Result.OPEN)
    answer = models.CharField("answer in one line", max_length=300, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        editable=False,
    )
    records = models.JSONField("records that show it", default=list, blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("text", "answer"))

    class Meta:
        ordering = ("position", "pk")
        verbose_name_plural = "wishes"
        constraints = [
            models.CheckConstraint(condition=~Q(text=""), name="wish_has_text"),
            models.CheckConstraint(
                condition=Q(result="open") | ~Q(answer=""), name="wish_with_result_has_answer"
            ),
        ]

    def __str__(self) -> str:
        return self.text

    def save(self, *args: Any, **kwargs: Any) -> None:
        with transaction.atomic():
            super().save(*args, **kwargs)
            self.job.index_words()

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        with transaction.atomic():
            deleted = super().delete(*args, **kwargs)
            self.job.index_words()
        return deleted

    def get_records_display(self) -> str:
        """Count the records, for the change log."""
        count = len(self.records)
        return f"{count} record{'' if count == 1 else 's'}"
