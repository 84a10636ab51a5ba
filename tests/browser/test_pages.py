"""Every page of the demo shop fits all screens, meets WCAG 2.2 AA and logs no errors.

The URLs come from tests/test_access.py, so a new page is included by itself.
"""

import re
from functools import cached_property
from typing import Any

import pytest
from django.core.files.base import ContentFile
from playwright.sync_api import APIResponse, Page, expect

from fixtures.crew import PASSWORD
from fixtures.demo_jobs import build_demo_shop
from jobs import models as jobs
from reports.models import HandoverSheet, SheetLink
from tests.browser.conftest import NO_FAULT, PATIENCE_MS, watch
from tests.browser.steps import find_accessibility_faults, fits_window, follow, measure_overflow_px
from tests.test_access import PATTERNS, PUBLIC, Records, address
from workshop.models import Role, StaffMember

WIDTHS = (1440, 1024, 390)
HEIGHT = 900
# What axe looks at: every rule where the layout differs, and colours once in the dark.
AXE = (("light", 1440, ()), ("light", 390, ()), ("dark", 390, ("color-contrast",)))
NO_FILE = {"mixture-fuel-table"}  # the demo's studies have no such file


class DemoRecords(Records):
    """Records of the demo shop, or created ones if it has none of a kind."""

    @cached_property
    def job(self) -> Any:
        return jobs.Job.objects.get(sequence=1)

    @cached_property
    def bike(self) -> Any:
        return self.job.bike

    @cached_property
    def clearance_set(self) -> Any:
        return self.job.clearance_sets.first()

    @cached_property
    def part(self) -> Any:
        return self.job.parts.first()

    @cached_property
    def revision(self) -> Any:
        revision = self.job.tune_revisions.get(number=1)
        revision.calibration_name, revision.calibration_sha256 = "a.bin", "0" * 64
        revision.calibration.save("a.bin", ContentFile(b"\0\1\2"))
        return revision

    @cached_property
    def tune_change(self) -> Any:
        return self.revision.changes.first()

    @cached_property
    def throttle_table(self) -> Any:
        return self.revision.throttle_tables.first()

    @cached_property
    def run(self) -> Any:
        return self.job.runs.filter(kind="sweep").first()

    @cached_property
    def file_layout(self) -> Any:
        return self.run.file_layout

    @cached_property
    def comparison(self) -> Any:
        return self.job.comparisons.first()

    @cached_property
    def mixture_study(self) -> Any:
        return self.job.mixture_studies.first()

    @cached_property
    def sheet(self) -> Any:
        return HandoverSheet.objects.get(job=self.job)

    @cached_property
    def link(self) -> Any:
        return SheetLink.objects.filter(sheet=self.sheet).first() or super().link


@pytest.fixture
def records(transactional_db: None, blank_pages: None) -> Records:
    build_demo_shop()
    return DemoRecords({role: StaffMember.objects.get(username=role.value) for role in Role})


@pytest.fixture
def page_faults(page: Page, live_server: Any) -> list[str]:
    found: list[str] = []
    watch(page, live_server.url, found)
    return found


def log_in(page: Page, site: str) -> None:
    page.goto(f"{site}/log-in/")
    page.get_by_label("Username").fill("owner")
    page.get_by_label("Password").fill(PASSWORD)
    follow(page.get_by_role("button", name="Log in"))
    expect(page).to_have_title(re.compile("^Today"))


def fetch_all(page: Page, site: str, records: Records) -> dict[str, APIResponse]:
    """Fetch every URL and return the responses by name."""
    fetch = page.context.request.get
    return {
        name: fetch(site + address(name, records), max_redirects=0, timeout=PATIENCE_MS)
        for name in sorted(PATTERNS)
    }


def is_page(response: APIResponse) -> bool:
    """Return True for a whole HTML page: no file, redirect or part of a page."""
    is_html = response.headers.get("content-type", "").startswith("text/html")
    return response.status == 200 and is_html and "<html" in response.text()


def find_problems(page: Page, name: str, url: str) -> list[str]:
    """Return the problems of a page: its width at all widths, and what axe finds, in light and dark mode."""
    page.emulate_media(color_scheme="light")
    page.goto(url)
    page.evaluate("document.fonts.ready.then(() => true)")
    expect(page.locator("[data-chart]:not(.chart)")).to_have_count(0)  # all charts are drawn
    problems = []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": HEIGHT})
        if not fits_window(page):
            problems.append(f"at {width} px it is {measure_overflow_px(page)} px wider than the window")
    for scheme, width, rules in AXE:
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": HEIGHT})
        problems += [f"{scheme}, {width} px: {fault}" for fault in find_accessibility_faults(page, rules)]
    return [f"{name}: {problem}" for problem in problems]


def test_every_page_fits_is_accessible_and_logs_no_errors(
    page: Page, live_server: Any, records: Records, page_faults: list[str]
) -> None:
    site = live_server.url
    log_in(page, site)
    answers = fetch_all(page, site, records)
    problems = [
        f"{name}: answer {response.status}"
        for name, response in answers.items()
        if response.status not in (200, 302, 405) and name not in NO_FILE
    ]
    pages = {name: response.url for name, response in answers.items() if is_page(response)}
    assert {"today", "job", "run", "comparison", "handover"} <= set(pages)
    for name, url in pages.items():
        problems += find_problems(page, name, url)
        problems += [f"{name}: {fault}" for fault in page_faults if not fault.startswith(NO_FAULT)]
        page_faults.clear()
    page.context.clear_cookies()
    for name in sorted(PUBLIC & set(pages)):
        problems += find_problems(page, name, pages[name])
    assert not problems, "\n".join(problems)
