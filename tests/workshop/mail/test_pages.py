"""Pages of mails: the real state, what became of a mail, the set-up and its test mail."""

import pytest
from django.core import mail as django_mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.factories import make_staff
from tests.html import by_id, read_text
from workshop.models import OutgoingMail, Role

State = OutgoingMail.State
pytestmark = pytest.mark.django_db


def make_mail(state: str, **more: object) -> OutgoingMail:
    by = OutgoingMail.by.field.related_model.objects.first() or make_staff(Role.DESK)
    page = reverse("mail-list")
    mail = {"to": "ines@example.org", "subject": "Your sheet", "page": page, "state": state, "by": by}
    return OutgoingMail.objects.create(**mail | more)


def state_text(client: Client, mail: OutgoingMail) -> str:
    return read_text(by_id(client.get(reverse("mail-list")), f"mail-{mail.pk}"))


def test_page_says_sent_only_if_server_took_it(login) -> None:
    client = login(Role.DESK)
    mail = make_mail(State.WAITING)
    assert "Waiting to be sent." in state_text(client, mail)
    at = timezone.now().replace(hour=14, minute=2)
    OutgoingMail.objects.update(state=State.SENT, sent_at=at)
    text = state_text(client, mail)
    assert (
        "Accepted by the mail server" in text and "14:02. This site cannot tell whether it arrived." in text
    )
    OutgoingMail.objects.update(state=State.FAILED, error="The mail server did not answer within 20 s.")
    text = state_text(client, mail)
    assert "Not sent. The mail server did not answer within 20 s." in text
    assert "Try again" in text and "Accepted by the mail server" not in text


def test_page_polls_while_mail_is_under_way(login) -> None:
    mail, client = make_mail(State.WAITING), login(Role.DESK)
    url, htmx = reverse("mail-state", args=[mail.pk]), {"HX-Request": "true"}
    assert f'hx-get="{url}?seen=waiting"' in client.get(reverse("mail-list")).text
    assert client.get(url, {"seen": "waiting"}, headers=htmx).status_code == 204
    OutgoingMail.objects.update(state=State.SENT, sent_at=timezone.now())
    part = client.get(url, {"seen": "waiting"}, headers=htmx).text
    assert "Accepted by the mail server" in part and "hx-get" not in part
    assert client.get(url).headers["Location"] == mail.page


def test_failed_mail_is_on_today_until_dealt_with(login) -> None:
    mail = make_mail(State.FAILED, error="The mail server cannot be reached: refused.", body="a secret link")
    today, client = reverse("today"), login(Role.DESK)
    assert "cannot be reached" in client.get(today).text
    assert "cannot be reached" not in login(Role.MECHANIC).get(today).text
    assert client.post(reverse("mail-settle", args=[mail.pk])).status_code == 302
    assert "cannot be reached" not in client.get(today).text
    mail.refresh_from_db()
    assert (mail.body, mail.history.first().history_user.username) == ("", "desk")
    listed = client.get(reverse("mail-list")).text
    assert "cannot be reached" in listed and "Dealt with" in listed and "Try again" not in listed
    assert "cannot be reached" not in client.get(reverse("mail-list"), {"state": "unsettled"}).text


def test_failed_mail_is_tried_again(login, django_capture_on_commit_callbacks) -> None:
    mail, client = make_mail(State.FAILED, error="refused", body="Read it here"), login(Role.DESK)
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(reverse("mail-retry", args=[mail.pk]), follow=True)
    assert "is waiting to be sent" in answer.text
    mail.refresh_from_db()
    assert (mail.state, mail.attempt, len(django_mail.outbox)) == (State.SENT, 2, 1)
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("mail-retry", args=[mail.pk]))  # clicked twice
    assert len(django_mail.outbox) == 1


def test_failed_mail_is_not_tried_again_without_mail_server(login, settings) -> None:
    mail = make_mail(State.FAILED, body="Read it here")
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    answer = login(Role.DESK).post(reverse("mail-retry", args=[mail.pk]), follow=True)
    assert "Not sent: no mail server is set up." in answer.text
    assert "Mail is not set up on this site, so it sends no mails." in answer.text


