"""Keyboard shortcuts of every page, and the search in the bar."""

import re

from playwright.sync_api import Page, expect

from tests.browser.steps import assert_accessible, follow, press_enter_to_navigate
from tests.factories import make_bike, make_customer, make_job
from workshop.models import Role


def press(page: Page, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def test_two_keys_book_a_job_and_go_to_jobs_and_today(log_in, live_server) -> None:
    page = log_in(Role.DESK)
    for keys, address in (("bj", "/jobs/book/"), ("gj", "/jobs/"), ("gt", "/")):
        page.locator("h1").click()
        with page.expect_navigation():
            press(page, *keys)
        expect(page).to_have_url(f"{live_server.url}{address}")


def test_slash_searches_by_phone_number(log_in, live_server) -> None:
    job = make_job(bike=make_bike(owner=make_customer(name="Ines Quill", phone="+00 555 0199")))
    page = log_in(Role.TUNER)
    press(page, "/")
    expect(page.locator("#bar-search")).to_be_focused()
    page.keyboard.type("0199")
    press_enter_to_navigate(page)
    expect(page.get_by_role("main")).to_contain_text(job.number)


def test_keys_typed_into_a_field_are_text(log_in, live_server) -> None:
    page = log_in(Role.DESK)
    page.locator("#bar-search").focus()
    page.keyboard.type("bj/?gt")
    expect(page.locator("#bar-search")).to_have_value("bj/?gt")
    expect(page.locator("#shortcuts")).to_be_hidden()
    expect(page).to_have_url(f"{live_server.url}/")


def test_shortcuts_are_listed_and_can_be_switched_off(log_in, live_server) -> None:
    page = log_in(Role.DESK)
    press(page, "?")
    dialog = page.get_by_role("dialog", name="Keyboard shortcuts")
    expect(dialog).to_be_visible()
    expect(dialog).to_contain_text("Book a job")
    assert_accessible(page)
    dialog.get_by_role("checkbox").uncheck()
    press(page, "Escape")
    expect(dialog).to_be_hidden()
    page.goto(f"{live_server.url}/jobs/")  # the browser remembers it
    for keys in ("?", "/", "gt"):
        press(page, *keys)
    expect(dialog).to_be_hidden()
    expect(page.locator("#bar-search")).not_to_be_focused()
    expect(page).to_have_url(re.compile("/jobs/$"))
    page.get_by_role("button", name="Dana Desk").click()
    page.get_by_role("button", name="Keyboard shortcuts").click()
    dialog.get_by_role("checkbox").check()
    follow(dialog.get_by_role("link", name="Go to Today"))
    press(page, "?")
    expect(dialog).to_be_visible()


def test_booking_is_no_shortcut_for_those_who_may_not_book(log_in, live_server) -> None:
    page = log_in(Role.MECHANIC)
    expect(page.get_by_role("link", name="Book a job")).to_have_count(0)
    press(page, "b", "j")
    press(page, "?")
    expect(page.get_by_role("dialog")).not_to_contain_text("Book a job")
    expect(page).to_have_url(f"{live_server.url}/")
