"""Queue mails, send them outside of any transaction, and record what the mail server answered."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import partial
from pathlib import PurePath
from smtplib import (
    SMTPAuthenticationError,
    SMTPRecipientsRefused,
    SMTPResponseException,
    SMTPServerDisconnected,
)

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.mail import EmailMessage
from django.db import models, transaction
from django.utils import timezone
from django_tasks import task

from workshop.background.abandoned import MAX_ATTEMPTS, when_stopped
from workshop.mail.server import has_mail_server
from workshop.models import Customer, OutgoingMail, ShopProfile, StaffMember

State = OutgoingMail.State
MAX_WAITING_TIME = timedelta(minutes=1)
MAX_ANSWERS = 10  # of the mail server to one mail, each within the time limit
NO_SERVER = "No mail server is set up for this site."
UNKNOWN = (
    "Sending stopped before the mail server answered, so the mail may or may not have been sent. "
    "Ask the customer before you send it again."
)
NOT_TAKEN = "The program that sends mails did not start."


class MailUnavailable(Exception):
    """The mail cannot be queued; the message says why."""


def mail_key(record: models.Model) -> str:
    """Return the text by which mails name the record they are about."""
    return f"{record._meta.label_lower}:{record.pk}"


def list_mails_about(records: Iterable[models.Model]) -> dict[str, list[OutgoingMail]]:
    """Return the mails about records by ``mail_key``, the latest first, in one query."""
    found = defaultdict(list)
    keys = [mail_key(record) for record in records]
    for mail in OutgoingMail.objects.filter(about__in=keys).select_related("by"):
        found[mail.about].append(mail)
    return dict(found)


def list_unsettled(customer: Customer | None = None) -> "models.QuerySet[OutgoingMail]":
    """Return mails that did not arrive, as far as known, until somebody has dealt with them."""
    mails = OutgoingMail.objects.unsettled().select_related("by", "customer")
    return mails if customer is None else mails.filter(customer=customer)


def queue_mail(
    *,
    to: str,
    subject: str,
    body: str,
    page: str,
    by: StaffMember,
    about: models.Model | None = None,
    customer: Customer | None = None,
    attached: str = "",
) -> OutgoingMail:
    """Store a mail within the caller's transaction; it is sent once that is committed.

    Parameters
    ----------
    page : str
        Address of the page that lists the mails about this record.
    customer : Customer, optional
        Whom it concerns; it is erased and exported with the customer.
    attached : str
        Name in the storage of a PDF that goes with it.

    Raises
    ------
    MailUnavailable
        No mail server is set up, or the customer was erased.
    """
    if not has_mail_server():
        raise MailUnavailable(NO_SERVER)
    mail = OutgoingMail.objects.create(
        to=to,
        subject=" ".join(subject.split())[:200],  # a line end in a head would end the head
        body=body,
        page=page,
        by=by,
        about=mail_key(about) if about else "",
        customer=customer,
        attached=attached,
    )
    start_sending(mail)
    return mail


def start_sending(mail: OutgoingMail, *, backend: str = "default") -> None:
    # After the commit: a mail server may take long to answer, and a task may start at once.
    transaction.on_commit(partial(send_mail.using(backend=backend).enqueue, mail.pk, mail.attempt))


@task()
def send_mail(pk: int, attempt: int) -> None:
    """Send a waiting mail, and record the answer of the mail server."""
    mail = take(pk, attempt)
    if mail is None:
        return
    try:
        build_message(mail).send()
    except Exception as problem:
        # Not raised: the tasks' own records and the log would keep the customer's address.
        record_outcome(mail, error=describe_problem(problem))
    except BaseException:
        record_outcome(mail, error=UNKNOWN)
        raise
    else:
        record_outcome(mail)


@transaction.atomic
def take(pk: int, attempt: int) -> OutgoingMail | None:
    """Mark a waiting mail as being sent; None if it is not waiting, or waits for a later attempt."""
    waiting = OutgoingMail.objects.select_for_update().filter(pk=pk, attempt=attempt, state=State.WAITING)
    mail = waiting.first()
    if mail is not None:
        move(mail, State.SENDING)
    return mail


def move(mail: OutgoingMail, state: State) -> None:
    mail.state, mail.moved_at = state, timezone.now()
    mail.save()


@transaction.atomic
def record_outcome(mail: OutgoingMail, *, error: str = "") -> None:
    """Record that the mail server took a mail, or why not, unless it was tried again since."""
    stored = OutgoingMail.objects.select_for_update().filter(pk=mail.pk, attempt=mail.attempt)
    current = stored.first()
    if current is None or (error and current.state == State.CANCELLED):
        return  # an error may hold the address of a customer who was erased meanwhile
    current.error = error
    if not error:
        current.body, current.sent_at = "", timezone.now()
    move(current, State.FAILED if error else State.SENT)


def build_message(mail: OutgoingMail) -> EmailMessage:
    shop = ShopProfile.current()
    reply_to = [shop.email] if shop.email else None
    message = EmailMessage(mail.subject, mail.body, to=[mail.to], reply_to=reply_to)
    if mail.attached:
        with default_storage.open(mail.attached) as file:
            message.attach(PurePath(mail.attached).name, file.read(), "application/pdf")
    return message


def describe_problem(problem: Exception) -> str:
    """Return in a sentence why a mail was not sent."""
    if isinstance(problem, FileNotFoundError):
        return "The attached file is missing."
    # smtplib reports a time-out while it waits for an answer as a lost connection.
    if isinstance(problem, TimeoutError) or isinstance(problem.__context__, TimeoutError):
        return f"The mail server did not answer within {settings.EMAIL_TIMEOUT} s."
    if isinstance(problem, SMTPAuthenticationError):
        return f"The mail server refused this site's log-in: “{quote_answer(problem.smtp_error)}”."
    if isinstance(problem, SMTPRecipientsRefused):
        code, text = next(iter(problem.recipients.values()))
        return f"The mail server refused the address: “{code} {quote_answer(text)}”."
    if isinstance(problem, SMTPResponseException):
        return f"The mail server refused the mail: “{problem.smtp_code} {quote_answer(problem.smtp_error)}”."
    if isinstance(problem, SMTPServerDisconnected):
        return "The mail server closed the connection before it accepted the mail."
    if isinstance(problem, OSError):
        return f"The mail server cannot be reached: {problem.strerror or problem}."
    return "A program error stopped the sending. See the server log."


def quote_answer(answer: bytes | str) -> str:
    text = answer.decode(errors="replace") if isinstance(answer, bytes) else answer
    return " ".join(text.split())[:300]


@when_stopped(send_mail)
def record_stop(pk: int, attempt: int, problem: str) -> None:
    """Record that the process of a mail ended before the mail was sent or refused."""
    mail = OutgoingMail.objects.filter(
        pk=pk, attempt=attempt, state__in=(State.WAITING, State.SENDING)
    ).first()
    if mail is not None:
        record_outcome(mail, error=problem or (UNKNOWN if mail.state == State.SENDING else NOT_TAKEN))


def take_up_mails(now: datetime) -> None:
    """Send mails that nobody took, in a process; mark those whose sending was stopped.

    The latter are never sent again by themselves: the customer might get them twice.
    """
    under_way = OutgoingMail.objects.order_by("pk")
    max_sending_time = timedelta(seconds=settings.EMAIL_TIMEOUT * MAX_ANSWERS)
    for mail in under_way.filter(state=State.SENDING, moved_at__lt=now - max_sending_time):
        record_outcome(mail, error=UNKNOWN)
    for mail in under_way.filter(state=State.WAITING, moved_at__lt=now - MAX_WAITING_TIME):
        if mail.attempt < MAX_ATTEMPTS:
            try_again(mail, from_state=State.WAITING, backend="process")
        else:
            record_outcome(mail, error=NOT_TAKEN)


@transaction.atomic
def try_again(mail: OutgoingMail, *, from_state: State = State.FAILED, backend: str = "default") -> bool:
    """Start a further attempt; return False if somebody else has done so."""
    stored = OutgoingMail.objects.select_for_update().filter(pk=mail.pk, attempt=mail.attempt)
    current = stored.filter(state=from_state, settled_at=None).first()
    if current is None:
        return False
    current.attempt += 1
    current.error = ""
    move(current, State.WAITING)
    start_sending(current, backend=backend)
    return True


def settle(mail: OutgoingMail) -> None:
    """Record that somebody dealt with a mail that did not arrive; its text is not needed any more."""
    mail.settled_at, mail.body = timezone.now(), ""
    mail.save()


def record_return(mail: OutgoingMail, note: str) -> None:
    """Record that a mail which the server took came back."""
    mail.returned_at, mail.returned_note, mail.settled_at = timezone.now(), note, None
    mail.save()


def cancel_mails(customer: Customer) -> None:
    """Cancel the customer's mails that are under way or could be tried again."""
    open_states = (State.WAITING, State.SENDING, State.FAILED)
    for mail in OutgoingMail.objects.select_for_update().filter(customer=customer, state__in=open_states):
        mail.settled_at = mail.settled_at or timezone.now()
        move(mail, State.CANCELLED)
