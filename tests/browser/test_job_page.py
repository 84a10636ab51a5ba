"""The job page in the browser: sections in place, stages by keyboard, ticks without leaving the page."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from jobs.models import CheckItem
from tests import factories
from tests.browser.steps import assert_accessible, follow, get_region, press_enter_to_navigate
from workshop.models import Role

LogIn = Callable[[Role], Page]


def test_section_opens_in_place_and_is_remembered(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    follow(page.locator(f"#bike-{job} .bike-name"))
    parts = get_region(page, "Parts")
    expect(parts.get_by_role("link", name="Add a part")).to_be_visible()
    assert_accessible(page)
    page.reload()
    expect(page.locator("#parts")).to_have_attribute("open", "")
    expect(page.get_by_role("region", name="Parts").get_by_role("link", name="Add a part")).to_be_visible()
    expect(page.locator("#runs")).not_to_have_attribute("open", "")


def test_stage_is_moved_with_three_keys(log_in: LogIn) -> None:
    job = factories.make_job(stage="received", received_at="2026-01-05T08:00Z")
    page = log_in(Role.MECHANIC)
    follow(page.locator(f"#bike-{job} .bike-name"))
    page.keyboard.press("s")
    page.keyboard.press("ArrowRight")
    press_enter_to_navigate(page)
    expect(page.locator("#stage [aria-current]")).to_contain_text("On the bench")
    job.refresh_from_db()
    assert job.stage == "bench"


def test_tick_in_place_updates_line_and_head(log_in: LogIn) -> None:
    job = factories.make_job(stage="ready", received_at="2026-01-05T08:00Z")
    total = CheckItem.objects.filter(list="before_handover").count()
    page = log_in(Role.MECHANIC)
    follow(page.locator(f"#bike-{job} .bike-name"))
    handover = get_region(page, "Checks").get_by_role("region", name="Before handover")
    handover.get_by_role("button", name="tick", exact=True).first.click()
    expect(page.locator("#line-checks")).to_contain_text(f"1 of {total} ticked")
    expect(page.locator("#job-head")).to_contain_text(f"Before handover: {total - 1} checks")
