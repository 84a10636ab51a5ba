"""Steps that the browser tests share: keyboard, tables, layout and accessibility."""

import time
from collections.abc import Sequence
from typing import Any

from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PATIENCE_MS

MAX_TABS = 80
POLL_MS = 50
MAX_FRAMES = 30
PENDING = ".htmx-request, .htmx-swapping, .htmx-settling, [data-chart]:empty"
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def tab_to(page: Page, target: Locator) -> Locator:
    """Press Tab until an element has the focus."""
    for _ in range(MAX_TABS):
        page.keyboard.press("Tab")
        if target.evaluate("element => element === document.activeElement"):
            return target
    raise AssertionError(f"{MAX_TABS} presses of Tab from the top of {page.url} never reached {target}")


def wait_for_promise(page: Page, function: str, arg: Any = None) -> None:
    """Wait until an asynchronous function in the page says true.

    Playwright's wait_for_function takes the promise itself for the answer, so it never waits for it.
    """
    deadline = time.monotonic() + PATIENCE_MS / 1000
    while not page.evaluate(function, arg):
        assert time.monotonic() < deadline, f"never true: {function} of {arg}"
        page.wait_for_timeout(POLL_MS)


def follow(control: Locator) -> None:
    """Click a control that opens another page, and wait until that page has loaded."""
    with control.page.expect_navigation():
        control.click()


def press_enter_to_navigate(page: Page, keys: str = "Enter") -> None:
    """Press Enter to open another page, and wait until that page has loaded."""
    with page.expect_navigation():
        page.keyboard.press(keys)


def get_textbox(page: Page | Locator, name: str) -> Locator:
    return page.get_by_role("textbox", name=name, exact=True)


def get_problems(page: Page | Locator) -> Locator:
    """Return what is said about the fields of a form that was refused, each at its field."""
    return page.locator(".invalid-feedback, .errorlist").filter(visible=True)


def get_region(page: Page, name: str) -> Locator:
    """Return a section of a page by its heading; on the job page it is opened first."""
    heading = page.get_by_role("heading", name=name, exact=True)
    closed = page.locator("details.fold:not([open]) > summary").filter(has=heading)
    if closed.count():
        closed.click()
    return page.get_by_role("region", name=name, exact=True)


def get_row(table: Locator, name: str) -> Locator:
    """Return a table row by its row header."""
    heading = table.page.get_by_role("rowheader", name=name, exact=True)
    return table.get_by_role("row").filter(has=heading)


def assert_message(page: Page, sentence: str) -> None:
    expect(page.locator("#messages")).to_contain_text(sentence)


def find_accessibility_faults(page: Page, rules: Sequence[str] = ()) -> list[str]:
    """Return what axe finds against WCAG 2.2 A and AA, or against some rules only, a line per element."""
    # Scroll to the end, so that the sticky bar with the Save button covers no field.
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    wait_until_settled(page)
    run_only = {"type": "rule", "values": rules} if rules else {"type": "tag", "values": WCAG}
    options = {"runOnly": run_only, "resultTypes": ["violations"]}
    if not page.evaluate("'axe' in window"):  # half a megabyte, so once per page
        page.evaluate(AXE_FILE_PATH.read_text())
    # Return the violations only: the passed checks are a large transfer.
    run = "options => axe.run(document, options).then((result) => result.violations)"
    violations = page.evaluate(run, options)
    return [
        f"{violation['id']}: {violation['help']}: {node['target']} {node.get('failureSummary', '')}"
        for violation in violations
        for node in violation["nodes"]
    ]


def measure_overflow_px(page: Page) -> int:
    """Return by how many pixels the page scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


def wait_for_next_frame(page: Page) -> None:
    """Wait until the page has drawn its pending changes."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def wait_until_settled(page: Page) -> None:
    """Wait until requested parts, charts and transitions are complete."""
    expect(page.locator(PENDING)).to_have_count(0)
    for _ in range(MAX_FRAMES):
        wait_for_next_frame(page)
        if page.evaluate("document.getAnimations().length === 0"):
            return


def fits_window(page: Page) -> bool:
    """Return True if the page fits its window once its charts have been resized."""
    expect(page.locator(PENDING)).to_have_count(0)
    for _ in range(MAX_FRAMES):
        if measure_overflow_px(page) <= 0:
            return True
        wait_for_next_frame(page)
    return False


def assert_accessible(page: Page) -> None:
    faults = find_accessibility_faults(page)
    assert not faults, "\n".join([page.url, *faults])


def assert_fits(page: Page) -> None:
    assert fits_window(page), f"{page.url} is {measure_overflow_px(page)} px wider than the window"
