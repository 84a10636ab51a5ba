"""Curves on a page: read, zoomed and switched by keyboard, and the same figures as a table."""

from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from typing import Any
from xml.etree import ElementTree

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Locator, Page, expect

from jobs.calc.units.numbers import format_number
from jobs.models import Comparison, ComparisonRun, TuneRevision
from tests import factories
from tests.browser.steps import assert_accessible, next_frame, row, tab_to
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role

LogIn = Callable[[Role], Page]
SVG = "{http://www.w3.org/2000/svg}"
BEFORE, AFTER = "Run 1, as received", "Run 2, tune 1"


@pytest.fixture
def charts(log_in: LogIn, people: dict[Role, Any], live_server: Any) -> Page:
    """Two sweeps over each other: power is a 200th of the engine speed, and a tenth more after."""
    job = factories.make_job(received_at=timezone.now() - timedelta(days=3), stage="roller")
    tuner = people[Role.TUNER]
    for number, level in enumerate((1.0, 1.1)):
        loaded_at = timezone.now() - timedelta(hours=10 - 4 * number)
        tune = TuneRevision.objects.create(job=job, number=number, loaded_by=tuner, loaded_at=loaded_at)
        data = sweep_csv(power=lambda speed, level=level: level * speed / 200)
        made_at = loaded_at + timedelta(hours=1)
        attach_sweep(job, tuner, data, name=f"{number}.csv", tune_revision=tune, made_at=made_at)
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job.number}/runs/")
    expect(page.get_by_role("group", name="Power: curves of").locator("canvas")).to_be_visible()
    return page


def saved(page: Page, chart: str, kind: str) -> bytes:
    """The picture that the chart of these data is saved as."""
    with page.expect_download() as download:
        page.locator(f"[data-source={chart}]").get_by_role("button", name=f"Save as {kind}").click()
    return download.value.path().read_bytes()


def words_of(picture: bytes) -> list[str]:
    """Each text that stands in an SVG."""
    return [found.text or "" for found in ElementTree.fromstring(picture).iterfind(f".//{SVG}text")]


def assert_rows_are_drawn(picture: bytes, rows: int) -> None:
    """The last rows of a saved picture, 22 px each above a margin of 16, hold a drawing and words."""
    image = Image.open(BytesIO(picture)).convert("RGB")
    for number in range(rows):
        top = image.height - 16 - 22 * (rows - number)
        for left, right in ((16, 48), (62, 160)):  # and one colour alone is the paper
            colours = image.crop((left, top, right, top + 22)).getcolors(maxcolors=10_000)
            assert colours and len(colours) > 1, f"row {number}, {left} to {right} px"


def read_out(page: Page) -> Locator:
    return page.get_by_role("region", name="Values at the cursor").get_by_role("table")


def cursor_rpm(page: Page) -> float:
    """Where the cursor stands, as the read-out says."""
    caption = read_out(page).get_by_role("caption").inner_text()
    return float(caption.replace("\u202f", "").split()[1])


def power_kw(page: Page, curve: str) -> float:
    return float(row(read_out(page), curve).get_by_role("cell").first.inner_text())


def press(page: Page, key: str) -> None:
    """A key, and the frame in which the curves follow it."""
    page.keyboard.press(key)
    next_frame(page)


def test_the_cursor_is_moved_by_arrows_and_its_values_stand_in_a_table(charts: Page) -> None:
    tab_to(charts, charts.get_by_role("group", name="Power: curves of"))
    press(charts, "Home")
    expect(read_out(charts).get_by_role("caption")).to_contain_text("At ")
    first = cursor_rpm(charts)
    for _ in range(10):
        press(charts, "ArrowRight")
    there = cursor_rpm(charts)
    assert there > first
    assert power_kw(charts, BEFORE) == pytest.approx(there / 200, abs=0.06)
    assert power_kw(charts, AFTER) == pytest.approx(1.1 * there / 200, abs=0.06)
    expect(charts.get_by_role("status").filter(has_text=f"At {format_number(there)} 1/min")).to_contain_text(
        AFTER
    )
    press(charts, "ArrowLeft")
    assert first < cursor_rpm(charts) < there
    press(charts, "End")
    assert cursor_rpm(charts) > there


def test_plus_zooms_in_and_nought_shows_the_whole_range(charts: Page) -> None:
    plot = charts.get_by_role("group", name="Power: curves of")
    plot.focus()
    press(charts, "Home")
    lowest = cursor_rpm(charts)
    press(charts, "End")
    highest = cursor_rpm(charts)
    for _ in range(2):
        press(charts, "+")
    # A quarter of the range is left, at the end where the cursor stood.
    press(charts, "Home")
    assert lowest + (highest - lowest) / 2 < cursor_rpm(charts) < highest
    press(charts, "0")
    press(charts, "Home")
    assert cursor_rpm(charts) == lowest


