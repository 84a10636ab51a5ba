"""Pages of one form: where typing begins, where a problem is shown, and what the bar of buttons covers."""

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from tests.browser.steps import follow, get_problems, get_textbox
from tests.test_access import Records, address
from workshop.models import Role

LogIn = Callable[[Role], Page]
# Forms whose first field has the focus, and those with something to read first.
FOCUSED = (
    "bike-edit",
    "bike-new",
    "comparison-new",
    "contact-add",
    "customer-new",
    "engine-new",
    "job-book",
    "job-edit",
    "password-change",
    "shim-stock-add",
    "shop-profile",
    "run-edit",
    "slot-new",
    "staff-new",
    "tune-change-add",
    "working-hours",
)
READ_FIRST = (
    "customer-erase",
    "mixture-new",
    "part-add",
    "run-attach",
    "suspension-new",
    "talk-through-publish",
    "throttle-add",
    "tune-new",
)
ACTIVE_IS_FIRST = """() => {
  const form = document.querySelector("main form.form");
  const fields = [...form.querySelectorAll("input:not([type=hidden]), select, textarea")];
  return document.activeElement === fields.find((field) => field.checkVisibility());
}"""


def open_form(page: Page, live_server: Any, name: str, records: Records) -> None:
    page.goto(live_server.url + address(name, records))
    expect(page.locator("main form.form")).to_be_visible()


def test_typing_begins_in_the_first_field(log_in: LogIn, live_server: Any, people: dict[Role, Any]) -> None:
    records, page = Records(people), log_in(Role.OWNER)
    elsewhere = []
    for name in FOCUSED:
        open_form(page, live_server, name, records)
        if not page.evaluate(ACTIVE_IS_FIRST):
            elsewhere.append(name)
    assert elsewhere == []


def test_what_has_to_be_read_first_keeps_the_focus_at_the_top(
    log_in: LogIn, live_server: Any, people: dict[Role, Any]
) -> None:
    records, page = Records(people), log_in(Role.OWNER)
    for name in READ_FIRST:
        open_form(page, live_server, name, records)
        assert page.evaluate("document.activeElement === document.body"), name


def test_kept_draft_is_offered_before_typing_begins(log_in: LogIn, live_server: Any) -> None:
    page, url = log_in(Role.DESK), live_server.url + reverse("customer-new")
    page.goto(url)
    get_textbox(page, "Name*").fill("Jorun Vail")
    page.goto(url)
    expect(page.get_by_role("region", name="Unsaved draft")).to_be_visible()
    assert page.evaluate("document.activeElement === document.body")


def test_each_problem_is_described_once_and_its_field_has_the_focus(log_in: LogIn, live_server: Any) -> None:
    page = log_in(Role.DESK)
    page.goto(live_server.url + reverse("bike-new"))
    get_textbox(page, "Year").fill("twenty")
    follow(page.get_by_role("button", name="Save"))
    expect(get_problems(page).filter(has_text="Enter a whole number.")).to_have_count(1)
    assert page.get_by_text("Enter a whole number.").count() == 1
    expect(page.get_by_label("Owner")).to_be_focused()  # the first of the fields to fix
    page.get_by_role("alert").get_by_role("link", name="Year").click()
    expect(get_textbox(page, "Year")).to_be_focused()
    assert "Enter a whole number." in read_description(get_textbox(page, "Year"))


def read_description(field: Locator) -> str:
    return str(
        field.evaluate(
            "(field) => (field.getAttribute('aria-describedby') || '').split(' ')"
            ".map((id) => document.getElementById(id)?.textContent).join(' ')"
        )
    )


def test_touch_screen_opens_no_keyboard_by_itself(log_in: LogIn, live_server: Any) -> None:
    page = log_in(Role.DESK)
    client = page.context.new_cdp_session(page)
    client.send("Emulation.setTouchEmulationEnabled", {"enabled": True})
    client.send("Emulation.setEmitTouchEventsForMouse", {"enabled": True, "configuration": "mobile"})
    page.goto(live_server.url + reverse("customer-new"))
    if not page.evaluate("matchMedia('(pointer: coarse)').matches"):
        pytest.fail("the browser emulates no touch screen")
    assert page.evaluate("document.activeElement === document.body")


COLUMNS = """() => new Set([...document.querySelectorAll(".form-groups > *")].map(
  (group) => Math.round(group.getBoundingClientRect().left))).size"""


def test_wide_window_has_columns_of_groups(log_in: LogIn, live_server: Any, people: dict[Role, Any]) -> None:
    records, page = Records(people), log_in(Role.OWNER)
    for width, columns in ((1440, 1), (1920, 2), (2560, 3)):
        page.set_viewport_size({"width": width, "height": 1200})
        open_form(page, live_server, "engine-new", records)
        assert page.evaluate(COLUMNS) == columns, width


COVERED = """() => {
  const field = document.activeElement.getBoundingClientRect();
  const bar = document.querySelector(".sticky-actions").getBoundingClientRect();
  if (document.activeElement.closest(".sticky-actions")) return false;
  return field.bottom > bar.top + 1 && field.top < bar.bottom;
}"""


@pytest.mark.parametrize("size", [(390, 700), (1440, 900)], ids=["phone", "desk"])
def test_bar_of_buttons_covers_no_field_that_has_the_focus(
    log_in: LogIn, live_server: Any, people: dict[Role, Any], size: tuple[int, int]
) -> None:
    """WCAG 2.2, success criterion 2.4.11: the focused field is not hidden, here not even in part."""
    records, page = Records(people), log_in(Role.OWNER)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    covered = []
    for name in ("engine-new", "shop-profile", "job-book", "mixture-new"):
        open_form(page, live_server, name, records)
        page.locator("main form.form input:visible, main form.form select:visible").first.focus()
        for _ in range(45):
            page.keyboard.press("Tab")
            if page.evaluate("!document.activeElement.closest('form.form')"):
                break
            if page.evaluate(COVERED):
                covered.append((name, page.evaluate("document.activeElement.id")))
    assert covered == []
