"""Mails to customers and their state, from waiting to what became of them."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from simple_history.models import HistoricalRecords

from workshop.models.customers import Customer
from workshop.models.personal_data import PersonalData


class MailQuerySet(models.QuerySet["OutgoingMail"]):
    def unsettled(self) -> "MailQuerySet":
        """Return mails that did not arrive, as far as known, and that nobody has dealt with."""
        failed = Q(state=OutgoingMail.State.FAILED) | Q(returned_at__isnull=False)
        return self.filter(failed, settled_at__isnull=True)


class OutgoingMail(models.Model):
    """A mail that the site sends, written with what it is about and sent after that is stored.

    Its text is deleted once a mail server took it.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting to be sent"
        SENDING = "sending", "being sent"
        SENT = "sent", "taken by the mail server"
        FAILED = "failed", "not sent"
        CANCELLED = "cancelled", "cancelled"

    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="mails", null=True, blank=True
    )
    about = models.CharField(max_length=80, blank=True)  # the record that it is about, see mail_key
    page = models.CharField(max_length=200)  # address of the page that lists it
    to = models.EmailField("to", blank=True)
    subject = models.CharField(max_length=200)
    body = models.TextField(blank=True)
    attached = models.CharField("stored file that goes with it", max_length=200, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempt = models.PositiveSmallIntegerField(default=1)
    error = models.TextField("why it was not sent", blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    moved_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField("taken by the mail server at", null=True, blank=True)
    returned_at = models.DateTimeField("came back at", null=True, blank=True)
    returned_note = models.CharField("what the returned mail says", max_length=300, blank=True)
    settled_at = models.DateTimeField("dealt with at", null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    history = HistoricalRecords(excluded_fields=["body", "moved_at"])

    personal_data = PersonalData(
        customer="customer", cleared=("to", "body", "error", "returned_note"), free_text=("subject",)
    )
    objects = MailQuerySet.as_manager()

    class Meta:
        ordering = ("-created_at", "-pk")
        verbose_name = "mail"
        indexes = [
            models.Index(fields=["about"]),
            models.Index(
                fields=["state", "moved_at"],
                name="mail_under_way",
                condition=Q(state__in=["waiting", "sending"]),
            ),
            models.Index(
                fields=["created_at"],
                name="mail_unsettled",
                condition=Q(settled_at__isnull=True) & (Q(state="failed") | Q(returned_at__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return self.subject

    @property
    def is_under_way(self) -> bool:
        return self.state in (self.State.WAITING, self.State.SENDING)

    @property
    def is_unsettled(self) -> bool:
        """Return True if it did not arrive, as far as known, and nobody has dealt with it."""
        return self.settled_at is None and (self.state == self.State.FAILED or self.returned_at is not None)