def test_the_same_figures_are_to_be_had_as_a_table(charts: Page) -> None:
    charts.get_by_text("Values as a table").click()
    table = charts.get_by_role("table", name="Power, kW")
    at_6000 = table.get_by_role("row").filter(has_text="6000").get_by_role("cell")
    expect(at_6000).to_have_text(["30.0", "33.0"])
    assert_accessible(charts)


def test_a_curve_is_switched_off_in_the_legend_and_is_drawn_in_the_dark(charts: Page) -> None:
    button = charts.get_by_role("list", name="Curves shown").get_by_role("button", name=BEFORE)
    expect(button).to_have_attribute("aria-pressed", "true")
    button.focus()
    charts.keyboard.press("Enter")
    expect(button).to_have_attribute("aria-pressed", "false")
    charts.get_by_role("button", name="Dana Desk").click()
    charts.get_by_role("button", name="Dark page").click()
    expect(charts.locator("html")).to_have_attribute("data-bs-theme", "dark")
    expect(button).to_have_attribute("aria-pressed", "false")
    expect(charts.get_by_role("group", name="Torque: curves of").locator("canvas")).to_be_visible()
    expect(charts.get_by_role("button", name="Dark page")).to_be_hidden()
    assert_accessible(charts)


def test_a_saved_picture_writes_its_figures_as_the_page_does(
    log_in: LogIn, people: dict[Role, Any], live_server: Any
) -> None:
    job = factories.make_job(received_at=timezone.now() - timedelta(days=3), stage="roller")
    comparison = Comparison.objects.create(job=job, title="Weaker after")
    for at in range(4):  # a tenth less after: 5.5 kW at 11,000 1/min
        level = (1.0 if at < 2 else 0.9) * (1 + at % 2 / 1000)
        data = sweep_csv(power=lambda speed, level=level: level * speed / 200)
        made_at = timezone.now() - timedelta(hours=9 - at)
        run = attach_sweep(job, people[Role.TUNER], data, name=f"{at}.csv", made_at=made_at).run
        ComparisonRun.objects.create(comparison=comparison, run=run, group="before" if at < 2 else "after")
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/comparisons/{comparison.pk}/")
    words = words_of(saved(page, "difference-chart", "SVG"))
    assert {"9000", "10\u202f000", "\u22124"} <= set(words)
    assert not [each for each in words if each.startswith("-")]


def test_the_clearances_of_a_bike_are_read_panel_by_panel(
    log_in: LogIn, people: dict[Role, Any], live_server: Any
) -> None:
    bike = factories.make_bike()
    for visit, clearance_mm in enumerate(("0.20", "0.18", "0.16", "0.14"), 1):
        job = factories.make_job(bike=bike, odometer_km=10_000 * visit)
        at = timezone.now() - timedelta(days=500 - 100 * visit)
        factories.make_clearance_set(job, people[Role.MECHANIC], clearance_mm, measured_at=at)
    page = log_in(Role.MECHANIC)
    page.goto(f"{live_server.url}/bikes/{bike.pk}/")
    panel = page.get_by_role("group", name="Cylinder 2, intake: curves of left, left, trend")
    expect(panel.locator("canvas")).to_be_visible()
    panel.focus()
    press(page, "Home")
    expect(read_out(page).get_by_role("caption")).to_have_text("At 10\u202f000 km")
    expect(page.get_by_role("status").filter(has_text="left 0.200 mm; left, trend 0.200 mm")).to_be_attached()
    expect(row(read_out(page), "Cylinder 2, intake").get_by_role("cell").first).to_have_text("0.200")
    press(page, "ArrowRight")  # a place on the line where nothing was measured
    expect(row(read_out(page), "Cylinder 2, intake").get_by_role("cell").first).to_have_text("–")
    drawing = saved(page, "trend", "SVG")
    assert drawing.count(b"<polygon") > 4 * 12  # each reading of twelve valves has a mark of its own
    key = page.get_by_role("list", name="What the charts show").get_by_role("listitem").all_inner_texts()
    assert "range of the engine spec" in key
    assert words_of(drawing)[-len(key) :] == key
    assert len(ElementTree.fromstring(drawing).findall(f"{SVG}svg")) == len(key)  # a drawing beside each
    assert b"var(" not in drawing and b"class=" not in drawing  # nothing of the page's style sheets
    assert_rows_are_drawn(saved(page, "trend", "PNG"), len(key))
    assert_accessible(page)
