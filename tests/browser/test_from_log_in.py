"""A working day of each role, from login to logout."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Job
from tests import factories
from tests.browser.conftest import PASSWORD
from tests.browser.steps import assert_message, follow, get_region, get_row, get_textbox
from tests.jobs.run_files import sweep_csv
from workshop.models import Role, StaffMember

pytestmark = pytest.mark.browser_context_args(service_workers="allow")


def log_in_as(page: Page, site: str, username: str) -> None:
    page.goto(site)
    get_textbox(page, "Username*").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    follow(page.get_by_role("button", name="Log in"))
    expect(page).to_have_title(re.compile("^Today"))


def log_out(page: Page, name: str) -> None:
    page.get_by_role("button", name=name).click()
    follow(page.get_by_role("button", name="Log out"))
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()


def book_from_today(page: Page, brief: str) -> None:
    follow(page.get_by_role("link", name="Book a job").first)
    page.get_by_text("New bike", exact=True).click()
    get_textbox(page, "Make*").fill("Sillon")
    get_textbox(page, "Model*").fill("Perch 250")
    get_textbox(page, "Plate").fill("DEMO 31")
    page.get_by_text("New customer", exact=True).click()
    get_textbox(page, "Name*").fill("Jorun Vail")
    get_textbox(page, "Customer's request*").fill(brief)
    page.get_by_label("Intended use").select_option("road")
    follow(page.get_by_role("button", name="Book job", exact=True))
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sillon Perch 250")


def open_today(page: Page) -> None:
    follow(page.get_by_role("navigation", name="Main").get_by_role("link", name="Today"))


def move_job(page: Page, stage: str) -> None:
    page.get_by_text("Wait, cancel, or move with a reason").click()
    page.get_by_role("combobox", name="Move to").select_option(stage)
    follow(page.get_by_role("button", name="Move", exact=True))


def test_desk_books_checks_in_and_plans_a_job(site: Page, live_server: Any) -> None:
    log_in_as(site, live_server.url, "desk")
    book_from_today(site, "Valves, and a calmer grip")
    follow(site.get_by_role("link", name="Check in the bike").first)
    get_textbox(site, "Odometer (km)").fill("24310")
    site.get_by_label("Keys").fill("1")
    follow(site.get_by_role("button", name="Check in the bike"))
    follow(get_region(site, "Request and check-in").get_by_role("link", name="Sign or print check-in sheet"))
    site.get_by_label("Signed on paper").check()
    follow(site.get_by_role("button", name="Save signature"))
    assert_message(site, "Check-in sheet signed by Jorun Vail.")

    job = Job.objects.get()
    open_today(site)
    follow(get_region(site, "Schedule").get_by_role("link", name="Book a slot, bench 1"))
    get_textbox(site, "Job*").fill(str(job))
    follow(site.get_by_role("button", name="Book slot"))
    assert_message(site, f"Booked: Bench 1, job {job}")
    expect(site.locator(f"#bike-{job}")).to_contain_text("Checked in")
    log_out(site, "Dana Desk")


def test_mechanic_measures_ticks_checks_and_moves_the_job(site: Page, live_server: Any) -> None:
    engine = factories.make_engine(
        cylinders=1,
        arrangement="single",
        intake_valves=1,
        exhaust_valves=1,
        adjuster="screw",
        screw_pitch_mm="0.75",
    )
    job = factories.make_job(
        bike=factories.make_bike(engine_spec=engine), received_at=timezone.now(), stage="received"
    )
    log_in_as(site, live_server.url, "mechanic")
    follow(site.locator(f"#bike-{job} .bike-name"))
    move_job(site, "bench")
    for when, intake, exhaust in (("as found", "0.08", "0.28"), ("as left", "0.16", "0.31")):
        site.goto(f"{site.url.partition('#')[0]}?open=clearances")
        follow(site.get_by_role("link", name=f"Measure {when}"))
        get_textbox(site, "Engine temperature (°C)*").fill("20")
        get_textbox(site, "cylinder 1, intake").fill(intake)
        get_textbox(site, "cylinder 1, exhaust").fill(exhaust)
        follow(site.get_by_role("button", name="Save clearances"))
        assert_message(site, f"Clearances {when} saved")
        follow(site.get_by_role("link", name=f"Job {job.number}"))
    site.goto(f"{site.url.partition('#')[0]}?open=clearances")
    site.get_by_text("Table of all valves").click()
    comparison = site.get_by_role("table", name="As found and as left")
    expect(get_row(comparison, "Cylinder 1, intake")).to_contain_text("0.08 mm tight")
    expect(get_row(comparison, "Cylinder 1, intake")).to_contain_text("0.16 mm on target")

    follow(get_region(site, "Checks").get_by_role("link", name="Open the checks"))
    after = get_region(site, "After valve work, before the first start")
    total = after.get_by_role("listitem").filter(has=site.get_by_role("button")).count()
    for done in range(1, total + 1):
        after.get_by_role("button", name="tick", exact=True).first.click()
        expect(after).to_contain_text(f"{done} of {total} ticked")
    follow(site.get_by_role("link", name=f"Job {job.number}"))
    move_job(site, "roller")
    open_today(site)
    expect(site.locator(f"#bike-{job}")).to_contain_text("On the dyno")
    log_out(site, "Mika Mechanic")


def test_tuner_compares_runs_before_and_after_a_tune(
    site: Page, live_server: Any, people: dict[Role, Any]
) -> None:
    job = factories.make_job(received_at=timezone.now() - timedelta(days=1), stage="roller")
    factories.make_revision(job, people[Role.DESK])
    log_in_as(site, live_server.url, "tuner")
    follow(site.locator(f"#bike-{job} .bike-name"))
    sides = ("before", "after")
    page_with_all = f"{live_server.url}{job.get_absolute_url()}?open=all"
    site.goto(page_with_all)
    for side in sides:
        if side == "after":
            follow(site.get_by_role("link", name="Record a tune"))
            change = site.get_by_role("group", name="New change").first
            change.get_by_label("Change type").select_option("fuel")
            change.get_by_label("To*").fill("+4")
            change.get_by_label("Why").fill("Lean at high load")
            follow(site.get_by_role("button", name="Save"))
            site.goto(page_with_all)
        follow(site.get_by_role("link", name="Upload runs").first)
        for number in (1, 2):
            power = 200.0 if side == "before" else 190.0
            data = sweep_csv(lambda speed, at=power + number / 10: speed / at)
            site.get_by_label("Run files").set_input_files(
                {"name": f"{side}_{number}.csv", "mimeType": "text/csv", "buffer": data}
            )
            site.get_by_role("button", name="Upload", exact=True).click()
            site.wait_for_url(f"**/jobs/{job.number}/runs/")
            expect(site.get_by_role("main")).to_contain_text(f"{side}_{number}.csv")
            if number == 1:
                follow(site.get_by_role("link", name="Upload runs"))
        site.goto(page_with_all)

    follow(site.get_by_role("link", name="Compare runs"))
    site.get_by_label("What is compared").fill("Richer at high load")
    for side in sides:
        for number in (1, 2):
            of_run = site.get_by_role("group", name=f"Side of {side}_{number}.csv")
            of_run.get_by_role("radio", name=side).check()
    follow(site.get_by_role("button", name="Save"))
    # Power rose from speed/200 to speed/190, by 5 %, more than the scatter of the repeats.
    site.get_by_text("By rpm band").click()
    expect(get_row(get_region(site, "Whole range"), "Mean power").get_by_role("cell").last).to_have_text(
        "more"
    )
    site.goto(f"{live_server.url}{job.get_absolute_url()}")
    move_job(site, "ready")
    open_today(site)
    expect(site.locator(f"#bike-{job}")).to_contain_text("Ready")
    log_out(site, "Toni Tuner")


@pytest.fixture
def only_owner(people: dict[Role, Any]) -> None:
    """Delete all staff except the owner."""
    StaffMember.objects.exclude(username="owner").delete()


def test_owner_sets_up_an_empty_shop_and_books_a_job(site: Page, live_server: Any, only_owner: None) -> None:
    log_in_as(site, live_server.url, "owner")
    steps = get_region(site, "Get started").get_by_role("listitem")
    expect(steps.filter(has_text="to do")).to_have_count(6)

    follow(steps.get_by_role("link", name="Enter shop details"))
    get_textbox(site, "Name*").fill("Tidewater Motor Works")
    follow(site.get_by_role("button", name="Save"))
    open_today(site)

    follow(steps.get_by_role("link", name="Set up workstations"))
    follow(site.get_by_role("link", name="bench 2"))
    get_textbox(site, "Name*").fill("lift by the door")
    follow(site.get_by_role("button", name="Save"))
    assert_message(site, "Workstation saved: lift by the door.")
    open_today(site)

    follow(steps.get_by_role("link", name="Add staff"))
    get_textbox(site, "Username*").fill("brisa")
    get_textbox(site, "First name").fill("Brisa")
    site.get_by_role("checkbox", name="Mechanic").check()
    get_textbox(site, "Password*").fill("seagulls over the pier")
    get_textbox(site, "Password confirmation*").fill("seagulls over the pier")
    follow(site.get_by_role("button", name="Save"))
    expect(site.get_by_role("row").filter(has_text="Brisa")).to_contain_text("mechanic")
    open_today(site)

    follow(steps.get_by_role("link", name="Enter an engine"))
    get_textbox(site, "Manufacturer*").fill("Sillon")
    get_textbox(site, "Engine*").fill("Perch 250")
    site.get_by_role("textbox", name="Cylinders*", exact=True).fill("1")
    site.get_by_label("Arrangement").select_option("single")
    site.get_by_label("Intake valves per cylinder").fill("1")
    site.get_by_label("Exhaust valves per cylinder").fill("1")
    site.get_by_role("combobox", name="Adjuster*").select_option("screw and locknut")
    get_textbox(site, "Intake, lower limit (mm)*").fill("0,05")
    get_textbox(site, "Intake, upper limit (mm)*").fill("0,10")
    get_textbox(site, "Exhaust, lower limit (mm)*").fill("0,10")
    get_textbox(site, "Exhaust, upper limit (mm)*").fill("0,15")
    get_textbox(site, "Adjuster screw pitch (mm)").fill("0,75")
    follow(site.get_by_role("button", name="Save"))
    expect(site.get_by_role("heading", name="Sillon Perch 250")).to_be_visible()
    open_today(site)

    follow(steps.get_by_role("link", name="Make a backup"))
    with site.expect_download() as download:
        site.get_by_role("button", name="Back up now").click()
    assert download.value.failure() is None
    assert download.value.suggested_filename.endswith(".tar")
    open_today(site)
    expect(steps.filter(has_text="to do")).to_have_count(1)

    book_from_today(site, "Valves are due")
    open_today(site)
    expect(get_region(site, "Bikes, by due time")).to_contain_text("Sillon Perch 250")
    expect(get_region(site, "Get started")).to_have_count(0)
    log_out(site, "Ola Owner")
