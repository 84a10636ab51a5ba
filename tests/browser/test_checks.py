"""Checks of a job in the browser: a further session on the dyno, and a check that does not apply."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from jobs.models import CheckItem
from tests import factories
from tests.browser.steps import assert_accessible, assert_message, follow, get_region, get_textbox
from workshop.models import Role

LogIn = Callable[[Role], Page]


def test_bike_strapped_down_again_is_checked_again(log_in: LogIn) -> None:
    job = factories.make_job(condition="Race bodywork, no lights fitted.")
    total = CheckItem.objects.filter(list="before_roller").count()
    page = log_in(Role.TUNER)
    follow(page.locator(f"#bike-{job} .bike-name"))
    follow(get_region(page, "Checks").get_by_role("link", name="Open the checks"))
    before = get_region(page, "Before running on the dyno")
    before.get_by_role("button", name="tick", exact=True).first.click()
    expect(before).to_contain_text(f"1 of {total} ticked")
    follow(before.get_by_role("button", name="Start a new dyno session"))
    assert_message(page, "Dyno session 2 started. Its checks are open.")
    again = get_region(page, "Before running on the dyno, session 2")
    expect(again).to_contain_text(f"0 of {total} ticked")
    former = page.get_by_text(f"Before running on the dyno, session 1: 1 of {total} ticked")
    former.press("Enter")
    expect(page.get_by_role("main")).to_contain_text("Toni Tuner")
    assert_accessible(page)

    handover = get_region(page, "Before handover")
    lights = handover.get_by_role("listitem").filter(has_text="Brakes, lights and horn tested")
    expect(lights).to_contain_text("On record: “no lights fitted” (condition on arrival).")
    follow(lights.get_by_role("link", name="Record an earlier time or “does not apply”"))
    page.get_by_label("Does not apply to this job").check()
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("main")).to_contain_text("Enter why this check does not apply.")
    assert_accessible(page)
    get_textbox(page, "Reason").fill("None fitted; brakes tried")
    follow(page.get_by_role("button", name="Save"))
    expect(lights).to_contain_text("Does not apply: None fitted; brakes tried")
