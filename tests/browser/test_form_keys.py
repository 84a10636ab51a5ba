"""Enter in a form: it goes to the next field and never sends a form half filled."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from jobs.models import Job
from tests import factories
from tests.browser.conftest import PASSWORD
from tests.browser.steps import (
    assert_accessible,
    get_textbox,
    press_enter_to_navigate,
    wait_for_next_frame,
)
from workshop.models import Role, ShimStock

ENTER_IN_EVERY_FIELD = """() => {
    let presses = 0;
    for (const form of document.querySelectorAll("main form[method=post]")) {
        for (const field of form.elements) {
            if (!field.matches("input, select") || !field.checkVisibility()) continue;
            if (["hidden", "submit", "file"].includes(field.type)) continue;
            field.dataset.press = ++presses;
        }
    }
    return presses;
}"""
NOTE = "Enter goes to the next field. “Check in the bike” or Ctrl+Enter submits the form."


@pytest.fixture
def posts(site: Page) -> list[str]:
    """List the addresses that the page sends a form to."""
    sent: list[str] = []
    site.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    return sent


def open_page(page: Page, live_server: Any, name: str, *args: Any) -> str:
    url: str = live_server.url + reverse(name, args=args)
    page.goto(url)
    return url


def test_enter_sends_no_long_form_from_any_field(
    log_in: Callable[[Role], Page], live_server: Any, posts: list[str]
) -> None:
    page = log_in(Role.OWNER)
    job = factories.make_job()
    pages = [
        ("job-receive", job), ("job-book",), ("job-edit", job), ("part-add", job), ("tune-new", job),
        ("run-attach", job), ("photo-add", job), ("work-item-add", job), ("mixture-new", job),
        ("suspension-new", job, "as_found"), ("clearances-new", job, "as_found"), ("slot-new",),
        ("customer-new",), ("bike-new",), ("engine-new",), ("staff-new",), ("password-change",),
        ("shop-profile",), ("working-hours",), ("shut-days-list",), ("check-item-list",), ("shim-stock-add",),
    ]  # fmt: skip
    for name, *args in pages:
        url = open_page(page, live_server, name, *map(str, args))
        presses = page.evaluate(ENTER_IN_EVERY_FIELD)
        assert presses, name
        for press in range(1, presses + 1):
            page.locator(f'[data-press="{press}"]').focus()
            page.keyboard.press("Enter")
            assert (posts, page.url) == ([], url)
    assert not Job.objects.exclude(pk=job.pk).exists()


def test_enter_in_the_note_of_a_mark_does_not_receive_the_bike(
    log_in: Callable[[Role], Page], live_server: Any, posts: list[str]
) -> None:
    page, job = log_in(Role.DESK), factories.make_job()
    open_page(page, live_server, "job-receive", str(job))
    page.get_by_label("Condition on arrival").click()
    page.keyboard.type("Dusty\nDry")  # a line break stays one
    page.get_by_role("button", name="Add a mark on the right side").click()
    page.keyboard.type("Lever bent\n")
    expect(get_textbox(page, "Odometer (km)")).to_be_focused()
    expect(page.get_by_role("status").filter(has_text=NOTE)).to_be_visible()
    assert_accessible(page)
    page.keyboard.press("Shift+Enter")
    expect(page.get_by_label("Describe mark 1")).to_be_focused()
    assert posts == []
    get_textbox(page, "Odometer (km)").fill("24310")
    press_enter_to_navigate(page, "Control+Enter")
    job.refresh_from_db()
    assert job.received_at is not None
    assert (job.condition.split(), job.condition_marks[0]["note"]) == (["Dusty", "Dry"], "Lever bent")


def test_held_enter_stops_at_the_button(
    log_in: Callable[[Role], Page], live_server: Any, posts: list[str]
) -> None:
    page = log_in(Role.DESK)
    open_page(page, live_server, "customer-new")
    get_textbox(page, "Name*").focus()
    for _ in range(20):
        page.keyboard.down("Enter")
    page.keyboard.up("Enter")
    expect(page.locator(":focus")).to_have_count(1)
    assert posts == []


def test_booking_is_sent_from_its_button_after_enter_through_the_fields(
    log_in: Callable[[Role], Page], live_server: Any, posts: list[str]
) -> None:
    page, bike = log_in(Role.DESK), factories.make_bike(plate="DEMO 74")
    open_page(page, live_server, "job-book")
    page.get_by_role("searchbox", name="Find the bike by plate, VIN, make or owner").press_sequentially(
        "demo 74"
    )
    expect(page.get_by_role("radio", name=bike.plate)).to_be_checked()
    page.keyboard.press("Enter")
    page.get_by_label("Customer's request").fill("Stutters at half throttle")
    page.get_by_label("Intended use").select_option("road")
    page.get_by_label("Price").last.focus()
    page.keyboard.press("Enter")
    assert posts == []
    page.get_by_label("Rider experience").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Book job", exact=True)).to_be_focused()
    press_enter_to_navigate(page)
    assert Job.objects.get().bike == bike


def test_log_in_search_and_a_form_with_one_field_are_sent_by_enter(
    site: Page, live_server: Any, people: dict[Role, Any]
) -> None:
    stock = ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.40", count=3)
    factories.make_customer(name="Ines Quill")
    open_page(site, live_server, "login")
    get_textbox(site, "Username*").fill("owner")
    site.get_by_label("Password").fill(PASSWORD)
    press_enter_to_navigate(site)
    expect(site).to_have_title(re.compile("^Today"))
    open_page(site, live_server, "customer-list")
    site.get_by_role("main").get_by_role("searchbox").fill("Quill")
    press_enter_to_navigate(site)
    assert "Quill" in site.url
    open_page(site, live_server, "shim-stock-edit", stock.pk)
    site.get_by_label("Number in stock").fill("5")
    press_enter_to_navigate(site)
    stock.refresh_from_db()
    assert stock.count == 5


def test_wheel_and_arrow_keys_change_no_number(log_in: Callable[[Role], Page], live_server: Any) -> None:
    page = log_in(Role.OWNER)
    job = factories.make_job()
    stock = ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.40", count=3)
    pages = [
        ("job-receive", job), ("bike-edit", job.bike_id), ("engine-new",),
        ("run-attach", job), ("shim-stock-edit", stock.pk), ("check-item-list",),
    ]  # fmt: skip
    for name, *args in pages:
        open_page(page, live_server, name, *map(str, args))
        numbers = page.locator("main input:is([inputmode=numeric], [type=number]):visible")
        assert numbers.count(), name
        for number in numbers.all():
            number.fill("115")
            number.hover()
            page.mouse.wheel(0, 400)
            wait_for_next_frame(page)
            page.keyboard.press("ArrowDown")
            expect(number).to_have_value("115")
