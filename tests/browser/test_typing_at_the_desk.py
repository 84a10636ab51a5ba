"""Traps of typing at the desk: marks of thousands, and days when the shop is closed."""

from collections.abc import Callable
from datetime import timedelta

from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Job, Slot
from tests import factories
from tests.browser.steps import assert_accessible, follow, get_textbox
from workshop.models import Role

LogIn = Callable[[Role], Page]


def test_odometer_with_a_mark_of_thousands_is_understood(log_in: LogIn, live_server) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    page.goto(live_server.url + reverse("job-receive", args=[job]))
    get_textbox(page, "Odometer (km)").fill("14,210")
    follow(page.get_by_role("button", name="Receive the bike"))
    expect(page.get_by_role("main")).to_contain_text("14\u202f210")
    assert Job.objects.get().odometer_km == 14_210


def test_number_that_can_mean_two_is_asked_about_and_stays(log_in: LogIn, live_server) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    page.goto(live_server.url + reverse("part-add", args=[job]))
    get_textbox(page, "Name*").fill("Fork oil")
    get_textbox(page, "Quantity*").fill("1,500")
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("alert")).to_contain_text("1,500 can mean 1500 or 1.500.")
    expect(get_textbox(page, "Quantity*")).to_have_value("1,500")
    get_textbox(page, "Quantity*").fill("1.5")
    follow(page.get_by_role("button", name="Save"))
    assert job.parts.get().quantity == 1.5


def test_drop_off_on_a_closed_day_is_asked_about_and_reserves_its_slot(log_in: LogIn, live_server) -> None:
    bike = factories.make_bike()
    sunday = timezone.localtime() + timedelta(days=14)
    sunday += timedelta(days=6 - sunday.weekday())
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}{reverse('job-book')}?bike={bike.pk}")
    get_textbox(page, "What the customer asks for*").fill("Valves")
    page.get_by_label("Intended use").select_option("road")
    page.get_by_label("Booked for").fill(f"{sunday:%Y-%m-%d}T09:00")
    page.get_by_label("Reserve from the drop-off on").select_option("bench 1")
    follow(page.get_by_role("button", name="Book", exact=True))
    expect(page.get_by_role("alert")).to_contain_text("no work on a Sunday")
    expect(page.get_by_label("Booked for")).to_have_value(f"{sunday:%Y-%m-%d}T09:00")
    assert_accessible(page)
    page.get_by_label("This time is right").check()
    follow(page.get_by_role("button", name="Book", exact=True))
    slot = Slot.objects.get()
    assert (slot.job, timezone.localtime(slot.starts_at).date()) == (Job.objects.get(), sunday.date())
