"""The customer's link: made, opened, acknowledged, mailed; ended, it opens nothing."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.models import ContactEntry
from reports.customer import links, views
from reports.handover.issuing import issue_sheet
from reports.handover.notices import VERSION, as_text
from reports.handover.scope import CONFIRMATION, NOT_INSPECTED
from reports.handover.snapshot.codec import from_json
from reports.models import Acknowledgement, HandoverSheet, LinkCall, SheetLink
from tests import factories
from tests.html import by_id, read_text
from tests.reports import whole_jobs
from workshop.models import OutgoingMail, Role
from workshop.people.names import NAME_NEEDED


@pytest.fixture
def sheet(staff) -> HandoverSheet:
    whole_jobs.make_shop(link_days=30)
    job = factories.make_job(intended_use="track_only")
    return issue_sheet(job=job, by=staff[Role.OWNER], override_reason="for a test")


@pytest.fixture
def link(sheet, staff) -> SheetLink:
    return links.make_link(sheet=sheet, by=staff[Role.DESK])


def page_of(link: SheetLink, name: str = "customer-sheet") -> str:
    return reverse(name, args=[link.token])


def test_desk_makes_link_with_qr_code(login, sheet):
    client = login(Role.DESK)
    answer = client.post(reverse("link-new", args=[sheet.pk]), follow=True)
    link = SheetLink.objects.get()
    page = answer.content.decode()
    assert f"http://testserver{page_of(link)}" in page
    assert "data:image/svg+xml" in page
    assert link.expires_at - timezone.now() > timedelta(days=29)
    assert len(link.token) >= 43  # 32 bytes, so that nobody guesses one


@pytest.mark.parametrize("name", ["link-new", "sheet-mail"])
def test_only_desk_and_owner_manage_links(client, login, sheet, name):
    url = reverse(name, args=[sheet.pk])
    assert client.get(url).status_code == 302
    for role, status in ((Role.DESK, 200), (Role.OWNER, 200), (Role.MECHANIC, 403), (Role.TUNER, 403)):
        assert login(role).get(url).status_code == status
    assert login(Role.DESK).get(reverse(name, args=[sheet.pk + 1])).status_code == 404


def test_customer_reads_sheet_without_log_in(client, link):
    answer = client.get(page_of(link))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Smoother pick-up from closed throttle" in page
    assert "Track use only" in page
    assert 'content="noindex, nofollow"' in page
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow"
    # The address is told to no other site; none at all would make the browser hide where a form comes from.
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert "no-store" in answer.headers["Cache-Control"]
    pdf = client.get(page_of(link, "customer-pdf"))
    assert b"".join(pdf.streaming_content).startswith(b"%PDF")


def test_openings_by_staff_are_not_counted(client, login, link):
    for reader in (client, client, login(Role.DESK)):
        reader.get(page_of(link))
    link.refresh_from_db()
    assert link.openings == 2
    assert link.last_opened_at is not None


@pytest.mark.parametrize("name", ["customer-sheet", "customer-pdf"])
def test_unknown_token_is_not_found(client, db, name):
    assert client.get(reverse(name, args=["x" * 43])).status_code == 404


@pytest.mark.parametrize("name", ["customer-sheet", "customer-pdf"])
@pytest.mark.parametrize("ended", [{"expires_at": timezone.now()}, {"revoked_at": timezone.now()}])
def test_expired_or_revoked_link_opens_nothing(client, link, name, ended):
    SheetLink.objects.filter(pk=link.pk).update(**ended)
    answer = client.get(page_of(link, name))
    assert answer.status_code == 410
    assert "This link has expired or was revoked" in answer.content.decode()
    assert "pick-up" not in answer.content.decode()
    assert client.post(page_of(link, "customer-acknowledge"), {"name": "Ines"}).status_code == 410
    assert not Acknowledgement.objects.exists()


def test_revoked_link_opens_nothing(client, login, link):
    assert login(Role.MECHANIC).post(reverse("link-revoke", args=[link.pk])).status_code == 403
    assert login(Role.DESK).get(reverse("link-revoke", args=[link.pk])).status_code == 405
    answer = login(Role.DESK).post(reverse("link-revoke", args=[link.pk]), follow=True)
    assert "revoked" in answer.content.decode()
    assert client.get(page_of(link)).status_code == 410


def test_acknowledgement_is_stored_with_text_shown(client, link, sheet):
    for _ in range(2):
        assert client.post(page_of(link, "customer-acknowledge"), {"name": "Ines Quill"}).status_code == 302
    kept = Acknowledgement.objects.get()
    assert kept.name == "Ines Quill"
    assert kept.sheet == sheet and kept.link == link
    assert kept.notice_text == "\n".join(
        [as_text(from_json(sheet.snapshot).notices), NOT_INSPECTED, CONFIRMATION]
    )
    assert "track use only" in kept.notice_text
    assert f"Notice text version {VERSION}" in kept.notice_text
    assert "Confirmed by Ines Quill" in client.get(page_of(link)).content.decode()


def test_acknowledgement_requires_name(client, link):
    answer = client.post(page_of(link, "customer-acknowledge"), {"name": "  "})
    assert answer.status_code == 422
    assert "This field is required." in answer.content.decode()
    assert client.get(page_of(link, "customer-acknowledge")).status_code == 405


def test_acknowledgement_requires_csrf_token(link):
    strange = Client(enforce_csrf_checks=True)
    assert strange.post(page_of(link, "customer-acknowledge"), {"name": "Ines"}).status_code == 403


def test_too_many_requests_are_refused(client, link, monkeypatch):
    monkeypatch.setattr(links, "MAX_OPENINGS_PER_HOUR", 3)
    monkeypatch.setattr(links, "MAX_UNKNOWN_LINKS_PER_HOUR", 2)
    assert [client.get(page_of(link)).status_code for _ in range(4)] == [200, 200, 200, 429]
    cache.clear()  # counted for all processes of the site, so no one's own memory matters
    assert client.get(page_of(link)).status_code == 429
    wrong = reverse("customer-sheet", args=["y" * 43])
    assert [client.get(wrong).status_code for _ in range(3)] == [404, 404, 429]


def test_request_limit_ends_after_an_hour(client, link, monkeypatch):
    monkeypatch.setattr(links, "MAX_OPENINGS_PER_HOUR", 1)
    assert [client.get(page_of(link)).status_code for _ in range(2)] == [200, 429]
    LinkCall.objects.update(until=timezone.now())
    assert client.get(page_of(link)).status_code == 200
    assert LinkCall.objects.count() == 1


def test_customer_page_mentions_newer_sheet(client, link, sheet, staff):
    issue_sheet(job=sheet.job, by=staff[Role.OWNER], override_reason="again")
    assert "There is a later sheet. It replaces this one." in client.get(page_of(link)).content.decode()


def test_outdated_page_leads_to_a_later_sheet_that_the_shop_released(client, link, sheet, staff):
    later = issue_sheet(job=sheet.job, by=staff[Role.OWNER], override_reason="again")
    page = client.get(page_of(link)).text
    assert "Ask us for it." in page
    released = links.make_link(sheet=later, by=staff[Role.DESK])
    page = client.get(page_of(link)).text
    assert f'href="{page_of(released)}"' in page
    assert client.get(page_of(released)).status_code == 200
    links.revoke(released)
    assert page_of(released) not in client.get(page_of(link)).text


def test_phone_number_of_the_shop_can_be_tapped(client, link):
    assert 'href="tel:' in client.get(page_of(link)).text


def test_link_is_mailed_to_customer(login, sheet, django_capture_on_commit_callbacks):
    client = login(Role.DESK)
    url = reverse("sheet-mail", args=[sheet.pk])
    assert 'value="ines@example.org"' in client.get(url).content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(url, {"address": "ines@example.org"}, follow=True)
    assert "is queued" in answer.content.decode()
    link = SheetLink.objects.get()
    (sent,) = mail.outbox
    assert sent.to == ["ines@example.org"]
    assert f"http://testserver{page_of(link)}" in sent.body
    assert sent.reply_to == ["desk@example.org"]
    stored = OutgoingMail.objects.get()
    assert stored.customer == sheet.job.customer
    page = client.get(stored.page)
    assert "Accepted by the mail server" in read_text(by_id(page, f"mail-{stored.pk}"))
    client.post(url, {"address": "ines@example.org"})
    assert SheetLink.objects.count() == 1  # the link that works is sent again


@pytest.mark.parametrize("backend", ["console", "dummy"])
def test_link_is_offered_to_copy_without_mail_server(login, sheet, link, settings, backend, capsys):
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    client, url = login(Role.DESK), reverse("sheet-mail", args=[sheet.pk])
    for answer in (client.get(url, follow=True), client.post(url, {"address": "i@example.org"}, follow=True)):
        page = answer.content.decode()
        assert "Mail is not set up on this site, so it sends no mails." in page
        assert f'value="http://testserver{page_of(link)}"' in page
        assert "is sent" not in page
    assert not OutgoingMail.objects.exists()
    assert link.token not in "".join(capsys.readouterr())


@pytest.mark.parametrize(
    ("address", "sentence"),
    [
        ("ines", "Enter an email address such as name@example.com."),
        ("ines@@example.org", "Enter an email address such as name@example.com."),
        ("ines@localhost", "cannot receive email"),
        ("ines@shop.invalid", "cannot receive email"),
        ("", "This field is required."),
    ],
)
def test_impossible_email_address_is_refused(login, sheet, address, sentence):
    answer = login(Role.DESK).post(reverse("sheet-mail", args=[sheet.pk]), {"address": address})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert f'value="{address}"' in answer.content.decode() or not address
    assert mail.outbox == []


def test_confirmation_needs_a_name_and_keeps_what_was_typed(client, link):
    refused = client.post(page_of(link, "customer-acknowledge"), {"name": "x"})
    assert refused.status_code == 422
    assert str(NAME_NEEDED) in refused.text
    assert 'value="x"' in refused.text
    assert not Acknowledgement.objects.exists()


def ask(client, link, question: str = "Which oil is in it now?"):
    return client.post(page_of(link, "customer-ask"), {"question": question})


def test_question_of_the_customer_is_among_the_contacts_of_the_job(client, login, link):
    answer = client.post(page_of(link, "customer-ask"), {"question": "Which oil?"}, follow=True)
    assert "We have your question." in answer.text
    entry = ContactEntry.objects.get()
    assert (entry.job, entry.direction, entry.text, entry.by) == (link.sheet.job, "in", "Which oil?", None)
    assert "Which oil?" in login(Role.DESK).get(reverse("job", args=[link.sheet.job])).text


def test_empty_or_endless_question_is_refused_and_preserved(client, link):
    assert ask(client, link, " ").status_code == 422
    refused = ask(client, link, "why " * 600)
    assert refused.status_code == 422
    assert "why why" in refused.text
    assert not ContactEntry.objects.exists()


def test_questions_are_limited_per_hour(client, link, monkeypatch):
    monkeypatch.setattr(views, "MAX_QUESTIONS_PER_HOUR", 2)
    assert [ask(client, link).status_code for _ in range(3)] == [302, 302, 429]
    assert "Too many questions within an hour." in ask(client, link).text
    assert ContactEntry.objects.count() == 2


def test_question_needs_a_live_link_and_a_csrf_token(client, link):
    assert Client(enforce_csrf_checks=True).post(page_of(link, "customer-ask"), {}).status_code == 403
    assert client.get(page_of(link, "customer-ask")).status_code == 405
    links.revoke(link)
    assert ask(client, link).status_code == 410
    assert not ContactEntry.objects.exists()
