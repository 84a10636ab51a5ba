"""Schedule, check-in marks and signature in the browser."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Slot, StageEntry
from jobs.planner.opening_hours import load_opening_hours
from tests.browser.steps import (
    assert_accessible,
    assert_fits,
    assert_message,
    follow,
    get_region,
    get_textbox,
    press_enter_to_navigate,
)
from tests.factories import get_workstation, make_bike, make_customer, make_job
from workshop.models import Role, ShopProfile, StaffMember

WIDTHS = (390, 1024, 1440)


def assert_layout(page: Page) -> None:
    """Check that the page fits all widths and is accessible in light and dark mode."""
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        assert_fits(page)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert_accessible(page)
    page.emulate_media(color_scheme="light")


def book_slot() -> Slot:
    first = load_opening_hours(ShopProfile.current()).working_days_from(
        timezone.localdate() + timedelta(days=1)
    )[0]
    begin = datetime(first.year, first.month, first.day, 9, tzinfo=ZoneInfo("UTC"))
    return Slot.objects.create(
        job=make_job(), place=get_workstation("dyno"), starts_at=begin, ends_at=begin + timedelta(hours=2)
    )


def test_slot_is_dragged_to_a_bench(log_in, live_server) -> None:
    slot = book_slot()
    page = log_in(Role.DESK)
    slots = get_region(page, "Dyno and benches")
    target = slots.locator(
        f'td[data-place="{get_workstation("bench 2").pk}"][data-day="{slot.starts_at:%Y-%m-%d}"]'
    )
    slots.locator(".slot").drag_to(target)
    assert_message(page, "Moved: bench 2 for job")
    expect(target).to_contain_text("09:00–11:00")
    slot.refresh_from_db()
    assert slot.place.name == "bench 2"


def test_slot_is_booked_and_moved_by_keyboard(log_in, live_server) -> None:
    job = make_job()
    page = log_in(Role.DESK)
    link = get_region(page, "Dyno and benches").get_by_role("link", name="new slot, dyno").last
    link.focus()
    press_enter_to_navigate(page)
    get_textbox(page, "Job*").fill(str(job))
    press_enter_to_navigate(page, "Control+Enter")
    assert_message(page, f"The dyno for job {job} is kept.")
    change = get_region(page, "Dyno and benches").get_by_role("link", name="move or change")
    change.focus()
    press_enter_to_navigate(page)
    page.get_by_label("From").fill("13:00")
    press_enter_to_navigate(page, "Control+Enter")
    expect(get_region(page, "Dyno and benches")).to_contain_text("13:00–15:00")
    assert_layout(page)


@pytest.mark.django_db(transaction=True)
def test_condition_is_marked_and_receipt_signed(log_in, live_server) -> None:
    job = make_job()
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job}/receive/")
    page.locator("#condition-outline").click(position={"x": 60, "y": 60})
    page.get_by_label("What is at mark 1").fill("Fairing scratched")
    page.get_by_role("button", name="Add a mark on the left side").focus()
    page.keyboard.press("Enter")
    page.keyboard.type("Lever bent")
    page.locator(".outline[data-side=left]").click(position={"x": 90, "y": 120})
    page.get_by_label("What is at mark 3, left side").fill("Rim dented")
    second = page.get_by_role("button", name="Mark 2, ")
    second.focus()
    page.keyboard.press("ArrowRight")
    assert_layout(page)
    follow(page.get_by_role("button", name="Receive the bike"))
    assert_message(page, "The receipt of job")
    job.refresh_from_db()
    assert [mark["note"] for mark in job.condition_marks] == ["Fairing scratched", "Lever bent", "Rim dented"]
    assert [mark["side"] for mark in job.condition_marks] == ["right", "left", "left"]
    assert job.condition_marks[1]["x"] == 52

    page.goto(f"{live_server.url}/jobs/{job}/receipt/")
    assert_layout(page)
    pad = page.locator("[data-signature]")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 30, box["y"] + 30)
    page.mouse.down()
    page.mouse.move(box["x"] + 120, box["y"] + 60, steps=5)
    page.mouse.up()
    follow(page.get_by_role("button", name="Keep the signature"))
    assert_message(page, "The receipt is signed by")
    expect(page.get_by_role("img", name="Signature of")).to_be_visible()
    assert len(job.signed_receipts.get().signature) == 1


@pytest.mark.django_db(transaction=True)
def test_marks_are_restored_from_the_draft(log_in, live_server) -> None:
    job = make_job()
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job}/receive/")
    page.locator("#condition-outline").click(position={"x": 60, "y": 60})
    page.get_by_label("What is at mark 1").fill("Fairing scratched")
    page.goto(f"{live_server.url}/")
    page.goto(f"{live_server.url}/jobs/{job}/receive/")
    page.get_by_role("button", name="Put back what was typed").click()
    expect(page.get_by_label("What is at mark 1")).to_have_value("Fairing scratched")
    expect(page.get_by_role("button", name="Mark 1, right side, Fairing scratched")).to_be_visible()
    for note in ("Lever bent", "Seat torn"):
        page.get_by_role("button", name="Add a mark on the right side").click()
        page.keyboard.type(note)
    # The second mark is beside the first, so that both can be seen and pressed.
    page.get_by_role("button", name="Mark 2, right side, Lever bent").click()
    follow(page.get_by_role("button", name="Receive the bike"))
    assert_message(page, "The receipt of job")
    job.refresh_from_db()
    notes = [mark["note"] for mark in job.condition_marks]
    assert notes == ["Fairing scratched", "Lever bent", "Seat torn"]


@pytest.mark.django_db(transaction=True)
def test_signature_is_preserved_when_the_form_has_an_error(log_in, live_server) -> None:
    job = make_job(stage="received", received_at=timezone.now())
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job}/receipt/")
    pad = page.locator("[data-signature]")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 30, box["y"] + 30)
    page.mouse.down()
    page.mouse.move(box["x"] + 120, box["y"] + 60, steps=5)
    page.mouse.up()
    get_textbox(page, "Name of who hands the bike in*").fill("")
    follow(page.get_by_role("button", name="Keep the signature"))
    expect(page.get_by_role("alert")).to_contain_text("This field is required")
    expect(pad.locator("polyline")).to_have_count(1)
    get_textbox(page, "Name of who hands the bike in*").fill("Bo Tarn")
    follow(page.get_by_role("button", name="Keep the signature"))
    assert_message(page, "The receipt is signed by Bo Tarn")
    assert len(job.signed_receipts.get().signature) == 1


def test_empty_shop_guides_the_owner_and_fits_the_screen(log_in, live_server) -> None:
    page = log_in(Role.OWNER)
    steps = get_region(page, "Your first ten minutes")
    expect(steps.get_by_role("link", name="Book a job")).to_be_visible()
    assert_layout(page)
    for address in ("/shop/backup/", "/shop/history/", "/calendar/"):
        page.goto(f"{live_server.url}{address}")
        assert_layout(page)


def test_customer_pages_fit_the_screen_and_are_accessible(log_in, live_server) -> None:
    job = make_job()
    page = log_in(Role.OWNER)
    for page_name in ("", "merge/", "erase/"):
        page.goto(f"{live_server.url}/customers/{job.customer.pk}/{page_name}")
        assert_layout(page)
    page.goto(f"{live_server.url}/history/jobs.job/{job.pk}/")
    assert_layout(page)


def test_schedule_and_lists_fit_a_phone(log_in, live_server) -> None:
    slot = book_slot()
    bike = slot.job.bike
    page = log_in(Role.DESK)
    page.set_viewport_size({"width": 390, "height": 844})
    pages = {
        "/": "09:00–11:00",
        "/jobs/": "Promised for",
        "/bikes/": bike.vin,
        "/customers/": bike.owner.name,
        f"/bikes/{bike.pk}/": "Asked for",
    }
    for address, text in pages.items():
        page.goto(f"{live_server.url}{address}")
        table = page.locator(".table-scroll").first
        expect(table).to_contain_text(text)
        assert table.evaluate("table => table.scrollWidth - table.clientWidth") == 0, address


def test_slot_weeks_ahead_is_found_on_later_days(log_in, live_server) -> None:
    slot = book_slot()
    slot.starts_at += timedelta(days=21)
    slot.ends_at += timedelta(days=21)
    slot.save()
    page = log_in(Role.DESK)
    plan = get_region(page, "Dyno and benches by day")
    expect(plan).not_to_contain_text("09:00–11:00")
    for _ in range(6):
        if plan.get_by_text("09:00–11:00").count():
            break
        follow(page.get_by_role("link", name="Later days"))
    expect(plan).to_contain_text("09:00–11:00")
    assert_layout(page)
    follow(page.get_by_role("link", name="The next days"))
    expect(page).to_have_url(re.compile(r"/\?#slots$|/#slots$"))


def test_long_words_do_not_overflow_any_page(log_in, live_server) -> None:
    owner = make_customer(name="W" * 120, email="", phone="0" * 40)
    bike = make_bike(owner=owner, make="M" * 60, model="Ж" * 80, plate="P" * 20)
    job = make_job(bike=bike, brief="y" * 3000, condition="z" * 400, received_at=timezone.now())
    StageEntry.objects.create(job=job, stage=job.stage, why="w" * 400, by=StaffMember.objects.all()[0])
    page = log_in(Role.DESK)
    of_job = [f"/jobs/{job}/{part}" for part in ("", "receipt/", "receive/", "timeline/")]
    of_people = [
        f"/customers/{owner.pk}/",
        f"/bikes/{bike.pk}/",
        f"/jobs/book/?bike={bike.pk}",
        "/search/?q=www",
    ]
    for width in (390, 1024):
        page.set_viewport_size({"width": width, "height": 900})
        for address in ["/", "/jobs/", "/bikes/", "/customers/", *of_job, *of_people]:
            page.goto(f"{live_server.url}{address}")
            assert_fits(page)
