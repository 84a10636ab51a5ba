"""Clearance entry in the browser: keyboard, lost network, layout and print."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pypdfium2
import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from jobs.models import ClearanceSet, Job
from tests import factories
from tests.browser.steps import assert_accessible, assert_fits, follow, wait_for_promise
from workshop.models import EngineSpec, Role

pytestmark = pytest.mark.browser_context_args(service_workers="allow")

WIDTHS = (390, 1024, 1440)
LARGE = "23.2px"  # 1.45 rem
NOT_SENT = "You are offline."


def get_box(page: Page, slug: str) -> Any:
    return page.locator(f"#id_c-{slug}-opening")


def entry_url(live_server: Any, job: Job, when: str = "as_found") -> str:
    return live_server.url + reverse("clearances-new", args=[job.number, when])


def open_entry(page: Page, url: str) -> None:
    """Open an entry page and wait until the browser can open it offline."""
    page.goto(url)
    wait_for_promise(
        page,
        r"""async () => {
            const parts = performance.getEntriesByType("resource").map((part) => part.name)
                .filter((name) => /^\/static\/.*\.(css|js)$/.test(new URL(name).pathname));
            const found = await Promise.all([location.href, ...parts].map((url) => caches.match(url)));
            return found.every(Boolean);
        }""",
    )


def measure(page: Page) -> None:
    page.get_by_label("Engine temperature").fill("21")
    get_box(page, "1-intake-1").fill("0,15")
    get_box(page, "1-intake-2").fill("0.10-0.12")


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


# Offline


def save_offline_and_reopen(bench: Page, new_tab: Callable[[], Page], url: str) -> Page:
    """Save readings offline, reopen the page in a new tab and check that they are there."""
    open_entry(bench, url)
    bench.context.set_offline(True)
    measure(bench)
    bench.get_by_role("button", name="Save clearances").click()
    expect(bench.locator("[data-draft-note]")).to_contain_text(NOT_SENT)
    bench.close()
    page = new_tab()
    page.goto(url)
    expect(page.locator("[data-draft-note]")).to_contain_text(NOT_SENT)
    expect(get_box(page, "1-intake-1")).to_have_value("0,15")
    expect(get_box(page, "1-intake-2")).to_have_value("0.10-0.12")
    verdict = page.locator(".engine-reading").filter(has=get_box(page, "1-intake-1")).locator(".verdict")
    expect(verdict).to_have_text("on target")  # so the imported scripts were cached too
    return page


def test_readings_saved_offline_are_sent_when_online_again(
    bench: Page, job: Job, live_server: Any, new_tab: Callable[[], Page], faults: list[str]
) -> None:
    page = save_offline_and_reopen(bench, new_tab, entry_url(live_server, job))
    assert not ClearanceSet.objects.exists()
    page.context.set_offline(False)
    page.wait_for_url("**/clearances/*/")
    expect(page.get_by_role("heading", name="2 of 2 in range as found")).to_be_visible()
    assert readings() == MEASURED
    assert page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('draft:'))") == []
    faults.clear()  # the requests that failed offline


def test_set_saved_by_another_user_is_reported_and_not_overwritten(
    bench: Page,
    job: Job,
    live_server: Any,
    new_tab: Callable[[], Page],
    people: dict[Role, Any],
    faults: list[str],
) -> None:
    page = save_offline_and_reopen(bench, new_tab, entry_url(live_server, job))
    theirs = factories.make_clearance_set(job, people[Role.OWNER], clearance_mm="0.19")
    page.context.set_offline(False)
    expect(page.locator(".form-errors")).to_contain_text("Ola Owner saved clearances as found for this job")
    assert {row.clearance_mm for row in theirs.readings.all()} == {Decimal("0.19")}
    assert ClearanceSet.objects.count() == 1
    expect(get_box(page, "1-intake-1")).to_have_value("0,15")
    follow(page.get_by_role("button", name="Save clearances"))
    page.wait_for_url("**/clearances/*/")
    assert {row.clearance_mm for row in theirs.readings.all()} == {Decimal("0.19")}
    assert ClearanceSet.objects.exclude(pk=theirs.pk).get().readings.count() == 2
    faults.clear()


def test_offline_edit_does_not_overwrite_a_later_edit(
    bench: Page,
    job: Job,
    live_server: Any,
    new_tab: Callable[[], Page],
    people: dict[Role, Any],
    faults: list[str],
) -> None:
    stored = factories.make_clearance_set(job, people[Role.MECHANIC], clearance_mm="0.19")
    page = save_offline_and_reopen(
        bench, new_tab, live_server.url + reverse("clearances-edit", args=[stored.pk])
    )
    ClearanceSet.objects.get(pk=stored.pk).save()
    row = stored.readings.get(cylinder=1, side="intake", position=1)
    row.clearance_mm = Decimal("0.11")
    row.save()
    page.context.set_offline(False)
    expect(page.locator(".conflict")).to_contain_text("0.11")
    row.refresh_from_db()
    assert row.clearance_mm == Decimal("0.11")
    expect(get_box(page, "1-intake-1")).to_have_value("0,15")
    follow(page.get_by_role("button", name="Save clearances"))
    page.wait_for_url("**/clearances/*/")
    row.refresh_from_db()
    assert row.clearance_mm == Decimal("0.15")
    faults.clear()


def test_draft_belongs_to_its_account(
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
    expect(get_box(page, "1-intake-1")).to_have_value("")
    expect(page.locator(".draft-offer")).to_have_count(0)
    assert not ClearanceSet.objects.exists()
    page = log_in(Role.MECHANIC)
    page.goto(entry_url(live_server, job), wait_until="commit")
    page.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED
    faults.clear()


# Expired session, stale token, double click


def test_expired_session_restores_input_and_saves_one_set(bench: Page, job: Job, live_server: Any) -> None:
    open_entry(bench, entry_url(live_server, job))
    measure(bench)
    bench.context.clear_cookies(name="sessionid")
    follow(bench.get_by_role("button", name="Save clearances"))
    bench.get_by_label("Username").fill("mechanic")
    bench.get_by_label("Password").fill("a long enough pass phrase")
    follow(bench.get_by_role("button", name="Log in"))
    expect(bench.locator("[data-draft-note]")).to_contain_text("restored")
    follow(bench.get_by_role("button", name="Save clearances"))
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED


def test_stale_csrf_token_preserves_input_and_saves_one_set(
    bench: Page, job: Job, live_server: Any, faults: list[str]
) -> None:
    url = entry_url(live_server, job)
    open_entry(bench, url)
    measure(bench)
    bench.evaluate("document.querySelector('main [name=csrfmiddlewaretoken]').value = 'x'.repeat(64)")
    follow(bench.get_by_role("button", name="Save clearances"))
    expect(bench.get_by_role("heading", name="Not saved")).to_be_visible()
    assert not ClearanceSet.objects.exists()
    bench.goto(url, wait_until="commit")  # the draft is sent at once, perhaps before the page has loaded
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED
    faults.clear()  # the refusal


def test_double_click_saves_one_set(bench: Page, job: Job, live_server: Any) -> None:
    bench.goto(entry_url(live_server, job))
    measure(bench)
    with bench.expect_navigation():
        bench.get_by_role("button", name="Save clearances").dblclick()
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED


def test_lost_response_saves_one_set(bench: Page, job: Job, live_server: Any, faults: list[str]) -> None:
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
    follow(bench.get_by_role("button", name="Save clearances"))
    bench.wait_for_url("**/clearances/*/")
    assert readings() == MEASURED
    assert bench.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('draft:'))") == []
    faults.clear()


# By keyboard


def get_verdict(page: Page, slug: str) -> Any:
    return page.locator(f'[data-place="{slug}"] .verdict')


def job_with(spec: EngineSpec) -> Job:
    return factories.make_job(bike=factories.make_bike(engine_spec=spec))


def test_focus_follows_the_chosen_order_and_remembers_it(bench: Page, live_server: Any) -> None:
    spec = factories.make_engine(intake_valves=1, exhaust_valves=1, firing_order="1-3-2")
    url = entry_url(live_server, job_with(spec))
    bench.goto(url)
    get_box(bench, "1-exhaust-1").focus()
    bench.keyboard.type("0,31")
    expect(get_box(bench, "1-intake-1")).to_be_focused()
    expect(get_verdict(bench, "1-exhaust-1-opening")).to_have_text("on target")

    bench.get_by_label("Order of entry").select_option("firing")
    get_box(bench, "1-intake-1").focus()
    bench.keyboard.type("0.09")
    expect(get_box(bench, "3-exhaust-1")).to_be_focused()
    expect(get_verdict(bench, "1-intake-1-opening")).to_have_text("tight")
    bench.keyboard.press("Shift+Enter")
    expect(get_box(bench, "1-intake-1")).to_be_focused()

    bench.goto("about:blank")
    bench.goto(url)
    expect(bench.get_by_label("Order of entry")).to_have_value("firing")
    bench.get_by_label("Order of entry").select_option("side")
    get_box(bench, "1-intake-1").focus()
    bench.keyboard.press("Enter")
    expect(get_box(bench, "2-intake-1")).to_be_focused()
    bench.keyboard.type("0.1-0.12")
    bench.keyboard.press("Enter")
    expect(get_box(bench, "3-intake-1")).to_be_focused()
    expect(get_verdict(bench, "2-intake-1-opening")).to_have_text("in range, off target")


def test_changed_blade_unit_preserves_typed_values(bench: Page, job: Job, live_server: Any) -> None:
    bench.goto(entry_url(live_server, job))
    bench.get_by_label("Engine temperature").fill("21")
    get_box(bench, "1-intake-1").fill("0.16")
    bench.get_by_label("Feeler gauge units").select_option("in")
    expect(get_box(bench, "1-intake-1")).to_have_value("0.16 mm")
    expect(get_verdict(bench, "1-intake-1-opening")).to_have_text("on target")
    get_box(bench, "1-intake-2").focus()
    bench.keyboard.type("0.0090")
    # 0.009 × 25.4 = 0.2286 mm, above 0.20 mm
    expect(get_verdict(bench, "1-intake-2-opening")).to_have_text("loose")
    expect(get_box(bench, "1-intake-2")).not_to_be_focused()
    follow(bench.get_by_role("button", name="Save clearances"))
    bench.wait_for_url("**/clearances/*/")
    assert readings() == [(1, Decimal("0.16"), None, None), (2, Decimal("0.2286"), None, None)]


def test_closing_clearance_is_the_difference_of_two_gaps(bench: Page, live_server: Any) -> None:
    spec = factories.make_engine(
        adjuster="desmodromic",
        intake_closing_low_mm=Decimal("0.02"),
        intake_closing_high_mm=Decimal("0.10"),
        exhaust_closing_low_mm=Decimal("0.02"),
        exhaust_closing_high_mm=Decimal("0.10"),
    )
    bench.goto(entry_url(live_server, job_with(spec)))
    bench.get_by_label("Closing boxes contain").select_option("loaded_gap")
    get_box(bench, "1-intake-1").fill("0.16")
    bench.locator("#id_c-1-intake-1-closing").fill("0.21")
    expect(get_verdict(bench, "1-intake-1-closing")).to_have_text("in range")
    get_box(bench, "1-intake-1").fill("0.10")
    # 0.21 - 0.10 = 0.11 mm
    expect(get_verdict(bench, "1-intake-1-closing")).to_have_text("loose")


# Layout


ENGINES = {
    "single": {"cylinders": 1, "arrangement": "single", "adjuster": "screw", "intake_valves": 1},
    "triple": {},
    "six": {"cylinders": 6, "firing_order": "1-5-3-6-2-4"},
    "five valves": {"cylinders": 5, "arrangement": "v", "front_bank_cylinders": 3, "intake_valves": 3},
    "boxer": {"cylinders": 2, "arrangement": "boxer"},
}


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("engine", ENGINES)
def test_entry_fits_the_screen_and_is_accessible(
    bench: Page, live_server: Any, engine: str, width: int
) -> None:
    bench.set_viewport_size({"width": width, "height": 900})
    bench.goto(entry_url(live_server, job_with(factories.make_engine(**ENGINES[engine]))))
    for box in bench.locator(".engine-reading > input").all():
        box.fill("0.10-0.12")
    bench.get_by_role("button", name="Keypad").click()
    assert_fits(bench)
    cut_off = bench.evaluate(
        """[...document.querySelectorAll(".engine-reading > input")]
            .filter((box) => box.scrollWidth > box.clientWidth).map((box) => box.id)"""
    )
    assert cut_off == []
    assert_accessible(bench)


def test_font_size_adapts_to_the_window(bench: Page, live_server: Any) -> None:
    bench.set_viewport_size({"width": 390, "height": 900})
    bench.goto(entry_url(live_server, job_with(factories.make_engine(**ENGINES["six"]))))
    box = bench.locator(".engine-reading > input").first
    expect(box).to_have_css("font-size", LARGE)
    bench.set_viewport_size({"width": 1024, "height": 900})  # six in one row
    expect(box).not_to_have_css("font-size", LARGE)
    bench.set_viewport_size({"width": 390, "height": 900})
    expect(box).to_have_css("font-size", LARGE)


def test_shim_worksheet_for_sixteen_valves_is_one_page(
    bench: Page, live_server: Any, people: dict[Role, Any]
) -> None:
    job = job_with(factories.make_engine(cylinders=4))
    found = factories.make_clearance_set(job, people[Role.MECHANIC], clearance_mm="0.22")
    bench.goto(live_server.url + reverse("shim-plan", args=[found.pk]))
    follow(bench.get_by_role("button", name="Accept plan: closest to target"))
    follow(bench.get_by_role("link", name="Print shim worksheet"))
    for paper in ("A4", "Letter"):
        pdf = pypdfium2.PdfDocument(bench.pdf(format=paper))
        assert len(pdf) == 1
        text = " ".join(pdf[0].get_textpage().get_text_range().split())
        assert "Cylinder 4, exhaust right" in text
        assert "turn the engine over twice by hand" in text
