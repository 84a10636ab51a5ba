"""What the browser stories have in common: moving by keyboard, reading tables, looking at a page."""

from collections.abc import Sequence

from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Locator, Page, expect

MOST_TABS = 80
MOST_FRAMES = 30
UNDER_WAY = ".htmx-request, .htmx-swapping, .htmx-settling, [data-chart]:empty"
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def tab_to(page: Page, wanted: Locator) -> Locator:
    """Press Tab until this has the focus, as one does who has no mouse."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if wanted.evaluate("element => element === document.activeElement"):
            return wanted
    raise AssertionError(f"{MOST_TABS} presses of Tab from the top of {page.url} never reached {wanted}")


def follow(leads_on: Locator) -> None:
    """Press what opens another page, and wait until that page and its scripts are there."""
    with leads_on.page.expect_navigation():
        leads_on.click()


def enter_leads_on(page: Page) -> None:
    """Press Enter where it opens another page, and wait until that page and its scripts are there."""
    with page.expect_navigation():
        page.keyboard.press("Enter")


def textbox(page: Page | Locator, name: str) -> Locator:
    return page.get_by_role("textbox", name=name, exact=True)


def region(page: Page, name: str) -> Locator:
    """A section of a page by its heading."""
    return page.get_by_role("region", name=name, exact=True)


def row(table: Locator, name: str) -> Locator:
    """A row of a table by the heading at its beginning."""
    heading = table.page.get_by_role("rowheader", name=name, exact=True)
    return table.get_by_role("row").filter(has=heading)


def assert_told(page: Page, sentence: str) -> None:
    """The page says this where it tells what has just happened."""
    expect(page.locator("#messages")).to_contain_text(sentence)


def accessibility_faults(page: Page, rules: Sequence[str] = ()) -> list[str]:
    """Violations of WCAG 2.2 A and AA, or of these rules alone, that axe finds, a line for each place."""
    # Scrolled to its end, so that the bar with the Save button, which stays in view, covers no field.
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    comes_to_rest(page)
    held_to = {"type": "rule", "values": rules} if rules else {"type": "tag", "values": WCAG}
    options = {"runOnly": held_to, "resultTypes": ["violations"]}
    if not page.evaluate("'axe' in window"):  # half a megabyte, so once a page and not at every look
        page.evaluate(AXE_FILE_PATH.read_text())
    # What it passed as well is long on its way here.
    found = page.evaluate("asked => axe.run(document, asked).then((found) => found.violations)", options)
    return [
        f"{violation['id']}: {violation['help']}: {node['target']} {node.get('failureSummary', '')}"
        for violation in found
        for node in violation["nodes"]
    ]


def sideways_px(page: Page) -> int:
    """By how much the page itself scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


def next_frame(page: Page) -> None:
    """Let the page draw what has been asked of it."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def comes_to_rest(page: Page) -> None:
    """Let parts asked for, curves and changing colours arrive: on their way nobody reads them."""
    expect(page.locator(UNDER_WAY)).to_have_count(0)
    for _ in range(MOST_FRAMES):
        next_frame(page)
        if page.evaluate("document.getAnimations().length === 0"):
            return


def settles_to_fit(page: Page) -> bool:
    """Whether the page fits its window, as soon as its charts have followed a change of it."""
    expect(page.locator(UNDER_WAY)).to_have_count(0)
    for _ in range(MOST_FRAMES):
        if sideways_px(page) <= 0:
            return True
        next_frame(page)
    return False


def assert_accessible(page: Page) -> None:
    faults = accessibility_faults(page)
    assert not faults, "\n".join([page.url, *faults])


def assert_fits(page: Page) -> None:
    assert settles_to_fit(page), f"{page.url} is {sideways_px(page)} px wider than the window"
