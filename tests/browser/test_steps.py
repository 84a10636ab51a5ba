"""The steps of the browser tests wait for what they say."""

import re
from pathlib import Path

from playwright.sync_api import Page

from tests.browser.steps import wait_for_promise

ASYNC_WAIT = re.compile(r"wait_for_function\(\s*(?:\w+,\s*)?r?[\"']+\s*async\b")


def test_promise_is_waited_for(page: Page) -> None:
    page.evaluate("window.asked = 0")
    wait_for_promise(page, "async (wanted) => ++window.asked >= wanted", 3)
    assert page.evaluate("window.asked") == 3


def test_no_test_waits_for_an_asynchronous_function_by_playwright() -> None:
    """It would take the promise for the answer and go on at once."""
    assert ASYNC_WAIT.search('page.wait_for_function(\n    "async () => false")')
    found = [path.name for path in Path(__file__).parent.glob("*.py") if ASYNC_WAIT.search(path.read_text())]
    assert found == []
