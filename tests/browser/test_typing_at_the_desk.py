"""Traps of typing at the desk: marks of thousands, days when the shop is closed, people who are known."""

from collections.abc import Callable
from datetime import timedelta

from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Job, Slot
from tests import factories
from tests.browser.steps import assert_accessible, follow, get_problems, get_textbox
from workshop.models import Customer, Role

LogIn = Callable[[Role], Page]


def test_odometer_with_a_mark_of_thousands_is_understood(log_in: LogIn, live_server) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    page.goto(live_server.url + reverse("job-receive", args=[job]))
    get_textbox(page, "Odometer (km)").fill("14,210")
    follow(page.get_by_role("button", name="Check in the bike"))
    expect(page.get_by_role("main")).to_contain_text("14\u202f210")
    assert Job.objects.get().odometer_km == 14_210


def test_number_that_can_mean_two_is_asked_about_and_stays(log_in: LogIn, live_server) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    page.goto(live_server.url + reverse("part-add", args=[job]))
    page.locator("select[name=kind]").select_option(str(factories.get_part_kind("brakes").pk))
    get_textbox(page, "Name*").fill("Brake fluid")
    get_textbox(page, "Quantity*").fill("1,500")
    follow(page.get_by_role("button", name="Save"))
    expect(get_problems(page)).to_contain_text("1,500 can mean 1500 or 1.500.")
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
    get_textbox(page, "Customer's request*").fill("Valves")
    page.get_by_label("Intended use").select_option("road")
    page.get_by_label("Drop-off", exact=True).fill(f"{sunday:%Y-%m-%d}T09:00")
    page.get_by_label("Reserve from drop-off").select_option("bench 1")
    follow(page.get_by_role("button", name="Book job", exact=True))
    expect(get_problems(page)).to_contain_text("closed on Sundays")
    expect(page.get_by_label("Drop-off", exact=True)).to_have_value(f"{sunday:%Y-%m-%d}T09:00")
    assert_accessible(page)
    page.get_by_label("This time is correct").check()
    follow(page.get_by_role("button", name="Book job", exact=True))
    slot = Slot.objects.get()
    assert (slot.job, timezone.localtime(slot.starts_at).date()) == (Job.objects.get(), sunday.date())


def test_known_customer_is_shown_while_typing_and_taken_with_one_press(log_in: LogIn, live_server) -> None:
    known = factories.make_customer(name="Jorun Vail", phone="020 7946 0018", email="")
    page = log_in(Role.DESK)
    page.goto(live_server.url + reverse("job-book"))
    page.get_by_text("New bike", exact=True).click()
    get_textbox(page, "Make*").fill("Pellorin")
    get_textbox(page, "Model*").fill("Tern 660")
    page.get_by_text("New customer", exact=True).click()
    get_textbox(page, "Name*").fill("J. Vail")
    get_textbox(page, "Phone").fill("+44 (0)20 7946 0018")
    get_textbox(page, "Phone").blur()
    known_one = page.get_by_role("radio", name="Use Jorun Vail")
    known_one.check()
    expect(known_one).to_be_checked()
    assert_accessible(page)
    get_textbox(page, "Customer's request*").fill("Valves")
    page.get_by_label("Intended use").select_option("road")
    follow(page.get_by_role("button", name="Book job", exact=True))
    expect(page.get_by_role("link", name="Jorun Vail")).to_be_visible()
    assert Customer.objects.get() == known
