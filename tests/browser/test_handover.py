"""From the last tick to the customer's acknowledgement: blockers, preview, issue, link."""

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
from reports.typesetting.pdf import Ready, typeset
from tests import factories
from tests.browser.conftest import PATIENCE_MS, watch
from tests.browser.steps import assert_accessible, assert_fits, assert_told, follow, region, textbox
from tests.reports.handover.test_printing import WORKER, run_worker
from workshop.models import Role

LogIn = Callable[[Role], Page]
Issue = Callable[..., Locator]
ASKED_AGAIN_MS = 2000


@pytest.fixture(scope="module", autouse=True)
def a_server_that_has_printed() -> None:
    """A process loads what it prints with at its first paper: here, before anybody waits."""
    typeset(Ready("<p>Ready</p>", {}, "A4"), at=timezone.now())


@pytest.fixture
def job(people: dict[Role, Any]) -> Job:
    """Valves set and a silencer for racing fitted to a bike that stays on the road; nothing ticked yet."""
    job = factories.make_job(
        received_at=timezone.now() - timedelta(days=2), odometer_km=24_310.0, stage="ready", condition="Clean"
    )
    mechanic = people[Role.MECHANIC]
    factories.make_clearance_set(job, mechanic, "0.15", measured_at=timezone.now() - timedelta(days=1))
    left = factories.make_clearance_set(job, mechanic, "0.16", when=ClearanceSet.When.AS_LEFT)
    left.readings.filter(side="exhaust").update(clearance_mm="0.31")
    Part.objects.create(
        job=job, name="Slip-on silencer", fitted_at=timezone.now(), race_only=True, changes_exhaust=True
    )
    return job


def tick_all(job: Job, by: Any) -> None:
    for item in CheckItem.objects.filter(retired=False):
        set_tick(job=job, item=item, by=by, ticked=True)


def open_handover(page: Page, job: Job) -> None:
    follow(page.get_by_role("link", name="Jobs", exact=True))
    follow(page.get_by_role("link", name=job.number))
    follow(page.get_by_role("link", name="Handover", exact=True))


def issue(page: Page, job: Job, number: int = 1) -> Locator:
    """Press the button; returns the part of the page that shows the issued sheet."""
    page.get_by_label("the customer who was told").fill("Ines Quill")
    follow(page.get_by_role("button", name=f"Issue sheet {job.number}/{number}"))
    assert_told(page, f"Handover sheet {job.number}/{number} is issued and being printed")
    heading = page.get_by_role("heading", name=f"Sheet {job.number}/{number}")
    return page.get_by_role("article").filter(has=heading)


@pytest.fixture
def issue_and_print(print_processes: list["Popen[bytes]"]) -> Issue:
    """Issue a sheet, wait until the process that prints it has ended and the page shows its PDF."""

    def issue_and_wait(page: Page, job: Job, number: int = 1) -> Locator:
        sheet = issue(page, job, number)
        assert print_processes[number - 1].wait() == 0
        expect(sheet.get_by_role("link", name="Open the PDF")).to_be_visible()
        return sheet

    return issue_and_wait


def fetched(page: Page, link: Locator) -> bytes:
    """The PDF that a link leads to, asked for by this browser."""
    answer = page.context.request.get(urljoin(page.url, link.get_attribute("href")), timeout=PATIENCE_MS)
    assert answer.ok
    assert answer.headers["content-type"] == "application/pdf"
    return answer.body()


