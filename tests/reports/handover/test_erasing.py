"""Issued sheets of an erased customer: each kept or deleted as the owner decides; no new link."""

import json

import pytest
from django.core import mail
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse

from jobs.models import Job
from reports.customer.links import LinkRefused, make_link
from reports.handover.issuing import PdfUnavailable, issue_sheet, issued_pdf
from reports.handover.snapshot.codec import from_json
from reports.models import HandoverSheet, SheetLink
from tests import factories
from tests.reports import whole_jobs
from workshop.models import Customer, DocumentDecision, Role

PLATE = "DEMO 22"
REASON = "Tax law, until the end of 2036"


@pytest.fixture
def sheet(staff, blank_pages) -> HandoverSheet:
    whole_jobs.make_shop(link_days=30)
    job = factories.make_job(
        intended_use="track_only",
        brief=f"Ines Quill wants {PLATE} smooth. Call +00 555 0101.",
        stage="handed_over",
    )
    job.bike.plate = PLATE
    job.bike.save()
    return issue_sheet(
        job=job,
        by=staff[Role.OWNER],
        override_reason="Ines Quill cannot wait",
        informed_person="Ines Quill",
        build_customer_url=lambda token: f"https://shop.example/sheet/{token}/",
    )


@pytest.fixture
def customer(sheet) -> Customer:
    return sheet.job.customer


def form_data(sheet: HandoverSheet, choice: str, reason: str = "") -> dict[str, str]:
    key = f"reports-handoversheet-{sheet.pk}"
    return {"name": "Ines Quill", f"choice-{key}": choice, f"reason-{key}": reason}


@pytest.fixture
def erase_on_page(login, sheet, customer, django_capture_on_commit_callbacks):
    """Return a function that submits the page of the erasure as the owner."""

    def submit(choice: str, reason: str = ""):
        with django_capture_on_commit_callbacks(execute=True):
            url = reverse("customer-erase", args=[customer.pk])
            return login(Role.OWNER).post(url, form_data(sheet, choice, reason))

    return submit


def test_page_lists_sheets_and_asks_for_a_decision(login, sheet, customer, erase_on_page):
    page = login(Role.OWNER).get(reverse("customer-erase", args=[customer.pk])).text
    assert f"Handover sheet {sheet.number}, issued" in page
    assert "rule of thumb, no published source" in page
    assert "checked" not in page[page.index("<main") : page.index("</main>")]  # nothing is decided beforehand
    for choice, reason, sentence in (
        ("", "", "keep or delete it."),
        ("keep", " ", "enter why you keep it, and until when."),
    ):
        answer = erase_on_page(choice, reason)
        assert answer.status_code == 422 and sentence in answer.text
    assert Customer.objects.get().name == "Ines Quill"
    assert not DocumentDecision.objects.exists()


def test_sheet_that_is_kept_stays_as_issued_with_the_decision(login, sheet, customer, erase_on_page):
    before = HandoverSheet.objects.values().get()
    assert erase_on_page("keep", REASON).status_code == 302
    assert HandoverSheet.objects.values().get() == before
    decision = DocumentDecision.objects.get()
    assert (decision.choice, decision.reason, decision.by.username) == ("keep", REASON, "owner")
    owner = login(Role.OWNER)
    page = owner.get(reverse("customer", args=[customer.pk])).text
    assert f"Handover sheet {sheet.number}, issued" in page and f"keep, {REASON}" in page
    assert b"".join(owner.get(reverse("sheet-pdf", args=[sheet.pk])).streaming_content).startswith(b"%PDF")


