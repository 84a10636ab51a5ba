"""Mixture study: cells walked by keyboard, a fuel table pasted and corrected."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from jobs.calc.units.numbers import format_number
from jobs.models import Job, MixtureStudy
from tests import factories
from tests.browser.steps import assert_accessible, assert_fits, follow, get_region, tab_to
from tests.jobs.mixture.test_mixture import FUEL_TABLE
from workshop.models import Role

LogIn = Callable[[Role], Page]


@pytest.fixture
def job(people: dict[Role, Any]) -> Job:
    job = factories.make_job(stage="roller")
    tune = factories.make_revision(job, people[Role.DESK])
    factories.make_simulated_runs(job, people[Role.TUNER], "tern", "before", "held", tune_revision=tune)
    return job


def create_study(page: Page, job: Job, fuel_table: str = "") -> None:
    follow(page.get_by_role("link", name="Jobs", exact=True))
    follow(page.get_by_role("link", name=job.number, exact=True))
    follow(get_region(page, "Mixture").get_by_role("link", name="New mixture study"))
    page.get_by_label("Engine speeds (rpm)").fill("3000 4000 5000 6000 7000 8000 9000")
    page.get_by_label("Throttle openings (%)").fill("10 20 30 40 60 80 100")
    page.get_by_label("Target lambda").fill("0,9")
    page.get_by_label("Fuel table, pasted").fill(fuel_table)
    page.get_by_text("What counts as steady").click()
    page.get_by_label("Maximum lambda half-width (95 %)").fill("0,04")
    follow(page.get_by_role("button", name="Calculate"))
    page.wait_for_url("**/mixture/*/")


def cell(grid: Locator, grip: str, position: int) -> Locator:
    """Return the cell of a row by its position from the left."""
    heading = grid.page.get_by_role("rowheader", name=grip, exact=True)
    return grid.get_by_role("row").filter(has=heading).get_by_role("gridcell").nth(position)


def test_cells_are_walked_by_keyboard_and_described(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.TUNER)
    create_study(page, job)
    grid = page.get_by_role("grid", name="Lambda by grip")
    inspector = page.get_by_role("region", name="The chosen cell")
    # The leanest cell under load is described, and is where Tab enters the grid.
    expect(inspector).to_contain_text("6000 rpm, 100 % grip")
    expect(inspector).to_contain_text("lean")
    tab_to(page, cell(grid, "100", 3))
    page.keyboard.press("Control+Home")
    expect(inspector).to_contain_text("3000 rpm, 10 % grip")
    for key in ("ArrowRight", "ArrowRight", "ArrowRight", "ArrowDown", "ArrowDown", "ArrowDown", "ArrowDown"):
        page.keyboard.press(key)
    expect(cell(grid, "60", 3)).to_be_focused()
    expect(inspector).to_contain_text("6000 rpm, 60 % grip")
    # Every hold of the cell: its run, time, number of samples and lambda.
    study = MixtureStudy.objects.get()
    behind = study.result["behind"]["4,3"]
    assert len(behind) > 1
    for hold in behind:
        expect(inspector).to_contain_text(f"tern_before_held_060.csv, {format_number(hold['from_s'], 1)} to")
        found = format_number(hold["lambda"], 3)
        expect(inspector).to_contain_text(f"{hold['samples']} samples, lambda {found}")
    page.keyboard.press("Home")
    expect(inspector).to_contain_text("3000 rpm, 60 % grip")
    page.keyboard.press("Control+End")
    expect(inspector).to_contain_text("9000 rpm, 100 % grip")
    page.keyboard.press("ArrowRight")  # the last cell
    expect(cell(grid, "100", 6)).to_be_focused()
    # One press of Tab leaves the grid.
    page.keyboard.press("Tab")
    expect(grid.locator(":focus")).to_have_count(0)
    assert_accessible(page)


def test_readings_share_one_grid_without_a_request(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.TUNER)
    create_study(page, job)
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    worst = cell(page.get_by_role("grid", name="Lambda by grip"), "100", 3)
    expect(worst).to_contain_text("+6.")
    page.get_by_role("radio", name="Off target %").focus()
    page.keyboard.press("ArrowRight")
    expect(worst).to_have_text(re.compile(r"0\.961\s± 0\.00\d"), use_inner_text=True)
    page.get_by_role("radio", name="Target", exact=True).check(force=True)
    expect(worst).to_have_text("0.900", use_inner_text=True)
    page.get_by_role("radio", name="Fuel correction %").check(force=True)
    expect(worst).to_contain_text("+6.")
    # The browser fetches the icon of the site when it likes.
    assert [url for url in requests if "/static/" not in url] == []


def test_readings_are_chosen_without_a_script(log_in: LogIn, job: Job, faults: list[str]) -> None:
    page = log_in(Role.TUNER)
    create_study(page, job)
    page.route("**/*.js", lambda route: route.abort())
    page.reload()
    worst = cell(page.get_by_role("grid", name="Lambda by grip"), "100", 3)
    page.get_by_role("radio", name="Target", exact=True).check(force=True)
    expect(worst).to_have_text("0.900", use_inner_text=True)
    faults.clear()  # the scripts that were held back


def test_lean_at_high_load_is_above_every_value(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.TUNER)
    create_study(page, job)
    first = page.get_by_role("note").first
    expect(first).to_contain_text("Lean at high load, 80 to 100 % grip")
    assert first.bounding_box()["y"] < page.get_by_role("grid").first.bounding_box()["y"]


def test_pasted_fuel_table_is_corrected_in_measured_cells_only(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.TUNER)
    create_study(page, job, FUEL_TABLE)
    back = page.get_by_label("Copy the table to paste into your tuning software")
    pasted = [line.split("\t") for line in FUEL_TABLE.splitlines()]
    corrected = [line.split("\t") for line in back.input_value().splitlines()]
    # Grip 0 % and 2000 rpm were never held.
    assert corrected[:2] == pasted[:2]
    assert [row[:2] for row in corrected] == [row[:2] for row in pasted]
    # At 6000 rpm and full throttle the mixture is about 7 % too lean for a target of 0.90.
    assert 74 * 1.03 < float(corrected[3][3].replace(",", ".")) < 74 * 1.09
    fuel = get_region(page, "The fuel table, corrected")
    fuel.get_by_text("Which cells changed").click()
    expect(fuel.locator("mark").filter(has_text=corrected[3][3])).to_be_visible()
    with page.expect_download() as download:
        fuel.get_by_role("link", name="Download CSV").click()
    rows = [line.split(",") for line in download.value.path().read_text(encoding="utf-8").splitlines()]
    assert rows == [[figure.replace(",", ".") for figure in row] for row in corrected]
    assert_accessible(page)


def add_tables(job: Job) -> None:
    """Add two modes with tables, so that the throttle page shows torque by grip for both."""
    speeds, grips = [2000, 6000, 10_000], [0, 10, 20, 50, 100]
    for mode, plates in (("Road", [0, 10, 20, 50, 100]), ("Wet", [0, 5, 12.4, 42, 100])):
        job.tune_revisions.get().throttle_tables.create(
            mode=mode, grip_pct=grips, engine_speed_rpm=speeds, plate_pct=[[plate] * 3 for plate in plates]
        )


def test_study_and_throttle_page_fit_a_phone(log_in: LogIn, job: Job) -> None:
    add_tables(job)
    page = log_in(Role.TUNER)
    create_study(page, job, FUEL_TABLE)
    page.set_viewport_size({"width": 390, "height": 900})
    study = page.url
    for url in (study, f"{study.split('/mixture/')[0]}/jobs/{job.number}/throttle/"):
        page.goto(url)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert_fits(page)
            assert_accessible(page)
    torque = get_region(page, "Torque by grip, modes of as received")
    expect(torque.get_by_role("group", name="Torque: curves of").locator("canvas")).to_be_visible()
