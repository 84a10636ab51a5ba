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
    get_problems,
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


def test_filters_of_jobs_fold_on_a_phone(log_in: LogIn) -> None:
    factories.make_job()
    page = log_in(Role.DESK)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{page.url}jobs/?make=Pellorin")
    make, more = get_textbox(page, "Make"), page.get_by_role("button", name="More filters 1 set")
    expect(make).to_be_hidden()
    more.click()
    expect(make).to_be_visible()
    expect(page.get_by_label("Mechanic or tuner")).to_be_visible()
    assert_accessible(page)
    page.set_viewport_size({"width": 1024, "height": 900})
    page.reload()
    expect(make).to_be_visible()
    expect(more).to_be_hidden()


def test_new_customer_is_booked_by_keyboard(log_in: LogIn) -> None:
    engine = factories.make_engine()
    page = log_in(Role.DESK)
    tab_to(page, page.get_by_role("link", name="Book a job").first)
    press_enter_to_navigate(page)
    expect(page.get_by_role("heading", name="Book a job")).to_be_visible()

    tab_to(page, page.get_by_text("New bike", exact=True))
    page.keyboard.press("Enter")
    tab_and_type(page, get_textbox(page, "Make*"), "Pellorin")
    tab_and_type(page, get_textbox(page, "Model*"), "Tern 660")
    tab_and_type(page, page.get_by_role("textbox", name="Year"), "2021")
    tab_and_type(page, get_textbox(page, "Plate"), "DEMO 31")
    tab_and_type(page, page.get_by_role("combobox", name="Engine"), str(engine))
    tab_to(page, page.get_by_text("New customer", exact=True))
    page.keyboard.press("Enter")
    tab_and_type(page, get_textbox(page, "Name*"), "Jorun Vail")
    tab_and_type(page, get_textbox(page, "Phone"), "+00 555 0188")
    tab_and_type(page, get_textbox(page, "Rider weight with gear (kg)"), "81,5")
    tab_and_type(page, page.get_by_role("combobox", name="Rider experience"), "novice")
    tab_and_type(page, get_textbox(page, "Customer's request*"), "Valves, and a calmer grip")
    tab_and_type(page, page.get_by_role("combobox", name="Intended use*"), "road and")
    tab_and_type(page, get_textbox(page, "Customer's limit"), "450,50")
    tab_and_type(page, get_textbox(page, "Work").first, "Set the valves")
    tab_and_type(page, get_textbox(page, "Price").first, "320")
    tab_to(page, page.get_by_role("button", name="Book job", exact=True))
    press_enter_to_navigate(page)

    expect(page.get_by_role("heading", level=1)).to_contain_text("Pellorin Tern 660")
    expect(page.get_by_role("link", name="Jorun Vail")).to_be_visible()
    brief = get_region(page, "Request and check-in")
    expect(brief).to_contain_text("Valves, and a calmer grip")
    work = get_region(page, "Agreed work")
    expect(get_row(work, "Set the valves")).to_contain_text("320.00")
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

    search = page.get_by_role("searchbox", name="Find the bike by plate, VIN, make or owner")
    search.press_sequentially("demo 7")
    expect(page.get_by_role("radio", name=bike.plate)).to_be_visible()
    expect(page.get_by_role("radio", name=other.plate)).to_be_visible()
    search.press_sequentially("4")
    expect(page.get_by_role("radio", name=other.plate)).to_have_count(0)
    expect(page.get_by_role("radio", name=bike.plate)).to_be_checked()

    get_textbox(page, "Customer's request*").fill("Stutters at half throttle")
    page.get_by_label("Intended use").select_option("road")
    page.get_by_label("Drop-off", exact=True).fill("2031-11-14T09:00")
    follow(page.get_by_role("button", name="Book job", exact=True))
    expect(get_problems(page)).to_contain_text("Friday 14 November 2031 is more than a year away.")
    assert_accessible(page)
    page.get_by_label("This time is correct").check()
    follow(page.get_by_role("button", name="Book job", exact=True))

    expect(page.get_by_role("heading", level=1)).to_contain_text(f"{bike.make} {bike.model}")
    # Booked before a DST change: the clock time stays as entered.
    expect(get_region(page, "Request and check-in")).to_contain_text("14 Nov 2031, 09:00")
    assert Job.objects.get().bike == bike


