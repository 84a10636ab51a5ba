"""Schedule, check-in marks and signature in the browser."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from jobs.models import Slot, StageEntry
from jobs.planner.opening_hours import load_opening_hours
from tests.browser.steps import (
    assert_accessible,
    assert_fits,
    assert_message,
    follow,
    get_problems,
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


def open_day(page: Page, slot: Slot) -> None:
    page.goto(f"{page.url.partition('?')[0]}?day={slot.starts_at:%Y-%m-%d}")


def get_slot(page: Page) -> Locator:
    return get_region(page, "Schedule").locator(".slot[data-move]")


def get_lane(page: Page, name: str) -> Locator:
    return get_region(page, "Schedule").locator(f'.time[data-place="{get_workstation(name).pk}"]')


def hour_px(lane: Locator) -> float:
    """Return the width of an hour in a lane; the default hours are 08:00 to 18:00."""
    box = lane.bounding_box()
    assert box is not None
    return box["width"] / 10


def drag(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=8)
    page.mouse.up()


def times(slot: Slot) -> tuple[str, str, str]:
    slot.refresh_from_db()
    return slot.place.name, f"{slot.starts_at:%H:%M}", f"{slot.ends_at:%H:%M}"


def test_slot_is_drawn_to_time(log_in, live_server) -> None:
    slot = book_slot()
    page = log_in(Role.DESK)
    open_day(page, slot)
    box, lane = get_slot(page).bounding_box(), get_lane(page, "dyno").bounding_box()
    assert box is not None and lane is not None
    assert box["width"] == pytest.approx(lane["width"] / 5, abs=3)  # two of ten hours
    assert box["x"] - lane["x"] == pytest.approx(lane["width"] / 10, abs=3)  # one hour after opening
    assert_layout(page)


def test_slot_is_dragged_to_a_bench_and_another_hour(log_in, live_server) -> None:
    slot = book_slot()
    page = log_in(Role.DESK)
    open_day(page, slot)
    box, target = get_slot(page).bounding_box(), get_lane(page, "bench 2").bounding_box()
    assert box is not None and target is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    hours = 2.25 * hour_px(get_lane(page, "dyno"))
    drag(page, (x, y), (x + hours, target["y"] + target["height"] / 2))
    assert_message(page, f"Moved: Bench 2, job {slot.job}")
    expect(get_lane(page, "bench 2")).to_contain_text("11:15 to 13:15")
    assert times(slot) == ("bench 2", "11:15", "13:15")
    expect(page).to_have_url(re.compile("day="))  # a drag opens nothing


def test_ends_of_a_slot_are_dragged_in_quarter_hours(log_in, live_server) -> None:
    slot = book_slot()
    page = log_in(Role.DESK)
    open_day(page, slot)
    hour = hour_px(get_lane(page, "dyno"))
    box = get_slot(page).bounding_box()
    assert box is not None
    y = box["y"] + box["height"] / 2
    drag(page, (box["x"] + box["width"] - 3, y), (box["x"] + box["width"] - 3 + 1.5 * hour, y))
    assert_message(page, "09:00 to 12:30")
    assert times(slot) == ("dyno", "09:00", "12:30")
    box = get_slot(page).bounding_box()
    assert box is not None
    y = box["y"] + box["height"] / 2
    drag(page, (box["x"] + 3, y), (box["x"] + 3 + 0.5 * hour, y))
    assert_message(page, "09:30 to 12:30")
    assert times(slot) == ("dyno", "09:30", "12:30")


def test_refused_drag_puts_the_slot_back_and_names_the_other_job(log_in, live_server) -> None:
    slot = book_slot()
    other = make_job(bike=make_bike(plate="X 9"))
    begin = slot.starts_at + timedelta(hours=3)
    Slot.objects.create(job=other, place=slot.place, starts_at=begin, ends_at=begin + timedelta(hours=2))
    page = log_in(Role.DESK)
    open_day(page, slot)
    mine = page.locator(f"#slot-{slot.pk}-{slot.starts_at:%m%d}")
    box = mine.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    drag(page, (x, y), (x + 2 * hour_px(get_lane(page, "dyno")), y))
    assert_message(page, f"Slot not moved. Dyno is booked for job {other} from 12:00 to 14:00")
    expect(mine).to_contain_text("09:00 to 11:00")
    back = mine.bounding_box()
    assert back is not None
    assert (back["x"], back["width"]) == (box["x"], box["width"])
    assert times(slot) == ("dyno", "09:00", "11:00")


def test_slot_is_moved_and_resized_by_keys(log_in, live_server) -> None:
    slot = book_slot()
    page = log_in(Role.DESK)
    open_day(page, slot)
    get_slot(page).focus()
    for keys in ("ArrowRight", "ArrowRight", "ArrowDown", "Shift+ArrowRight"):
        page.keyboard.press(keys)
    expect(page.locator("[data-said]")).to_contain_text("09:30 to 11:45, bench 1")
    assert_message(page, "Moved: Bench 1")
    assert times(slot) == ("bench 1", "09:30", "11:45")
    assert slot.history.count() == 2  # one move, however many keys
    expect(get_slot(page)).to_be_focused()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Escape")
    press_enter_to_navigate(page)
    expect(page.get_by_label("From")).to_have_value("09:30")


def test_new_slot_is_drawn_on_free_time(log_in, live_server) -> None:
    slot = book_slot()
    page = log_in(Role.DESK)
    open_day(page, slot)
    lane = get_lane(page, "bench 1")
    box, hour = lane.bounding_box(), hour_px(lane)
    assert box is not None
    y = box["y"] + box["height"] / 2
    with page.expect_navigation():
        drag(page, (box["x"] + 6.05 * hour, y), (box["x"] + 7.45 * hour, y))
    expect(page.get_by_label("From")).to_have_value("14:00")
    expect(page.get_by_label("Hours")).to_have_value("1.5")
    expect(page.get_by_label("Workstation")).to_have_value(str(get_workstation("bench 1").pk))


def test_work_without_a_slot_is_dropped_on_the_schedule(log_in, live_server) -> None:
    slot = book_slot()
    waiting = make_job(bike=make_bike(plate="X 9"))
    page = log_in(Role.DESK)
    open_day(page, slot)
    item = page.locator(f'[data-job="{waiting}"]').bounding_box()
    lane = get_lane(page, "bench 1")
    box = lane.bounding_box()
    assert item is not None and box is not None
    with page.expect_navigation():
        x, y = box["x"] + 5.1 * hour_px(lane), box["y"] + box["height"] / 2
        drag(page, (item["x"] + item["width"] - 5, item["y"] + item["height"] / 2), (x, y))
    expect(get_textbox(page, "Job*")).to_have_value(str(waiting))
    expect(page.get_by_label("From")).to_have_value("13:00")


def test_slot_is_moved_by_touch_after_a_hold_on_an_upright_phone(log_in, live_server) -> None:
    slot = book_slot()
    page = log_in(Role.DESK)
    page.set_viewport_size({"width": 390, "height": 844})
    open_day(page, slot)
    mine = get_slot(page)
    mine.scroll_into_view_if_needed()
    box, lane = mine.bounding_box(), get_lane(page, "dyno").bounding_box()
    assert box is not None and lane is not None
    assert box["height"] == pytest.approx(lane["height"] / 5, abs=3)
    x, y, hour = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, lane["height"] / 10
    touch = {"bubbles": True, "isPrimary": True, "pointerId": 7, "pointerType": "touch", "clientX": x}
    mine.dispatch_event("pointerdown", {**touch, "clientY": y, "button": 0})
    expect(mine).to_have_class(re.compile("is-moving"))
    mine.dispatch_event("pointermove", {**touch, "clientY": y + hour})
    mine.dispatch_event("pointerup", {**touch, "clientY": y + hour})
    assert_message(page, "10:00 to 12:00")
    assert times(slot) == ("dyno", "10:00", "12:00")
    assert_fits(page)
    assert_accessible(page)


def test_slot_is_booked_and_moved_by_keyboard(log_in, live_server) -> None:
    job = make_job()
    page = log_in(Role.DESK)
    link = get_region(page, "Schedule").get_by_role("link", name="Book a slot, dyno")
    link.focus()
    press_enter_to_navigate(page)
    get_textbox(page, "Job*").fill(str(job))
    page.get_by_label("Book it anyway").or_(get_textbox(page, "Job*")).first.focus()
    press_enter_to_navigate(page, "Control+Enter")
    assert_message(page, f"Booked: Dyno, job {job}")
    change = get_slot(page)
    change.focus()
    press_enter_to_navigate(page)
    page.get_by_label("From").fill("13:00")
    press_enter_to_navigate(page, "Control+Enter")
    expect(get_region(page, "Schedule")).to_contain_text("13:00 to 15:00")
    assert_layout(page)


@pytest.mark.django_db(transaction=True)
def test_condition_is_marked_and_receipt_signed(log_in, live_server) -> None:
    job = make_job()
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job}/receive/")
    page.locator("#condition-outline").click(position={"x": 60, "y": 60})
    page.get_by_label("Describe mark 1").fill("Fairing scratched")
    page.get_by_role("button", name="Add a mark on the left side").focus()
    page.keyboard.press("Enter")
    page.keyboard.type("Lever bent")
    page.locator(".outline[data-side=left]").click(position={"x": 90, "y": 120})
    page.get_by_label("Describe mark 3, left side").fill("Rim dented")
    second = page.get_by_role("button", name="Mark 2, ")
    second.focus()
    page.keyboard.press("ArrowRight")
    assert_layout(page)
    follow(page.get_by_role("button", name="Check in the bike"))
    assert_message(page, "Check-in of job")
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
    follow(page.get_by_role("button", name="Save signature"))
    assert_message(page, "Check-in sheet signed by")
    expect(page.get_by_role("img", name="Signature of")).to_be_visible()
    assert len(job.signed_receipts.get().signature) == 1


@pytest.mark.django_db(transaction=True)
def test_marks_are_restored_from_the_draft(log_in, live_server) -> None:
    job = make_job()
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job}/receive/")
    page.locator("#condition-outline").click(position={"x": 60, "y": 60})
    page.get_by_label("Describe mark 1").fill("Fairing scratched")
    page.goto(f"{live_server.url}/")
    page.goto(f"{live_server.url}/jobs/{job}/receive/")
    page.get_by_role("button", name="Restore draft").click()
    expect(page.get_by_label("Describe mark 1")).to_have_value("Fairing scratched")
    expect(page.get_by_role("button", name="Mark 1, right side, Fairing scratched")).to_be_visible()
    for note in ("Lever bent", "Seat torn"):
        page.get_by_role("button", name="Add a mark on the right side").click()
        page.keyboard.type(note)
    # The second mark is beside the first, so that both can be seen and pressed.
    page.get_by_role("button", name="Mark 2, right side, Lever bent").click()
    follow(page.get_by_role("button", name="Check in the bike"))
    assert_message(page, "Check-in of job")
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
    get_textbox(page, "Name of the person handing in the bike*").fill("")
    follow(page.get_by_role("button", name="Save signature"))
    expect(get_problems(page)).to_contain_text("This field is required")
    expect(pad.locator("polyline")).to_have_count(1)
    get_textbox(page, "Name of the person handing in the bike*").fill("Bo Tarn")
    follow(page.get_by_role("button", name="Save signature"))
    assert_message(page, "Check-in sheet signed by Bo Tarn")
    assert len(job.signed_receipts.get().signature) == 1


def test_empty_shop_guides_the_owner_and_fits_the_screen(log_in, live_server) -> None:
    page = log_in(Role.OWNER)
    steps = get_region(page, "Get started")
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
        "/jobs/": "Ready by",
        "/bikes/": bike.vin,
        "/customers/": bike.owner.name,
        f"/bikes/{bike.pk}/": "Request",
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
    plan = get_region(page, "Schedule")
    follow(plan.get_by_role("link", name="Week"))
    assert_layout(page)
    expect(get_slot(page)).to_have_count(0)
    for _ in range(6):
        if get_slot(page).count():
            break
        follow(page.get_by_role("link", name="Later days"))
    expect(get_slot(page)).to_have_count(1)
    assert_layout(page)
    follow(plan.get_by_role("link", name=re.compile(f"^{slot.starts_at:%a} {slot.starts_at.day} ")))
    expect(get_slot(page)).to_contain_text("09:00 to 11:00")


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
