"""Mails: sent outside of transactions, and called sent only when a mail server took them."""

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail as django_mail
from django.db import connection, transaction
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from tests.factories import make_customer, make_staff
from tests.workshop.mail.server import mail_server
from workshop.background.abandoned import take_up_abandoned
from workshop.mail import outbox
from workshop.mail.outbox import MailUnavailable, mail_key, queue_mail, send_mail, try_again
from workshop.models import Customer, OutgoingMail, Role
from workshop.privacy.erase import erase

State = OutgoingMail.State
real_connection = pytest.mark.django_db(transaction=True)
NOBODY_SENDS = {"BACKEND": "django_tasks_db.DatabaseBackend"}


def queue(**more: Any) -> OutgoingMail:
    customer = Customer.objects.first() or make_customer()
    texts = {"to": "ines@example.org", "subject": "Your sheet", "body": "https://shop.example/sheet/secret/"}
    by = OutgoingMail.by.field.related_model.objects.first() or make_staff(Role.DESK)
    return queue_mail(**{**texts, "page": "/", "by": by, "customer": customer, "about": customer, **more})


def stored() -> OutgoingMail:
    return OutgoingMail.objects.get()


@pytest.fixture
def without_worker(settings) -> None:
    settings.TASKS = {**settings.TASKS, "default": NOBODY_SENDS}


# with a mail server


@real_connection
def test_mail_that_server_took_is_sent_and_its_text_deleted(settings) -> None:
    with mail_server(settings, "takes") as server:
        queue()
    mail = stored()
    assert (mail.state, mail.error, mail.body) == (State.SENT, "", "")
    assert mail.sent_at is not None
    (received,) = server.received
    assert "To: ines@example.org" in received and "https://shop.example/sheet/secret/" in received
    assert "secret/" not in str(list(OutgoingMail.history.values()))


@real_connection
def test_refused_mail_says_why_and_can_be_tried_again(settings) -> None:
    with mail_server(settings, "refuses"):
        queue()
    mail = stored()
    assert (mail.state, mail.sent_at) == (State.FAILED, None)
    assert mail.error == "The mail server refused the address: “550 no such mailbox here”."
    with mail_server(settings, "takes") as server:
        assert try_again(mail)
    assert (stored().state, stored().error, len(server.received)) == (State.SENT, "", 1)
    assert not try_again(mail)  # as read before: somebody else was quicker


@real_connection
def test_server_that_never_answers_fails_at_time_limit(settings) -> None:
    with mail_server(settings, "silent", time_limit=0.2):
        queue()
    assert (stored().state, stored().error) == (
        State.FAILED,
        "The mail server did not answer within 0.2 s.",
    )


@real_connection
def test_others_save_while_mail_server_is_silent(settings) -> None:
    customer = make_customer()

    def send() -> None:
        try:
            queue()
        finally:
            connection.close()

    with mail_server(settings, "silent") as server:
        sender = threading.Thread(target=send)
        sender.start()
        assert server.accepted.wait(60)
        customer.phone = "+00 555 0199"
        customer.save()  # at once refused or waiting if the sender held a transaction
        assert stored().state == State.SENDING
        server.hang_up()
        sender.join()
    assert Customer.objects.get().phone == "+00 555 0199"
    assert stored().error == "The mail server closed the connection before it accepted the mail."


@real_connection
def test_server_that_cannot_be_reached_is_reported(settings) -> None:
    with mail_server(settings, "takes") as server:
        port = server.port
    settings.EMAIL_PORT = port  # where nobody listens now
    queue()
    assert stored().error == "The mail server cannot be reached: Connection refused."


@real_connection
def test_mail_of_rolled_back_transaction_is_never_sent(settings) -> None:
    with mail_server(settings, "takes") as server:
        with pytest.raises(RuntimeError), transaction.atomic():
            queue()
            raise RuntimeError
        assert not server.accepted.is_set()
    assert not OutgoingMail.objects.exists()


@real_connection
def test_mail_is_sent_after_the_transaction() -> None:
    with transaction.atomic():
        queue()
        assert django_mail.outbox == []
    assert len(django_mail.outbox) == 1


# without one