def test_mail_that_came_back_is_listed_until_dealt_with(login) -> None:
    mail = make_mail(State.SENT, sent_at=timezone.now())
    client, url = login(Role.DESK), reverse("mail-returned", args=[mail.pk])
    assert "Record as returned" in state_text(client, mail)
    assert client.post(url, {"note": " "}).status_code == 422
    assert client.post(url, {"note": "mailbox full"}).status_code == 302
    assert "Returned" in state_text(client, mail) and "mailbox full" in state_text(client, mail)
    assert "mailbox full" in client.get(reverse("today")).text
    client.post(reverse("mail-settle", args=[mail.pk]))
    assert "mailbox full" not in client.get(reverse("today")).text


def test_mail_that_was_not_sent_cannot_come_back(login) -> None:
    mail = make_mail(State.FAILED)
    answer = login(Role.DESK).post(reverse("mail-returned", args=[mail.pk]), {"note": "x"}, follow=True)
    assert "Only a mail that the mail server accepted can be returned." in answer.text


def test_list_takes_five_queries(login, shop, django_assert_num_queries) -> None:
    for _ in range(5):
        make_mail(State.SENT, sent_at=timezone.now())
    client = login(Role.DESK)
    client.get(reverse("mail-list"))
    with django_assert_num_queries(5):  # session, person, shop, count, mails
        client.get(reverse("mail-list"))


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"sort": "to"}, ["ada@example.org", "ines@example.org", "zoe@example.org"]),
        ({"sort": "-to"}, ["zoe@example.org", "ines@example.org", "ada@example.org"]),
        ({"q": "ADA"}, ["ada@example.org"]),
        ({"state": "sent"}, ["ines@example.org"]),
        ({"state": "waiting"}, ["zoe@example.org"]),
        ({"state": "unsettled"}, ["ada@example.org"]),
        ({"state": "returned"}, []),
    ],
)
def test_list_is_filtered_and_sorted(login, query, found) -> None:
    for to, state in (("ines", State.SENT), ("zoe", State.WAITING), ("ada", State.FAILED)):
        make_mail(state, to=f"{to}@example.org")
    page = login(Role.DESK).get(reverse("mail-list"), query)
    assert [mail.to for mail in page.context["page"]] == found


# set-up


def test_set_up_shows_settings_without_password(login, settings) -> None:
    settings.EMAIL_HOST, settings.EMAIL_HOST_USER = "mail.shop.example", "bench"
    settings.EMAIL_HOST_PASSWORD, settings.EMAIL_TIMEOUT = "guarded", 20
    page = login(Role.OWNER).get(reverse("mail-setup")).text
    assert "mail.shop.example, port" in page and "bench" in page and "20 s" in page
    assert "guarded" not in page
    assert login(Role.DESK).get(reverse("mail-setup")).status_code == 403


def test_test_mail_shows_its_result(login, shop, django_capture_on_commit_callbacks) -> None:
    client, url = login(Role.OWNER), reverse("mail-setup")
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(url, {"address": "bench@shop.example"}).status_code == 302
    assert django_mail.outbox[0].to == ["bench@shop.example"]
    mail = OutgoingMail.objects.get()
    assert "Accepted by the mail server" in read_text(by_id(client.get(url), f"mail-{mail.pk}"))
    assert client.post(url, {"address": "bench@localhost"}).status_code == 422


def test_set_up_without_mail_server_says_what_to_do(login, settings) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"
    client, url = login(Role.OWNER), reverse("mail-setup")
    for answer in (client.get(url), client.post(url, {"address": "bench@shop.example"})):
        assert "Mail is not set up on this site" in answer.text and "EMAIL_URL" in answer.text
        assert "Send test mail" not in answer.text
    assert not OutgoingMail.objects.exists()
