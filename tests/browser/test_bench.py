"""The bench in a real browser: entry by keyboard, a network that goes, and what is printed."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from jobs.models import ClearanceSet, Job
from tests import factories
from workshop.models import EngineSpec, Role

NOT_SENT = "Not sent: no network"


def boxes(page: Page, slug: str) -> Any:
    return page.locator(f"#id_c-{slug}-opening")


def entry_url(live_server: Any, job: Job, when: str = "as_found") -> str:
    return live_server.url + reverse("clearances-new", args=[job.number, when])


def open_entry(page: Page, url: str) -> None:
    """Open an entry page and wait until the browser could open it without a network."""
    page.goto(url)
    page.evaluate(
        """async () => {
            const kept = async () => await caches.match(location.href)
                && (await (await caches.open("bench-parts-1")).keys()).length > 8;
            while (!(await kept())) await new Promise((again) => setTimeout(again, 50));
        }"""
    )


def measure(page: Page) -> None:
    page.get_by_label("Engine temperature").fill("21")
    boxes(page, "1-intake-1").fill("0,15")
    boxes(page, "1-intake-2").fill("0.10-0.12")


@pytest.fixture
def job(site: Page) -> Job:
    return factories.make_job()


@pytest.fixture
def bench(log_in: Callable[[Role], Page]) -> Page:
    return log_in(Role.MECHANIC)


def readings() -> list[tuple[Any, ...]]:
    return [
        (row.position, row.clearance_mm, row.goes_mm, row.not_goes_mm)
        for row in ClearanceSet.objects.get().readings.all()
    ]


MEASURED = [(1, Decimal("0.15"), None, None), (2, None, Decimal("0.10"), Decimal("0.12"))]


# The network gone


def without_network(bench: Page, new_tab: Callable[[], Page], url: str) -> Page:
    """Type, press Save with the network gone, close the tab, open it again: all that is typed is there."""
    open_entry(bench, url)
    bench.context.set_offline(True)
    measure(bench)
    bench.get_by_role("button", name="Save clearances").click()
    expect(bench.locator("[data-draft-note]")).to_contain_text(NOT_SENT)
    bench.close()
    page = new_tab()
    page.goto(url)
    expect(page.locator("[data-draft-note]")).to_contain_text(NOT_SENT)
    expect(boxes(page, "1-intake-1")).to_have_value("0,15")
    expect(boxes(page, "1-intake-2")).to_have_value("0.10-0.12")
    return page


def test_what_is_typed_without_a_network_is_kept_and_sent_when_it_is_back(
    bench: Page, job: Job, live_server: Any, new_tab: Callable[[], Page], faults: list[str]
) -> None:
    page = without_network(bench, new_tab, entry_url(live_server, job))
    assert not ClearanceSet.objects.exists()
    page.context.set_offline(False)
    page.wait_for_url("**/clearances/*/")
    expect(page.get_by_role("heading", name="Valve clearances as found")).to_be_visible()
    assert readings() == MEASURED
    assert page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('draft:'))") == []
    faults.clear()  # the requests that found no network


def test_anothers_set_made_meanwhile_is_told_and_neither_is_overwritten(
    bench: Page,
    job: Job,
    live_server: Any,
    new_tab: Callable[[], Page],
    people: dict[Role, Any],
    faults: list[str],
) -> None:
    page = without_network(bench, new_tab, entry_url(live_server, job))
    theirs = factories.make_clearance_set(job, people[Role.OWNER], clearance_mm="0.19")
    page.context.set_offline(False)
    expect(page.locator(".form-errors")).to_contain_text("Ola Owner saved clearances as found for this job")
    assert {row.clearance_mm for row in theirs.readings.all()} == {Decimal("0.19")}
    assert ClearanceSet.objects.count() == 1
    expect(boxes(page, "1-intake-1")).to_have_value("0,15")
    page.get_by_role("button", name="Save clearances").click()
    page.wait_for_url("**/clearances/*/")
    assert {row.clearance_mm for row in theirs.readings.all()} == {Decimal("0.19")}
    assert ClearanceSet.objects.exclude(pk=theirs.pk).get().readings.count() == 2
    faults.clear()


def test_an_edit_made_without_a_network_does_not_go_over_anothers(
    bench: Page,
    job: Job,
    live_server: Any,
    new_tab: Callable[[], Page],
    people: dict[Role, Any],
    faults: list[str],
) -> None:
    stored = factories.make_clearance_set(job, people[Role.MECHANIC], clearance_mm="0.19")
    page = without_network(bench, new_tab, live_server.url + reverse("clearances-edit", args=[stored.pk]))
    ClearanceSet.objects.get(pk=stored.pk).save()
    row = stored.readings.get(cylinder=1, side="intake", position=1)
    row.clearance_mm = Decimal("0.11")
    row.save()
    page.context.set_offline(False)
    expect(page.locator(".conflict")).to_contain_text("0.11")
    row.refresh_from_db()
    assert row.clearance_mm == Decimal("0.11")
    expect(boxes(page, "1-intake-1")).to_have_value("0,15")
    page.get_by_role("button", name="Save clearances").click()
    page.wait_for_url("**/clearances/*/")
    row.refresh_from_db()
    assert row.clearance_mm == Decimal("0.15")
    faults.clear()


def test_what_another_person_typed_in_this_browser_is_offered_and_not_sent(
    bench: Page, job: Job, live_server: Any, log_in: Callable[[Role], Page], faults: list[str]
) -> None:
    open_entry(bench, entry_url(live_server, job))
    bench.context.set_offline(True)
    measure(bench)
    bench.get_by_role("button", name="Save clearances").click()
    expect(bench.locator("[data-draft-note]")).to_contain_text(NOT_SENT)
    bench.goto("about:blank")
    bench.context.set_offline(False)
    page = log_in(Role.OWNER)
    page.goto(entry_url(live_server, job))
    expect(page.locator(".draft-offer")).to_contain_text("typed here by Mika Mechanic")
    expect(boxes(page, "1-intake-1")).to_have_value("")
    assert not ClearanceSet.objects.exists()
    faults.clear()


# Session over, token stale, double click


def test_session_over_loses_nothing_and_sends_once(bench: Page, job: Job, live_server: Any) -> None:
    open_entry(bench, entry_url(live_server, job))
    measure(bench)
    bench.context.clear_cookies(name="sessionid")
    bench.get_by_role("button", name="Save clearances").click()
    bench.get_by_label("Username").fill("mechanic")
    bench.get_by_label("Password").fill("a long enough pass phrase")
    bench.get_by_role("button", name="Log in").click()
    expect(bench.locator("[data-draft-note]")).to_contain_text("put back")
    bench.get_by_role("button", name="Save clearances").click()
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED


def test_a_stale_token_loses_nothing_and_sends_once(
    bench: Page, job: Job, live_server: Any, faults: list[str]
) -> None:
    url = entry_url(live_server, job)
    open_entry(bench, url)
    measure(bench)
    bench.evaluate("document.querySelector('main [name=csrfmiddlewaretoken]').value = 'x'.repeat(64)")
    bench.get_by_role("button", name="Save clearances").click()
    expect(bench.get_by_role("heading", name="Not sent")).to_be_visible()
    assert not ClearanceSet.objects.exists()
    bench.goto(url)
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED
    faults.clear()  # the refusal


def test_a_double_click_makes_one_set(bench: Page, job: Job, live_server: Any) -> None:
    bench.goto(entry_url(live_server, job))
    measure(bench)
    bench.get_by_role("button", name="Save clearances").dblclick()
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED


def test_an_answer_lost_on_its_way_makes_one_set(
    bench: Page, job: Job, live_server: Any, faults: list[str]
) -> None:
    url = entry_url(live_server, job)
    open_entry(bench, url)
    measure(bench)
    sent = bench.evaluate(
        """async () => {
            const form = document.querySelector("form[data-draft]");
            await fetch(form.action, { method: "POST", body: new FormData(form), redirect: "manual" });
            return true;
        }"""
    )
    assert sent
    assert ClearanceSet.objects.count() == 1
    bench.get_by_role("button", name="Save clearances").click()
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED
    assert bench.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('draft:'))") == []
    faults.clear()
