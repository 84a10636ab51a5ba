"""Keys that frequent work takes, typed as at the desk and the bench: every key counts, Tab too."""

from collections.abc import Callable
from typing import Any

from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from jobs.models import Job
from tests import factories
from tests.browser.steps import MAX_TABS, follow, press_enter_to_navigate
from workshop.models import Bike, Customer, Role

LogIn = Callable[[Role], Page]
REQUEST = "Valves are due"


class Typist:
    """Someone who types on a page and counts the keys."""

    def __init__(self, page: Page) -> None:
        self.page, self.keys = page, 0

    def press(self, *keys: str) -> None:
        for key in keys:
            self.keys += 1
            self.page.keyboard.press(key)

    def type(self, text: str) -> None:
        self.keys += len(text)
        self.page.keyboard.type(text)

    def tab_to(self, target: Locator) -> None:
        for _ in range(MAX_TABS):
            if target.evaluate("element => element === document.activeElement"):
                return
            self.press("Tab")
        raise AssertionError(f"{MAX_TABS} presses of Tab never reached {target}")

    def save(self) -> None:
        self.keys += 1  # two keys held together
        press_enter_to_navigate(self.page, "Control+Enter")


def open_booking(page: Page) -> Typist:
    """Open the booking from Today by its two letters."""
    typist = Typist(page)
    typist.press("b")
    with page.expect_navigation():
        typist.press("j")
    return typist


def type_request(typist: Typist) -> None:
    typist.tab_to(typist.page.get_by_label("Customer's request"))
    typist.type(REQUEST)
    typist.press("Tab", "r")  # road


def test_booking_a_known_bike_takes_at_most_30_keys(log_in: LogIn, live_server: Any) -> None:
    bike = factories.make_bike(plate="DEMO 74")
    typist = open_booking(log_in(Role.DESK))
    typist.type("demo 74")
    expect(typist.page.get_by_role("radio", name=bike.plate)).to_be_checked()
    type_request(typist)
    typist.save()
    job = Job.objects.get()
    assert (job.bike, job.brief, job.intended_use) == (bike, REQUEST, "road")
    assert typist.keys <= 30


def test_booking_a_new_bike_of_a_new_customer_takes_at_most_100_keys(log_in: LogIn, live_server: Any) -> None:
    typist = open_booking(log_in(Role.DESK))
    page = typist.page
    typist.tab_to(page.get_by_text("New bike", exact=True))
    typist.press("Space")
    for name, text in (("make", "Pellorin"), ("model", "Tern 660"), ("plate", "DEMO 75")):
        typist.tab_to(page.locator(f"#id_bike-{name}"))
        typist.type(text)
    typist.tab_to(page.get_by_text("New customer", exact=True))
    typist.press("Space")
    for name, text in (("name", "Jorun Vail"), ("phone", "020 7946 0018"), ("email", "jorun@example.com")):
        typist.tab_to(page.locator(f"#id_customer-{name}"))
        typist.type(text)
    type_request(typist)
    typist.save()
    bike, customer = Bike.objects.get(), Customer.objects.get()
    assert (bike.plate, bike.model, bike.owner) == ("DEMO 75", "Tern 660", customer)
    assert (customer.name, customer.phone) == ("Jorun Vail", "020 7946 0018")
    assert typist.keys <= 100


def test_sixteen_clearances_take_four_keys_each(log_in: LogIn, live_server: Any) -> None:
    """A point, two digits and Enter."""
    engine = factories.make_engine(cylinders=4, intake_valves=2, exhaust_valves=2)
    job = factories.make_job(bike=factories.make_bike(engine_spec=engine))
    page = log_in(Role.MECHANIC)
    page.goto(live_server.url + reverse("clearances-new", args=[job, "as_found"]))
    boxes = page.locator("[data-place] > input:visible")
    typist = Typist(page)
    boxes.first.focus()
    for number in range(16):
        typist.type(f".{12 + number}")
        typist.press("Enter")
    assert typist.keys <= 64


def test_stage_changes_with_three_keys(log_in: LogIn, live_server: Any) -> None:
    job = factories.make_job(stage="received", received_at="2026-01-05T08:00Z")
    page = log_in(Role.MECHANIC)
    follow(page.locator(f"#bike-{job} .bike-name"))
    typist = Typist(page)
    typist.press("s", "ArrowRight")
    typist.keys += 1
    press_enter_to_navigate(page)
    expect(page.locator("#stage [aria-current]")).to_contain_text("On the bench")
    assert typist.keys == 3