def test_what_stands_in_the_way_is_listed_with_where_to_put_it_right(
    log_in: LogIn, job: Job, people: dict[Role, Any]
) -> None:
    page = log_in(Role.DESK)
    open_handover(page, job)
    blocked = region(page, f"Issue sheet {job.number}/1")
    expect(blocked.get_by_role("link", name="The bike is meant for road")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    page.get_by_label("the customer who was told").fill("Ines Quill")
    follow(page.get_by_role("button", name="Issue sheet"))
    expect(page.get_by_text("The sheet was not issued.")).to_be_visible()
    expect(page.get_by_label("the customer who was told")).to_have_value("Ines Quill")
    assert not HandoverSheet.objects.exists()
    follow(blocked.get_by_role("link", name="Checks before handover"))
    expect(page.get_by_role("heading", name="Checks:")).to_be_visible()


def test_the_owner_alone_may_issue_it_all_the_same_and_must_say_why(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.DESK)
    open_handover(page, job)
    why = page.get_by_label("why it is issued although something stands in the way")
    expect(why).to_have_count(0)
    page = log_in(Role.OWNER)
    open_handover(page, job)
    why.fill("The customer rides on tonight; the list is ticked on paper.")
    expect(issue(page, job)).to_contain_text("the list is ticked on paper")


def test_previews_issues_and_keeps_the_sheet_unaltered(
    log_in: LogIn, job: Job, people: dict[Role, Any], issue_and_print: Issue
) -> None:
    tick_all(job, people[Role.MECHANIC])
    page = log_in(Role.DESK)
    open_handover(page, job)
    assert fetched(page, page.get_by_role("link", name="Preview the sheet")).startswith(b"%PDF-")
    assert not HandoverSheet.objects.exists()

    sheet = issue_and_print(page, job)
    pdf = fetched(page, sheet.get_by_role("link", name="Open the PDF"))
    assert pdf.startswith(b"%PDF-")
    expect(sheet).to_contain_text(hashlib.sha256(pdf).hexdigest())
    assert_accessible(page)

    # A record changed afterwards changes nothing of what was issued; a later sheet takes its place.
    Part.objects.create(job=job, name="Brake pads", fitted_at=timezone.now())
    page.reload()
    second = issue_and_print(page, job, number=2)
    assert fetched(page, sheet.get_by_role("link", name="Open the PDF")) == pdf
    assert fetched(page, second.get_by_role("link", name="Open the PDF")) != pdf
    expect(sheet.get_by_role("textbox")).to_have_count(0)


def test_how_far_a_worker_is_with_the_pages_is_told_until_they_are_there(
    log_in: LogIn, job: Job, people: dict[Role, Any], settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.TASKS = {**settings.TASKS, "default": WORKER}
    tick_all(job, people[Role.MECHANIC])
    page = log_in(Role.DESK)
    page.clock.install()
    open_handover(page, job)
    sheet = issue(page, job)
    expect(sheet.get_by_role("status")).to_have_text("Being printed: waiting to be printed.")
    expect(sheet.get_by_role("link", name="Open the PDF")).to_have_count(0)
    assert_accessible(page)

    def looked_at(snapshot: Any, tell: Callable[..., None]) -> bytes:
        """Print as the worker does, and look at the page at each step that is told."""

        def tell_and_look(step: str, done: int = 0, of: int = 0) -> None:
            tell(step, done, of)
            page.clock.fast_forward(ASKED_AGAIN_MS)
            drawn = f", those of {done} of {of} sections are drawn" if of else ""
            text = f"Being printed: {Printing.Step(step).label}{drawn}."
            expect(sheet.get_by_role("status")).to_have_text(text)
            seen.add(step)

        return sheet_pdf(snapshot, tell_and_look)

    seen: set[str] = set()
    monkeypatch.setattr(tasks, "sheet_pdf", looked_at)
    run_worker()
    page.clock.fast_forward(ASKED_AGAIN_MS)
    assert seen == {"pictures", "pages"}
    pdf = fetched(page, sheet.get_by_role("link", name="Open the PDF"))
    expect(sheet).to_contain_text(hashlib.sha256(pdf).hexdigest())
    expect(sheet.get_by_role("status")).to_have_count(0)


@pytest.fixture
def customer(browser: Browser, live_server: Any, faults: list[str]) -> Iterator[Page]:
    """The customer's own browser, on a phone, logged in nowhere."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    watch(page, live_server.url, faults)
    yield page
    context.close()


def test_the_customer_reads_and_acknowledges_behind_a_link_that_can_be_closed(
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
    link = page.get_by_label("Address to copy").input_value()

    customer.goto(link)
    expect(customer.get_by_role("heading", level=1)).to_contain_text(f"handover sheet {job.number}/1")
    road = region(customer, "Use on public roads")
    expect(road).to_contain_text("may")
    expect(road).to_contain_text("Slip-on silencer")
    assert_accessible(customer)
    assert_fits(customer)
    pdf = fetched(customer, customer.get_by_role("link", name="The whole sheet (PDF)"))
    assert hashlib.sha256(pdf).hexdigest() == HandoverSheet.objects.get().sha256
    customer.get_by_role("button", name="I acknowledge this").click()  # the name is asked for
    textbox(customer, "Your name*").fill("Ines Quill")
    follow(customer.get_by_role("button", name="I acknowledge this"))
    expect(customer.get_by_text("Acknowledged by Ines Quill")).to_be_visible()

    open_handover(page, job)
    expect(sheet).to_contain_text("Acknowledged by Ines Quill")
    follow(sheet.get_by_role("button", name="Revoke"))
    customer.goto(link)
    expect(customer.get_by_role("heading", name="This link has ended.")).to_be_visible()
    expect(customer.get_by_text(job.bike.model)).to_have_count(0)
    faults.clear()  # the console names the refusal


def test_a_link_whose_time_is_over_is_closed(
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
    expect(customer.get_by_role("heading", level=1)).to_contain_text("handover sheet")
    link.expires_at = timezone.now() - timedelta(minutes=1)
    link.save()
    customer.reload()
    expect(customer.get_by_role("heading", name="This link has ended.")).to_be_visible()
    faults.clear()