def test_deleted_sheet_keeps_number_and_hash_only(login, sheet, erase_on_page):
    name, sha256 = sheet.pdf.name, sheet.sha256
    assert default_storage.exists(name)
    assert erase_on_page("delete").status_code == 302
    assert not default_storage.exists(name)
    left = HandoverSheet.objects.get()
    assert (left.number, left.sha256, left.pdf.name) == (sheet.number, sha256, "")
    assert left.snapshot_sha256 == sheet.snapshot_sha256
    everything = json.dumps([left.snapshot, *left.history.values()], default=str).lower()
    token = SheetLink.objects.get().token
    for personal in ("quill", "555 0101", PLATE.lower(), token.lower()):
        assert personal not in everything
    assert from_json(left.snapshot).customer.name == f"Erased customer {sheet.job.customer_id}"
    with pytest.raises(PdfUnavailable, match="was deleted with the customer's data"):
        issued_pdf(left)
    owner = login(Role.OWNER)
    page = owner.get(reverse("handover", args=[sheet.job])).text
    assert "Deleted with the customer&#x27;s data".replace("&#x27;", "'") in page and sha256 in page
    assert reverse("sheet-pdf", args=[sheet.pk]) not in page
    assert (
        reverse("sheet-pdf", args=[sheet.pk])
        not in owner.get(reverse("job", args=[sheet.job]), {"open": "all"}).text
    )
    for name in ("sheet-pdf", "link-new", "sheet-mail"):
        answer = owner.get(reverse(name, args=[sheet.pk]))
        assert answer.headers["Location"] == reverse("handover", args=[sheet.job])
    owner.post(reverse("sheet-print", args=[sheet.pk]))
    assert HandoverSheet.objects.get().pdf.name == ""


def test_deleted_sheet_is_not_printed_by_a_late_task(sheet, erase_on_page):
    erase_on_page("delete")
    assert not HandoverSheet.objects.get().attach("sheets/late.pdf", "0" * 64)
    assert HandoverSheet.objects.get().pdf.name == ""


@pytest.mark.parametrize("choice", ["keep", "delete"])
def test_no_link_can_be_made_or_mailed_after_erasure(login, staff, sheet, customer, erase_on_page, choice):
    erase_on_page(choice, REASON)
    desk = login(Role.DESK)
    for name, data in (("link-new", {}), ("sheet-mail", {"address": "ines@example.org"})):
        answer = desk.post(reverse(name, args=[sheet.pk]), data, follow=True)
        assert "no link to it can be made or mailed" in answer.text
    with pytest.raises(LinkRefused):
        make_link(sheet=HandoverSheet.objects.get(), by=staff[Role.DESK])
    assert SheetLink.objects.count() == 1
    assert mail.outbox == []


@pytest.mark.parametrize("name", ["customer-sheet", "customer-pdf"])
def test_link_that_a_restore_brought_back_opens_nothing(sheet, erase_on_page, name):
    erase_on_page("keep", REASON)
    SheetLink.objects.update(revoked_at=None)
    link = SheetLink.objects.get()
    answer = Client().get(reverse(name, args=[link.token]))
    assert answer.status_code == 410
    assert "Quill" not in answer.text
    assert Client().post(reverse("customer-acknowledge", args=[link.token]), {"name": "I"}).status_code == 410


def test_sheet_issued_after_erasure_may_have_a_link(staff, sheet, erase_on_page):
    erase_on_page("delete")
    job = Job.objects.get()
    later = issue_sheet(job=job, by=staff[Role.OWNER], override_reason="again", informed_person="Bo")
    make_link(sheet=later, by=staff[Role.DESK])
    assert "quill" not in json.dumps(later.snapshot).lower()


def test_decision_can_be_changed_later(login, sheet, customer, erase_on_page):
    erase_on_page("keep", REASON)
    owner, url = login(Role.OWNER), reverse("customer-erase", args=[customer.pk])
    page = owner.get(url).text
    assert REASON in page and "checked" in page
    data = {**form_data(sheet, "delete"), "name": f"Erased customer {customer.pk}"}
    assert owner.post(url, data).status_code == 302
    assert HandoverSheet.objects.get().erased_at is not None
    assert [decision.choice for decision in DocumentDecision.objects.order_by("pk")] == ["keep", "delete"]
    assert "No stored document contains the name." in owner.get(url).text
