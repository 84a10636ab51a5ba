"""Handover: blockers, preview, issue, link and acknowledgement."""

import hashlib
from collections.abc import Callable, Iterator
from datetime import timedelta
from subprocess import Popen
from typing import Any
from urllib.parse import urljoin

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, expect

from jobs.checklists.ticks import set_tick
from jobs.models import CheckItem, ClearanceSet, Job, Part
from reports import tasks
from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet, Printing, SheetLink
from reports.typesetting.pdf import DocumentSource, typeset
from tests import factories
from tests.browser.conftest import PATIENCE_MS, watch
from tests.browser.steps import (
    assert_accessible,
    assert_fits,
    assert_message,
    follow,
    get_region,
    get_textbox,
)
from tests.reports.handover.test_printing import WORKER, run_worker
from workshop.models import Role

LogIn = Callable[[Role], Page]
Issue = Callable[..., Locator]
ASKED_AGAIN_MS = 2000


@pytest.fixture(scope="module", autouse=True)
def warm_up_printing() -> None:
    """Print once, so that the libraries are loaded before a test waits for a page."""
    typeset(DocumentSource("<p>Ready</p>", {}, "A4"), at=timezone.now())


@pytest.fixture
def job(people: dict[Role, Any]) -> Job:
    """Create a road bike with valves set and a race-only silencer; nothing is ticked yet."""
    job = factories.make_job(
        received_at=timezone.now() - timedelta(days=2), odometer_km=24_310.0, stage="ready", condition="Clean"
    )
    mechanic = people[Role.MECHANIC]
    factories.make_clearance_set(job, mechanic, "0.15", measured_at=timezone.now() - timedelta(days=1))
    left = factories.make_clearance_set(job, mechanic, "0.16", when=ClearanceSet.When.AS_LEFT)
    left.readings.filter(side="exhaust").update(clearance_mm="0.31")
    Part.objects.create(
        job=job,
        name="Slip-on silencer",
        fitted_at=timezone.now(),
        race_only=True,
        kind=factories.get_part_kind("exhaust"),
    )
    return job


def tick_all(job: Job, by: Any, *, again: bool = False) -> None:
    for item in CheckItem.objects.filter(retired=False):
        set_tick(job=job, item=item, by=by, ticked=True, again=again)


def open_handover(page: Page, job: Job) -> None:
    follow(page.get_by_role("link", name="Jobs", exact=True))
    follow(page.get_by_role("link", name=job.number, exact=True))
    page.get_by_text("Edit and documents").click()
    follow(page.get_by_role("link", name="Handover", exact=True))


def issue(page: Page, job: Job, number: int = 1) -> Locator:
    """Issue a sheet and return the part of the page that shows it."""
    page.get_by_label("Name of the person you told").fill("Ines Quill")
    follow(page.get_by_role("button", name=f"Issue sheet {job.number}/{number}"))
    assert_message(page, f"Handover sheet {job.number}/{number} is issued. The PDF is being created")
    heading = page.get_by_role("heading", name=f"Sheet {job.number}/{number}")
    return page.get_by_role("article").filter(has=heading)


@pytest.fixture
def issue_and_print(print_processes: list["Popen[bytes]"]) -> Issue:
    """Return a function that issues a sheet and waits until its PDF is shown."""

    def issue_and_wait(page: Page, job: Job, number: int = 1) -> Locator:
        sheet = issue(page, job, number)
        assert print_processes[number - 1].wait() == 0
        expect(sheet.get_by_role("link", name="Open the PDF")).to_be_visible()
        return sheet

    return issue_and_wait


def fetch_pdf(page: Page, link: Locator) -> bytes:
    """Download the PDF of a link in this browser's session."""
    response = page.context.request.get(urljoin(page.url, link.get_attribute("href")), timeout=PATIENCE_MS)
    assert response.ok
    assert response.headers["content-type"] == "application/pdf"
    return response.body()