@pytest.mark.django_db
@pytest.mark.parametrize("backend", ["console", "dummy", "filebased"])
def test_nothing_is_queued_without_mail_server(settings, backend, capsys) -> None:
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    with pytest.raises(MailUnavailable, match="No mail server is set up"):
        queue()
    assert not OutgoingMail.objects.exists()
    assert "secret" not in "".join(capsys.readouterr())


# subject


@pytest.mark.django_db
def test_line_end_in_subject_is_a_space(django_capture_on_commit_callbacks) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        queue(subject="Sheet 1, Two\r\nLines")
    assert stored().state == State.SENT
    assert django_mail.outbox[0].subject == "Sheet 1, Two Lines"


# abandoned tasks


@pytest.mark.django_db
@pytest.mark.usefixtures("without_worker")
def test_task_holds_no_address(django_capture_on_commit_callbacks) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        mail = queue()
    assert DBTaskResult.objects.get().args_kwargs == {"args": [mail.pk, 1], "kwargs": {}}


@pytest.mark.django_db
@pytest.mark.usefixtures("without_worker")
def test_waiting_mail_is_taken_up_and_sent_once(django_capture_on_commit_callbacks) -> None:
    mail = queue()
    with django_capture_on_commit_callbacks(execute=True):
        take_up_abandoned(timezone.now() + outbox.MAX_WAITING_TIME / 2)
    assert (stored().state, django_mail.outbox) == (State.WAITING, [])
    with django_capture_on_commit_callbacks(execute=True):
        take_up_abandoned(timezone.now() + outbox.MAX_WAITING_TIME * 2)
    assert (stored().state, len(django_mail.outbox)) == (State.SENT, 1)
    send_mail.call(mail.pk, 1)  # the worker comes at last
    assert len(django_mail.outbox) == 1


@pytest.mark.django_db
def test_mail_stopped_while_sending_is_not_sent_again(django_capture_on_commit_callbacks) -> None:
    mail = queue()
    OutgoingMail.objects.update(state=State.SENDING)
    with django_capture_on_commit_callbacks(execute=True):
        take_up_abandoned(timezone.now() + timedelta(hours=1))
    assert (stored().state, stored().error) == (State.FAILED, outbox.UNKNOWN)
    assert django_mail.outbox == []
    outbox.record_outcome(mail)  # it was only slow: the server has taken it after all
    assert (stored().state, stored().error) == (State.SENT, "")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("state", "sentence"), [(State.SENDING, outbox.UNKNOWN), (State.WAITING, outbox.NOT_TAKEN)]
)
def test_mail_of_killed_process_is_marked(state, sentence) -> None:
    mail = queue()
    OutgoingMail.objects.update(state=state)
    outbox.record_stop(mail.pk, 1, "")
    assert (stored().state, stored().error) == (State.FAILED, sentence)


@pytest.mark.django_db
@pytest.mark.usefixtures("without_worker")
def test_mail_that_is_never_taken_fails() -> None:
    queue()
    OutgoingMail.objects.update(attempt=3)
    take_up_abandoned(timezone.now() + timedelta(hours=1))
    assert (stored().state, stored().error) == (State.FAILED, outbox.NOT_TAKEN)


# erasure


@pytest.mark.django_db
def test_erasure_cancels_mails_and_removes_address() -> None:
    mail = queue(subject="Sheet of Ines Quill")
    erase(mail.customer)
    send_mail.call(mail.pk, 1)
    assert django_mail.outbox == []
    outbox.record_outcome(mail, error="ines@example.org is unknown")
    mail = stored()
    assert (mail.state, mail.to, mail.body, mail.error) == (State.CANCELLED, "", "", "")
    assert "ines" not in str([*OutgoingMail.objects.values(), *OutgoingMail.history.values()]).lower()
    assert mail.subject == f"Sheet of Erased customer {mail.customer_id}"


@pytest.mark.django_db
def test_mails_about_records_are_read_in_one_query(django_assert_num_queries) -> None:
    first, second = make_customer(), make_customer(name="Bo Tarn")
    mails = [queue(about=record) for record in (first, second, first)]
    with django_assert_num_queries(1):
        found = outbox.list_mails_about([first, second])
    assert found == {mail_key(first): [mails[2], mails[0]], mail_key(second): [mails[1]]}