def test_incomplete_booking_shows_errors_and_preserves_input(log_in: LogIn) -> None:
    factories.make_bike(plate="DEMO 74")
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name="Book a job").first)
    get_textbox(page, "Customer's request*").fill("Stutters at half throttle")
    get_textbox(page, "Customer's limit").fill("four hundred")
    follow(page.get_by_role("button", name="Book job", exact=True))

    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("Not booked. Fix the following:")
    expect(page.get_by_role("searchbox", name="Find the bike by plate, VIN, make or owner")).to_be_focused()
    expect(alert.get_by_role("link", name="Customer's limit")).to_be_visible()
    expect(get_textbox(page, "Customer's request*")).to_have_value("Stutters at half throttle")
    expect(get_textbox(page, "Customer's limit")).to_have_value("four hundred")
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
    follow(page.locator(f"#bike-{job} .bike-name"))
    follow(page.get_by_role("link", name="Check in the bike").first)
    get_textbox(page, "Condition on arrival").fill("Scratch on the tank, left")
    get_textbox(page, "Odometer (km)").fill("24310,4")
    page.get_by_label("Fuel in the tank").select_option("half")
    get_textbox(page, "Keys").fill("2")
    page.get_by_label("Photos").set_input_files(photo)
    follow(page.get_by_role("button", name="Check in the bike"))

    brief = get_region(page, "Request and check-in")
    expect(brief).to_contain_text("Scratch on the tank, left")
    expect(brief).to_contain_text("24 310 km")
    expect(brief).to_contain_text("half, 2 keys")
    image = brief.get_by_role("img", name="tank.jpg")
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 240)
    expect(image).to_have_js_property("naturalHeight", 320)

    follow(page.get_by_role("link", name="Today"))
    expect(page.locator(f"#bike-{job}")).to_contain_text("Checked in")

    follow(page.locator(f"#bike-{job} .bike-name"))
    page.get_by_text("Wait, cancel, or move with a reason").click()
    page.get_by_role("combobox", name="Move to").select_option("waiting")
    page.get_by_label("Waiting for").select_option("parts")
    page.get_by_label("Why").fill("Camshaft cover gasket is on its way")
    follow(page.get_by_role("button", name="Move", exact=True))
    expect(page.get_by_text("Waiting: Camshaft cover gasket is on its way")).to_be_visible()
    follow(page.get_by_role("link", name="Today"))
    expect(page.locator(f"#bike-{job}")).to_contain_text("Waiting for parts")
    expect(page.locator(f"#bike-{job}")).to_contain_text("Camshaft cover gasket is on its way")
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
    expect(files.filter(has_text="notes.jpg")).to_contain_text("is not an image we can read")
    assert [stored.original_name for stored in job.photos.all()] == ["tank.jpg"]
    assert_accessible(page)
    get_textbox(page, "Odometer (km)").fill("many")
    follow(page.get_by_role("button", name="Check in the bike"))
    expect(page.get_by_role("alert").first).to_be_visible()
    get_textbox(page, "Odometer (km)").fill("24310")
    follow(page.get_by_role("button", name="Check in the bike"))
    expect(get_region(page, "Request and check-in").get_by_role("img", name="tank.jpg")).to_be_visible()
    assert job.photos.count() == 1


def test_odometer_below_the_last_reading_needs_confirmation(log_in: LogIn) -> None:
    bike = factories.make_bike()
    factories.make_job(bike=bike, odometer_km=31_000.0, received_at="2025-05-05T08:00Z", stage="handed_over")
    job = factories.make_job(bike=bike)
    page = log_in(Role.DESK)
    follow(page.locator(f"#bike-{job} .bike-name"))
    follow(page.get_by_role("link", name="Check in the bike").first)
    get_textbox(page, "Odometer (km)").fill("13.000")
    follow(page.get_by_role("button", name="Check in the bike"))
    expect(page.get_by_label("I have checked this reading")).to_be_visible()
    expect(get_textbox(page, "Odometer (km)")).to_have_value("13.000")
    get_textbox(page, "Odometer (km)").fill("31200")
    follow(page.get_by_role("button", name="Check in the bike"))
    expect(get_region(page, "Request and check-in")).to_contain_text("31 200 km")


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
    expect(page.get_by_role("button", name="Restore draft")).to_have_count(0)
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("status").first).to_contain_text("Ines Quill saved.")
    customer.refresh_from_db()
    assert (customer.phone, customer.note) == ("+00 555 0199", "Rides in all weathers")