def test_blockers_are_listed_with_links_to_fix_them(log_in: LogIn, job: Job, people: dict[Role, Any]) -> None:
    page = log_in(Role.DESK)
    open_handover(page, job)
    blocked = get_region(page, f"Issue sheet {job.number}/1")
    expect(blocked.get_by_role("link", name="Not confirmed for this sheet")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    page.get_by_label("Name of the person you told").fill("Ines Quill")
    follow(page.get_by_role("button", name="Issue sheet"))
    expect(page.get_by_text("The sheet was not issued.")).to_be_visible()
    expect(page.get_by_label("Name of the person you told")).to_have_value("Ines Quill")
    assert not HandoverSheet.objects.exists()
    follow(blocked.get_by_role("link", name="Checks before handover"))
    expect(page.get_by_role("heading", name="Checks:")).to_be_visible()


def test_only_the_owner_may_issue_despite_blockers_with_a_reason(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.DESK)
    open_handover(page, job)
    reason = page.get_by_label("Reason for issuing anyway")
    expect(reason).to_have_count(0)
    page = log_in(Role.OWNER)
    open_handover(page, job)
    reason.fill("The customer rides on tonight; the list is ticked on paper.")
    expect(issue(page, job)).to_contain_text("the list is ticked on paper")


def test_issued_sheet_is_unaffected_by_later_changes(
    log_in: LogIn, job: Job, people: dict[Role, Any], issue_and_print: Issue
) -> None:
    tick_all(job, people[Role.MECHANIC])
    page = log_in(Role.DESK)
    open_handover(page, job)
    follow(page.get_by_role("link", name="Preview the sheet"))
    draft = page.get_by_role("link", name="Open the PDF")
    expect(draft).to_be_visible()
    expect(page.get_by_role("img", name="First page of the draft")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    assert fetch_pdf(page, draft).startswith(b"%PDF-")
    assert not HandoverSheet.objects.exists()
    page.go_back()

    sheet = issue_and_print(page, job)
    pdf = fetch_pdf(page, sheet.get_by_role("link", name="Open the PDF"))
    assert pdf.startswith(b"%PDF-")
    expect(sheet).to_contain_text(hashlib.sha256(pdf).hexdigest())
    assert_accessible(page)

    # A record changed afterwards does not change the issued sheet; a later sheet replaces it.
    Part.objects.create(job=job, name="Brake pads", fitted_at=timezone.now())
    tick_all(job, people[Role.MECHANIC], again=True)
    page.reload()
    second = issue_and_print(page, job, number=2)
    assert fetch_pdf(page, sheet.get_by_role("link", name="Open the PDF")) == pdf
    assert fetch_pdf(page, second.get_by_role("link", name="Open the PDF")) != pdf
    expect(sheet.get_by_role("textbox")).to_have_count(0)


def test_printing_progress_is_shown_until_the_pdf_is_ready(
    log_in: LogIn, job: Job, people: dict[Role, Any], settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.TASKS = {**settings.TASKS, "default": WORKER}
    tick_all(job, people[Role.MECHANIC])
    page = log_in(Role.DESK)
    page.clock.install()
    open_handover(page, job)
    sheet = issue(page, job)
    expect(sheet.get_by_role("status")).to_have_text("Printing: waiting to be printed.")
    expect(sheet.get_by_role("link", name="Open the PDF")).to_have_count(0)
    assert_accessible(page)

    def print_and_check(snapshot: Any, report_progress: Callable[..., None]) -> bytes:
        """Print like the worker, and check the page at every reported step."""

        def report_and_check(step: str, done: int = 0, of: int = 0) -> None:
            report_progress(step, done, of)
            page.clock.fast_forward(ASKED_AGAIN_MS)
            drawn = f", those of {done} of {of} sections are drawn" if of else ""
            text = f"Printing: {Printing.Step(step).label}{drawn}."
            expect(sheet.get_by_role("status")).to_have_text(text)
            seen.add(step)

        return sheet_pdf(snapshot, report_and_check)

    seen: set[str] = set()
    monkeypatch.setattr(tasks, "sheet_pdf", print_and_check)
    run_worker()
    page.clock.fast_forward(ASKED_AGAIN_MS)
    assert seen == {"pictures", "pages"}
    pdf = fetch_pdf(page, sheet.get_by_role("link", name="Open the PDF"))
    expect(sheet).to_contain_text(hashlib.sha256(pdf).hexdigest())
    expect(sheet.get_by_role("status")).to_have_count(0)


@pytest.fixture
def customer(browser: Browser, live_server: Any, faults: list[str]) -> Iterator[Page]:
    """Open the customer's browser: a phone, not logged in."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    watch(page, live_server.url, faults)
    yield page
    context.close()


def test_customer_acknowledges_sheet_until_the_link_is_revoked(
    log_in: LogIn,
    job: Job,
    people: dict[Role, Any],
    issue_and_print: Issue,
    customer: Page,
    faults: list[str],
) -> None:
    tick_all(job, people[Role.MECHANIC])
    page = log_in(Role.DESK)
    open_handover(page, job)
    page.get_by_label("print a QR code").uncheck()
    sheet = issue_and_print(page, job)
    follow(sheet.get_by_role("link", name="Links for the customer"))
    follow(page.get_by_role("button", name="Make a link"))
    link = page.get_by_label("Link").input_value()

    customer.goto(link)
    expect(customer.get_by_role("heading", level=1)).to_contain_text(f"What we did to your {job.bike.make}")
    road = get_region(customer, "This bike may not be road legal.")
    assert_accessible(customer)
    road.get_by_text("What was changed, and what it may affect").click()
    expect(road.get_by_text("Slip-on silencer").first).to_be_visible()
    assert_accessible(customer)
    assert_fits(customer)
    pdf = fetch_pdf(customer, customer.get_by_role("link", name="Full report (PDF)"))
    assert hashlib.sha256(pdf).hexdigest() == HandoverSheet.objects.get().sha256
    customer.get_by_role("button", name="Confirm", exact=True).click()  # the name is required
    get_textbox(customer, "Your name*").fill("Ines Quill")
    follow(customer.get_by_role("button", name="Confirm", exact=True))
    expect(customer.get_by_text("Confirmed by Ines Quill")).to_be_visible()

    open_handover(page, job)
    expect(sheet).to_contain_text("Confirmed by Ines Quill")
    follow(sheet.get_by_role("button", name="Revoke"))
    customer.goto(link)
    expect(customer.get_by_role("heading", name="This link has expired or was revoked.")).to_be_visible()
    expect(customer.get_by_text(job.bike.model)).to_have_count(0)
    faults.clear()  # the console reports the refusal


def test_expired_link_is_closed(
    job: Job,
    people: dict[Role, Any],
    log_in: LogIn,
    issue_and_print: Issue,
    customer: Page,
    faults: list[str],
    live_server: Any,
) -> None:
    tick_all(job, people[Role.MECHANIC])
    page = log_in(Role.DESK)
    open_handover(page, job)
    issue_and_print(page, job)
    link = SheetLink.objects.get()
    customer.goto(f"{live_server.url}/sheet/{link.token}/")
    expect(customer.get_by_role("heading", level=1)).to_contain_text("What we did to your")
    link.expires_at = timezone.now() - timedelta(minutes=1)
    link.save()
    customer.reload()
    expect(customer.get_by_role("heading", name="This link has expired or was revoked.")).to_be_visible()
    faults.clear()
