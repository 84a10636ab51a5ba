"""A part of a page comes anew while somebody is at it: what was typed or chosen meanwhile stands."""

from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, Route, expect

from jobs.runs.importing import RunDetails, import_run
from tests import factories
from tests.browser.steps import comes_to_rest
from tests.jobs.run_files import demo_bytes, demo_runs
from workshop.models import Role

LogIn = Callable[[Role], Page]


def held_back(page: Page, address: str) -> list[Route]:
    """From now on what is asked for at this address gets no answer until it is let go."""
    held: list[Route] = []
    page.route(address, lambda route: held.append(route))
    return held


def let_go(page: Page, held: list[Route]) -> None:
    for route in held:
        route.continue_()
    page.unroute_all()
    comes_to_rest(page)


def test_the_bike_chosen_while_the_list_comes_anew_stays_chosen(log_in: LogIn, live_server: Any) -> None:
    for plate in ("DEMO 61", "DEMO 74", "DEMO 75"):
        factories.make_bike(owner=factories.make_customer(), plate=plate)
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/book/")
    search = page.get_by_role("searchbox", name="Plate, VIN, make or owner")
    search.press_sequentially("demo")
    wanted = page.get_by_role("radio", name="DEMO 75")
    expect(wanted).to_be_visible()
    held = held_back(page, "**/jobs/book/bikes/*")
    with page.expect_request("**/jobs/book/bikes/*"):
        search.press_sequentially(" 7")
    wanted.check()
    let_go(page, held)
    expect(page.get_by_role("radio", name="DEMO 61")).to_have_count(0)
    expect(wanted).to_be_checked()
    # It outlasts the next list too, but not one that it is no longer in.
    search.fill("demo")
    expect(page.get_by_role("radio", name="DEMO 61")).to_be_visible()
    expect(wanted).to_be_checked()
    search.fill("demo 74")
    expect(wanted).to_have_count(0)
    expect(page.get_by_role("radio", name="DEMO 74")).to_be_checked()


def test_a_line_typed_while_a_file_is_read_anew_is_kept(
    log_in: LogIn, live_server: Any, people: dict[Role, Any]
) -> None:
    entry = demo_runs("tern")[0]
    job = factories.make_job(stage="roller")
    run = import_run(
        job=job, by=people[Role.TUNER], name=entry["file"], data=demo_bytes(entry), details=RunDetails()
    ).run
    page = log_in(Role.TUNER)
    page.goto(f"{live_server.url}/runs/{run.pk}/layout/")
    held = held_back(page, "**/layout/")
    with page.expect_request("**/layout/"):
        page.get_by_role("combobox", name="What is in column 2, ").select_option("engine_speed_rpm")
    names = page.get_by_role("spinbutton", name="Line with the names")
    names.press_sequentially("7")  # where they stand, so that the columns stay the same
    let_go(page, held)
    expect(names).to_have_value("7")
    expect(names).to_be_focused()
    expect(page.get_by_role("combobox", name="What is in column 2, ")).to_have_value("engine_speed_rpm")
