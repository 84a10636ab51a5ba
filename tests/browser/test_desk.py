"""The service desk: booking, check-in with photos, Today."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from jobs.models import Job
from tests import factories
from tests.browser.steps import (
    assert_accessible,
    follow,
    get_region,
    get_row,
    get_textbox,
    press_enter_to_navigate,
    tab_to,
)
from tests.jobs.images import jpeg
from workshop.models import Role

LogIn = Callable[[Role], Page]


def tab_and_type(page: Page, field: Locator, text: str) -> None:
    tab_to(page, field)
    page.keyboard.type(text)


def test_new_customer_is_booked_by_keyboard(log_in: LogIn) -> None:
    engine = factories.make_engine()
    page = log_in(Role.DESK)
    tab_to(page, page.get_by_role("link", name="Book a job").first)
    press_enter_to_navigate(page)
    expect(page.get_by_role("heading", name="Book a job")).to_be_visible()

    tab_to(page, page.get_by_text("A new bike", exact=True))
    page.keyboard.press("Enter")
    tab_and_type(page, get_textbox(page, "Make*"), "Pellorin")
    tab_and_type(page, get_textbox(page, "Model*"), "Tern 660")
    tab_and_type(page, page.get_by_role("textbox", name="Year"), "2021")
    tab_and_type(page, get_textbox(page, "Plate"), "DEMO 31")
    tab_and_type(page, page.get_by_role("combobox", name="Engine"), str(engine))
    tab_to(page, page.get_by_text("A new customer", exact=True))
    page.keyboard.press("Enter")
    tab_and_type(page, get_textbox(page, "Name*"), "Jorun Vail")
    tab_and_type(page, get_textbox(page, "Phone"), "+00 555 0188")
    tab_and_type(page, get_textbox(page, "Mass in riding kit (kg)"), "81,5")
    tab_and_type(page, page.get_by_role("combobox", name="Rider experience"), "novice")
    tab_and_type(page, get_textbox(page, "What the customer asks for*"), "Valves, and a calmer grip")
    tab_and_type(page, page.get_by_role("combobox", name="Intended use*"), "road and")
    tab_and_type(page, get_textbox(page, "Authorised up to"), "450,50")
    tab_and_type(page, get_textbox(page, "Work").first, "Set the valves")
    tab_and_type(page, get_textbox(page, "Price").first, "320")
    tab_to(page, page.get_by_role("button", name="Book", exact=True))
    press_enter_to_navigate(page)

    expect(page.get_by_role("heading", level=1)).to_contain_text("Pellorin Tern 660 2021")
    expect(page.get_by_role("link", name="Jorun Vail")).to_be_visible()
    brief = get_region(page, "Brief and receipt")
    expect(brief).to_contain_text("Valves, and a calmer grip")
    expect(get_row(brief, "Set the valves")).to_contain_text("320.00")
    assert_accessible(page)

    job = Job.objects.get()
    assert job.bike.engine_spec == engine
    assert (job.customer.experience, job.customer.riding_mass_kg) == ("novice", 81.5)
    assert str(job.authorised_amount) == "450.50"


def test_known_bike_is_found_by_plate_and_booked(log_in: LogIn) -> None:
    bike = factories.make_bike(plate="DEMO 74")
    other = factories.make_bike(owner=factories.make_customer(name="Pell Ash"), plate="DEMO 75")
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name="Book a job").first)

    search = page.get_by_role("searchbox", name="Plate, VIN, make or owner")
    search.press_sequentially("demo 7")
    expect(page.get_by_role("radio", name=bike.plate)).to_be_visible()
    expect(page.get_by_role("radio", name=other.plate)).to_be_visible()
    search.press_sequentially("4")
    expect(page.get_by_role("radio", name=other.plate)).to_have_count(0)
    expect(page.get_by_role("radio", name=bike.plate)).to_be_checked()

    get_textbox(page, "What the customer asks for*").fill("Stutters at half throttle")
    page.get_by_label("Intended use").select_option("road")
    page.get_by_label("Booked for").fill("2031-11-14T09:00")
    follow(page.get_by_role("button", name="Book", exact=True))
    expect(page.get_by_role("alert")).to_contain_text("Friday 14 November 2031 is more than a year away.")
    assert_accessible(page)
    page.get_by_label("This time is right").check()
    follow(page.get_by_role("button", name="Book", exact=True))

    expect(page.get_by_role("heading", level=1)).to_contain_text(str(bike))
    # Booked before a DST change: the clock time stays as entered.
    expect(get_region(page, "Brief and receipt")).to_contain_text("14 Nov 2031, 09:00")
    assert Job.objects.get().bike == bike


def test_incomplete_booking_shows_errors_and_preserves_input(log_in: LogIn) -> None:
    factories.make_bike(plate="DEMO 74")
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name="Book a job").first)
    get_textbox(page, "What the customer asks for*").fill("Stutters at half throttle")
    get_textbox(page, "Authorised up to").fill("four hundred")
    follow(page.get_by_role("button", name="Book", exact=True))

    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("Not booked yet")
    expect(alert).to_be_focused()
    expect(alert.get_by_role("link", name="Authorised up to")).to_be_visible()
    expect(get_textbox(page, "What the customer asks for*")).to_have_value("Stutters at half throttle")
    expect(get_textbox(page, "Authorised up to")).to_have_value("four hundred")
    assert_accessible(page)
    assert not Job.objects.exists()


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """Write a rotated photo: stored as 320 × 240, shown as 240 × 320."""
    path = tmp_path / "tank.jpg"
    path.write_bytes(jpeg("tank.jpg", size=(320, 240), orientation=6).read())
    return path


def test_bike_is_checked_in_and_moved_to_waiting(log_in: LogIn, photo: Path) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name=job.number))
    follow(page.get_by_role("link", name="Receive the bike").first)
    get_textbox(page, "Condition on arrival").fill("Scratch on the tank, left")
    get_textbox(page, "Odometer (km)").fill("24310,4")
    page.get_by_label("Fuel in the tank").select_option("half")
    page.get_by_label("Keys handed in").fill("2")
    page.get_by_label("Photos").set_input_files(photo)
    follow(page.get_by_role("button", name="Receive the bike"))

    brief = get_region(page, "Brief and receipt")
    expect(brief).to_contain_text("Scratch on the tank, left")
    expect(brief).to_contain_text("24 310 km")
    expect(brief).to_contain_text("half, 2 keys")
    image = brief.get_by_role("img", name="tank.jpg")
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 240)
    expect(image).to_have_js_property("naturalHeight", 320)

    follow(page.get_by_role("link", name="Today"))
    expect(get_region(page, "Received")).to_contain_text(job.number)

    follow(page.get_by_role("link", name=job.number))
    page.get_by_text("Move to another stage").click()
    page.get_by_role("combobox", name="Move to").select_option("waiting")
    page.get_by_label("Waits for").select_option("parts")
    page.get_by_label("Why").fill("Camshaft cover gasket is on its way")
    follow(page.get_by_role("button", name="Move"))
    expect(page.get_by_text("waiting for parts: Camshaft cover gasket is on its way")).to_be_visible()
    follow(page.get_by_role("link", name="Today"))
    expect(get_region(page, "Waiting")).to_contain_text(job.number)
    expect(get_region(page, "Received")).not_to_contain_text(job.number)
    assert_accessible(page)


def test_photos_are_kept_as_soon_as_they_are_chosen(log_in: LogIn, photo: Path, tmp_path: Path) -> None:
    """A photo that cannot be read discards no other, and neither does an error in the form."""
    job = factories.make_job()
    notes = tmp_path / "notes.jpg"
    notes.write_bytes(b"no picture")
    page = log_in(Role.DESK)
    page.goto(f"{page.url.rstrip('/')}{reverse('job-receive', args=[job])}")
    page.get_by_label("Photos").set_input_files([photo, notes])
    files = page.locator(".dropzone-files li")
    expect(files.filter(has_text="tank.jpg")).to_contain_text("kept")
    expect(files.filter(has_text="notes.jpg")).to_contain_text("can't be read as an image")
    assert [stored.original_name for stored in job.photos.all()] == ["tank.jpg"]
    assert_accessible(page)
    get_textbox(page, "Odometer (km)").fill("many")
    follow(page.get_by_role("button", name="Receive the bike"))
    expect(page.get_by_role("alert").first).to_be_visible()
    get_textbox(page, "Odometer (km)").fill("24310")
    follow(page.get_by_role("button", name="Receive the bike"))
    expect(get_region(page, "Brief and receipt").get_by_role("img", name="tank.jpg")).to_be_visible()
    assert job.photos.count() == 1


def test_odometer_below_the_last_reading_needs_confirmation(log_in: LogIn) -> None:
    bike = factories.make_bike()
    factories.make_job(bike=bike, odometer_km=31_000.0, received_at="2025-05-05T08:00Z", stage="handed_over")
    job = factories.make_job(bike=bike)
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name=job.number))
    follow(page.get_by_role("link", name="Receive the bike").first)
    get_textbox(page, "Odometer (km)").fill("13.000")
    follow(page.get_by_role("button", name="Receive the bike"))
    expect(page.get_by_label("The reading is right")).to_be_visible()
    expect(get_textbox(page, "Odometer (km)")).to_have_value("13.000")
    get_textbox(page, "Odometer (km)").fill("31200")
    follow(page.get_by_role("button", name="Receive the bike"))
    expect(get_region(page, "Brief and receipt")).to_contain_text("31 200 km")


def test_conflict_page_offers_no_outdated_draft(log_in: LogIn) -> None:
    customer = factories.make_customer(name="Ines Quill", phone="1")
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name="Customers"))
    follow(page.get_by_role("link", name="Ines Quill"))
    follow(page.get_by_role("link", name="Edit"))
    get_textbox(page, "Note").fill("Rides in all weathers")
    customer.phone = "+00 555 0199"  # another user saves
    customer.save()
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("alert")).to_contain_text("changed this")
    expect(get_textbox(page, "Phone")).to_have_value("+00 555 0199")
    # The draft is older than the page: restored, it would be rejected again and again.
    expect(page.get_by_role("button", name="Put back what was typed")).to_have_count(0)
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("status").first).to_contain_text("Ines Quill is saved.")
    customer.refresh_from_db()
    assert (customer.phone, customer.note) == ("+00 555 0199", "Rides in all weathers")
