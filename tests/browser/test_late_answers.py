"""Input made while a part of the page reloads is preserved."""

from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, Route, expect

from jobs.runs.importing import RunDetails, import_run
from tests import factories
from tests.browser.steps import wait_until_settled
from tests.jobs.run_files import demo_bytes, demo_runs
from workshop.models import Role

LogIn = Callable[[Role], Page]


def hold_requests(page: Page, address: str) -> list[Route]:
    """Hold requests to a URL until they are released."""
    held: list[Route] = []
    page.route(address, lambda route: held.append(route))
    return held


def release_requests(page: Page, held: list[Route]) -> None:
    for route in held:
        route.continue_()
    page.unroute_all()
    wait_until_settled(page)


def test_chosen_bike_stays_selected_when_the_list_reloads(log_in: LogIn, live_server: Any) -> None:
    for plate in ("DEMO 61", "DEMO 74", "DEMO 75"):
        factories.make_bike(owner=factories.make_customer(), plate=plate)
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/book/")
    search = page.get_by_role("searchbox", name="Find the bike by plate, VIN, make or owner")
    search.press_sequentially("demo")
    wanted = page.get_by_role("radio", name="DEMO 75")
    expect(wanted).to_be_visible()
    held = hold_requests(page, "**/jobs/book/bikes/*")
    with page.expect_request("**/jobs/book/bikes/*"):
        search.press_sequentially(" 7")
    wanted.check()
    release_requests(page, held)
    expect(page.get_by_role("radio", name="DEMO 61")).to_have_count(0)
    expect(wanted).to_be_checked()
    # It stays selected in the next list too, unless that list does not contain it.
    search.fill("demo")
    expect(page.get_by_role("radio", name="DEMO 61")).to_be_visible()
    expect(wanted).to_be_checked()
    search.fill("demo 74")
    expect(wanted).to_have_count(0)
    expect(page.get_by_role("radio", name="DEMO 74")).to_be_checked()


def test_typed_line_survives_a_reload_of_the_preview(
    log_in: LogIn, live_server: Any, people: dict[Role, Any]
) -> None:
    entry = demo_runs("tern")[0]
    job = factories.make_job(stage="roller")
    run = import_run(
        job=job, by=people[Role.TUNER], name=entry["file"], data=demo_bytes(entry), details=RunDetails()
    ).run
    page = log_in(Role.TUNER)
    page.goto(f"{live_server.url}/runs/{run.pk}/layout/")
    held = hold_requests(page, "**/layout/")
    with page.expect_request("**/layout/"):
        page.get_by_role("combobox", name="What is in column 2, ").select_option("engine_speed_rpm")
    names = page.get_by_role("textbox", name="Header line")
    names.press_sequentially("7")  # the line of the names, so the columns do not change
    release_requests(page, held)
    expect(names).to_have_value("7")
    expect(names).to_be_focused()
    expect(page.get_by_role("combobox", name="What is in column 2, ")).to_have_value("engine_speed_rpm")
