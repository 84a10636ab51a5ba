"""A real browser against the running site: Debian's Chromium, driven by Playwright.

A console error, a violation of the content security policy or a request to another host fails the
test.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from subprocess import Popen
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import BrowserContext, Page, expect

from tests import factories
from workshop.models import Role

# Playwright runs an event loop in this thread, so Django would assume asynchronous code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

PASSWORD = "a long enough pass phrase"
# Console messages that are no errors: a form with errors is answered with 422, and htmx aborts a request
# when a newer one replaces it.
NO_FAULT = (
    "Failed to load resource: the server responded with a status of 422",
    "htmx:sendAbort",
    "htmx:afterRequest",
)

# Far longer than any page needs: a busy machine must not fail a test.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "tests/browser" in str(item.path):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    # The shell without windows needs little more than half the processor time.
    names = ("chromium-headless-shell", "chromium", "chromium-browser")
    chromium = next(filter(None, map(shutil.which, names)), None)
    assert chromium, "Chromium is needed for the browser tests: apt install chromium"
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
    quiet += ["--font-render-hinting=none"]  # letters as wide as in a window
    return {**browser_type_launch_args, "executable_path": chromium, "args": quiet}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    # Without transitions, so that no colour is read halfway. Without the site's worker, whose requests pass
    # page.route by, and which fetches each file a second time: tests of what it stores allow it.
    return {**browser_context_args, "reduced_motion": "reduce", "service_workers": "block"}


@pytest.fixture
def people(transactional_db, print_processes: list["Popen[bytes]"]) -> dict[Role, Any]:
    """Create a person per role, and print sheets in separate processes as by default."""
    return {role: factories.make_staff(role) for role in Role}


def watch(page: Page, site: str, faults: list[str]) -> None:
    page.context.set_default_timeout(PATIENCE_MS)
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))

    def outside(request: Any) -> None:
        if not request.url.startswith((site, "data:", "blob:")):
            faults.append(f"request outside: {request.url}")

    page.on("request", outside)


@pytest.fixture
def faults() -> list[str]:
    """List errors in the browser; a test that expects a refusal (422, offline) may clear it."""
    return []


@pytest.fixture
def site(live_server, people, page: Page, faults: list[str]) -> Iterator[Page]:
    """Open a page, logged out, and fail on any fault in the browser."""
    watch(page, live_server.url, faults)
    yield page
    assert [fault for fault in faults if not fault.startswith(NO_FAULT)] == []


@pytest.fixture
def log_in(site: Page, people: dict[Role, Any], live_server) -> Callable[[Role], Page]:
    """Return a function that logs in with a role, without the login form, and opens Today."""

    def as_role(role: Role) -> Page:
        client = Client()
        client.force_login(people[role], backend="workshop.people.backend.StaffBackend")
        session = client.cookies[settings.SESSION_COOKIE_NAME].value
        site.context.clear_cookies()
        site.context.add_cookies(
            [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}]
        )
        site.goto(f"{live_server.url}/")
        return site

    return as_role


@pytest.fixture
def new_tab(context: BrowserContext, live_server, faults: list[str]) -> Callable[[], Page]:
    def open_tab() -> Page:
        page = context.new_page()
        watch(page, live_server.url, faults)
        return page

    return open_tab
