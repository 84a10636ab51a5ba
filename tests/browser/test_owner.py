"""The owner: shop profile, staff, engine library and login."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from jobs.models import Job
from tests import factories
from tests.browser.conftest import PASSWORD
from tests.browser.steps import (
    assert_accessible,
    assert_message,
    follow,
    get_problems,
    get_region,
    get_textbox,
)
from workshop.models import EngineSpec, Role

LogIn = Callable[[Role], Page]


def test_shop_profile_sets_name_and_units_of_every_page(log_in: LogIn) -> None:
    job = factories.make_job(odometer_km=16_093.44, received_at="2025-05-05T08:00Z", stage="bench")
    page = log_in(Role.OWNER)
    follow(page.get_by_role("link", name="Shop", exact=True))
    get_textbox(page, "Name*").fill("Tidewater Motor Works")
    page.get_by_label("Time zone").select_option("Europe/Lisbon")
    page.get_by_label("Distance unit").select_option("mi")
    page.get_by_label("Length unit").select_option("in")
    page.get_by_label("Assumed repeatability (%)").fill("0,8")
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("link", name="Tidewater Motor Works")).to_be_visible()
    expect(page.get_by_label("Assumed repeatability (%)")).to_have_value("0.8")
    assert_accessible(page)

    page.goto(page.url.split("/shop")[0] + job.get_absolute_url())
    # 16 093.44 km are 10 000 miles of 1609.344 m.
    expect(get_region(page, "Request and check-in")).to_contain_text("10 000 mi")


def test_new_person_can_log_in(log_in: LogIn) -> None:
    page = log_in(Role.OWNER)
    page.get_by_role("button", name="Ola Owner").click()
    follow(page.get_by_role("link", name="Staff and roles"))
    follow(page.get_by_role("link", name="New person"))
    get_textbox(page, "Username*").fill("brisa")
    get_textbox(page, "First name").fill("Brisa")
    get_textbox(page, "Last name").fill("Halden")
    page.get_by_role("checkbox", name="Mechanic").check()
    get_textbox(page, "Password*").fill("seagulls over the pier")
    get_textbox(page, "Password confirmation*").fill("seagulls over the pier")
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("row").filter(has_text="Brisa Halden")).to_contain_text("mechanic")
    assert_accessible(page)

    page.get_by_role("button", name="Ola Owner").click()
    follow(page.get_by_role("button", name="Log out"))
    page.get_by_label("Username").fill("brisa")
    page.get_by_label("Password").fill("seagulls over the pier")
    follow(page.get_by_role("button", name="Log in"))
    expect(page.get_by_role("button", name="Brisa Halden")).to_be_visible()
    expect(page.get_by_role("link", name="Shop", exact=True)).to_have_count(0)


def test_new_engine_is_used_for_clearances_of_a_bike(log_in: LogIn) -> None:
    job = factories.make_job(bike=factories.make_bike(engine_spec=None, make="Sillon", model="Perch 250"))
    page = log_in(Role.OWNER)
    follow(page.get_by_role("link", name="Engines", exact=True))
    follow(page.get_by_role("link", name="Add an engine").first)
    get_textbox(page, "Manufacturer*").fill("Sillon")
    get_textbox(page, "Engine*").fill("Perch 250")
    page.get_by_role("textbox", name="Cylinders*", exact=True).fill("1")
    page.get_by_label("Arrangement").select_option("single")
    page.get_by_label("Intake valves per cylinder").fill("1")
    page.get_by_label("Exhaust valves per cylinder").fill("1")
    page.get_by_role("combobox", name="Adjuster*").select_option("screw and locknut")
    expect(page.get_by_role("group", name="Closing shims (desmodromic only)")).to_be_hidden()
    get_textbox(page, "Intake, lower limit (mm)*").fill("0,05")
    get_textbox(page, "Intake, upper limit (mm)*").fill("0,10")
    get_textbox(page, "Intake target (mm)").fill("0,12")
    get_textbox(page, "Exhaust, lower limit (mm)*").fill("0,10")
    get_textbox(page, "Exhaust, upper limit (mm)*").fill("0,15")
    get_textbox(page, "Adjuster screw pitch (mm)").fill("0,75")
    get_textbox(page, "Source (manual, edition, page)").fill("Sillon workshop leaflet")
    follow(page.get_by_role("button", name="Save"))

    # A target outside the range is rejected.
    expect(get_problems(page)).to_contain_text("The target must be within")
    expect(get_textbox(page, "Intake, lower limit (mm)*")).to_have_value("0,05")
    get_textbox(page, "Intake target (mm)").fill("0,08")
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("heading", name="Sillon Perch 250")).to_be_visible()
    expect(page.get_by_role("main")).to_contain_text("Sillon workshop leaflet")
    assert_accessible(page)

    follow(page.get_by_role("link", name="Jobs", exact=True))
    follow(page.get_by_role("link", name=job.number, exact=True))
    page.locator("#line-clearances").click()
    follow(page.get_by_role("link", name="Choose this bike's engine"))
    page.get_by_label("Engine").select_option("Sillon Perch 250")
    follow(page.get_by_role("button", name="Save"))
    assert_message(page, "saved")
    follow(page.get_by_role("link", name=job.number))  # the section stays open, as it was left
    follow(page.get_by_role("link", name="Measure as found"))
    get_textbox(page, "Engine temperature (°C)*").fill("20")
    get_textbox(page, "cylinder 1, intake").fill("0.08")
    get_textbox(page, "cylinder 1, exhaust").fill("0.20")
    follow(page.get_by_role("button", name="Save clearances"))
    readings = page.get_by_role("table", name="Readings by valve")
    expect(readings).to_contain_text("on target")
    expect(readings).to_contain_text("loose")
    assert Job.objects.get().bike.engine_spec == EngineSpec.objects.get()


def test_wrong_password_is_rejected(site: Page, live_server) -> None:
    site.goto(live_server.url)
    site.get_by_label("Username").fill("owner")
    site.get_by_label("Password").fill(PASSWORD + "?")
    follow(site.get_by_role("button", name="Log in"))
    expect(site.get_by_role("alert")).to_be_visible()
    expect(site.get_by_label("Username")).to_have_value("owner")
    assert_accessible(site)
