"""Today and the opened jobs without a network: read only, with their age, and gone after logging out."""

import re
from collections.abc import Callable

import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Job
from tests import factories
from tests.browser.steps import assert_accessible, assert_fits, wait_for_promise
from workshop.models import Role

pytestmark = pytest.mark.browser_context_args(service_workers="allow")

AS_OF = re.compile(r"You are offline\. This page is as of \d\d:\d\d\.")


def wait_until_stored(page: Page, url: str) -> None:
    wait_for_promise(page, "async (url) => Boolean(await caches.match(url))", url)


def stored_pages(page: Page) -> list[str]:
    """Return the addresses of all stored pages."""
    return page.evaluate(
        """async () => {
            const found = [];
            for (const name of (await caches.keys()).filter((each) => each.startsWith("pages"))) {
                for (const stored of await (await caches.open(name)).keys()) found.push(stored.url);
            }
            return found.filter((url) => !url.endsWith("/account"));
        }"""
    )


@pytest.fixture
def job(site: Page) -> Job:
    return factories.make_job(stage="received", received_at=timezone.now(), brief="Stalls when warm")


@pytest.fixture
def opened(log_in: Callable[[Role], Page], live_server, job: Job) -> Page:
    """Open Today and the page of a job, and lose the network."""
    page = log_in(Role.OWNER)
    wait_until_stored(page, f"{live_server.url}/")
    page.goto(f"{live_server.url}{job.get_absolute_url()}")
    wait_until_stored(page, page.url)
    page.context.set_offline(True)
    return page


def test_today_and_opened_job_can_be_read_offline(
    opened: Page, live_server, job: Job, faults: list[str]
) -> None:
    for path, text in (("/", job.number), (job.get_absolute_url(), "Stalls when warm")):
        opened.goto(f"{live_server.url}{path}")
        expect(opened.get_by_role("main")).to_contain_text(text)
        expect(opened.locator(".offline-bar")).to_contain_text(AS_OF)
        assert_fits(opened)
        assert_accessible(opened)
    opened.context.set_offline(False)
    faults.clear()  # requests that failed offline


def test_buttons_that_save_are_off_until_the_network_is_back(
    opened: Page, live_server, job: Job, faults: list[str]
) -> None:
    opened.goto(f"{live_server.url}/")
    start = opened.locator(f"#bike-{job} button")
    expect(start).to_be_disabled()
    expect(opened.locator(".offline-bar")).to_contain_text("The buttons that save are disabled")
    opened.context.set_offline(False)
    faults.clear()
    expect(opened.locator(".offline-bar")).to_contain_text("Back online.")
    with opened.expect_navigation():
        opened.get_by_role("button", name="Reload").click()
    expect(opened.locator(".offline-bar")).to_have_count(0)
    expect(start).to_be_enabled()


def test_page_that_loses_the_network_says_so_at_once(
    log_in, live_server, job: Job, faults: list[str]
) -> None:
    page = log_in(Role.OWNER)
    page.context.set_offline(True)
    expect(page.locator(".offline-bar")).to_contain_text(AS_OF)
    expect(page.locator(f"#bike-{job} button")).to_be_disabled()
    page.context.set_offline(False)
    faults.clear()
    expect(page.locator(".offline-bar")).to_have_count(0)
    expect(page.locator(f"#bike-{job} button")).to_be_enabled()


def test_page_that_was_not_opened_says_so(opened: Page, live_server, faults: list[str]) -> None:
    opened.goto(f"{live_server.url}/customers/")
    expect(opened.get_by_role("heading")).to_have_text("You are offline")
    expect(opened.get_by_role("main")).to_contain_text("was not opened in this browser before")
    opened.context.set_offline(False)
    faults.clear()


def test_stored_pages_are_deleted_at_log_out(opened: Page, live_server, job: Job) -> None:
    opened.context.set_offline(False)
    opened.goto(f"{live_server.url}/")
    assert len(stored_pages(opened)) == 2
    opened.get_by_role("button", name="Ola Owner").click()
    with opened.expect_navigation():
        opened.get_by_role("button", name="Log out").click()
    expect(opened.get_by_role("heading", name="Log in")).to_be_visible()
    assert stored_pages(opened) == []


def test_stored_pages_of_another_account_are_deleted(opened: Page, live_server, people) -> None:
    """The session changes without the log-in page, as when a cookie is replaced."""
    opened.context.set_offline(False)
    client = Client()
    client.force_login(people[Role.TUNER], backend="workshop.people.backend.StaffBackend")
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    opened.context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}]
    )
    opened.goto(f"{live_server.url}/?whose=mine")
    wait_until_stored(opened, opened.url)
    assert stored_pages(opened) == [f"{live_server.url}/?whose=mine"]


def test_pages_opened_at_once_are_all_stored(log_in, live_server) -> None:
    """As when several tabs open after logging in: none has stored whose pages they are yet."""
    page = log_in(Role.OWNER)
    wait_until_stored(page, f"{live_server.url}/")
    urls = [f"{live_server.url}{factories.make_job().get_absolute_url()}" for _ in range(6)]
    page.evaluate(
        """async (urls) => {
            for (const name of await caches.keys()) await caches.delete(name);
            const { active } = await navigator.serviceWorker.ready;
            for (const url of urls) active.postMessage({ page: url, parts: [], isOlder: true });
        }""",
        urls,
    )
    wait_for_promise(
        page, "async (urls) => (await Promise.all(urls.map((url) => caches.match(url)))).every(Boolean)", urls
    )


def test_worker_is_served_to_staff_only(client, people, live_server) -> None:
    assert client.get("/worker.js").status_code == 302
    client.force_login(people[Role.MECHANIC], backend="workshop.people.backend.StaffBackend")
    assert client.get("/worker.js")["Content-Type"].startswith("text/javascript")
