"""Charts: read, zoomed and switched by keyboard, as a table and as pictures."""

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
from tests.browser.steps import assert_accessible, get_row, tab_to, wait_for_next_frame
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role

LogIn = Callable[[Role], Page]
SVG = "{http://www.w3.org/2000/svg}"
BEFORE, AFTER = "Run 1, as received", "Run 2, tune 1"


@pytest.fixture
def charts(log_in: LogIn, people: dict[Role, Any], live_server: Any) -> Page:
    """Open a chart of two sweeps: power is rpm / 200 before and 10 % more after."""
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


def save_chart(page: Page, chart: str, kind: str) -> bytes:
    """Save a chart as a picture and return its bytes."""
    with page.expect_download() as download:
        page.locator(f"[data-source={chart}]").get_by_role("button", name=f"Save as {kind}").click()
    return download.value.path().read_bytes()


def read_svg_texts(picture: bytes) -> list[str]:
    """Return all texts of an SVG."""
    return [found.text or "" for found in ElementTree.fromstring(picture).iterfind(f".//{SVG}text")]


def assert_rows_are_drawn(picture: bytes, rows: int) -> None:
    """Check that the last rows of a picture, 22 px high above a 16 px margin, show a symbol and text."""
    image = Image.open(BytesIO(picture)).convert("RGB")
    for number in range(rows):
        top = image.height - 16 - 22 * (rows - number)
        for left, right in ((16, 48), (62, 160)):  # a single colour is blank paper
            colours = image.crop((left, top, right, top + 22)).getcolors(maxcolors=10_000)
            assert colours and len(colours) > 1, f"row {number}, {left} to {right} px"


def get_cursor_table(page: Page) -> Locator:
    return page.get_by_role("region", name="Values at the cursor").get_by_role("table")


def read_cursor_rpm(page: Page) -> float:
    """Return the engine speed at the cursor, read from the table caption."""
    caption = get_cursor_table(page).get_by_role("caption").inner_text()
    return float(caption.replace("\u202f", "").split()[1])


def read_power_kw(page: Page, curve: str) -> float:
    return float(get_row(get_cursor_table(page), curve).get_by_role("cell").first.inner_text())


def press_key(page: Page, key: str) -> None:
    """Press a key and wait until the chart is drawn again."""
    page.keyboard.press(key)
    wait_for_next_frame(page)


def test_arrow_keys_move_the_cursor_and_its_values(charts: Page) -> None:
    tab_to(charts, charts.get_by_role("group", name="Power: curves of"))
    press_key(charts, "Home")
    expect(get_cursor_table(charts).get_by_role("caption")).to_contain_text("At ")
    first = read_cursor_rpm(charts)
    for _ in range(10):
        press_key(charts, "ArrowRight")
    moved = read_cursor_rpm(charts)
    assert moved > first
    assert read_power_kw(charts, BEFORE) == pytest.approx(moved / 200, abs=0.06)
    assert read_power_kw(charts, AFTER) == pytest.approx(1.1 * moved / 200, abs=0.06)
    expect(charts.get_by_role("status").filter(has_text=f"At {format_number(moved)} rpm")).to_contain_text(
        AFTER
    )
    press_key(charts, "ArrowLeft")
    assert first < read_cursor_rpm(charts) < moved
    press_key(charts, "End")
    assert read_cursor_rpm(charts) > moved


def test_values_stand_beside_the_cursor_and_on_a_phone_above_the_curves(charts: Page) -> None:
    plot = charts.get_by_role("group", name="Power: curves of")
    reading = charts.get_by_role("region", name="Values at the cursor")
    plot.focus()
    press_key(charts, "Home")
    press_key(charts, "ArrowRight")
    outside, inside = plot.bounding_box(), reading.bounding_box()
    assert outside and inside
    assert outside["x"] <= inside["x"] < outside["x"] + outside["width"]
    assert outside["y"] <= inside["y"] < outside["y"] + outside["height"]
    charts.keyboard.press("Escape")
    expect(reading).to_be_hidden()
    charts.set_viewport_size({"width": 390, "height": 844})
    wait_for_next_frame(charts)
    plot.focus()
    press_key(charts, "Home")
    below, above = plot.bounding_box(), reading.bounding_box()
    assert below and above
    assert above["y"] + above["height"] <= below["y"]


def test_axis_from_zero_is_a_choice_that_is_remembered(charts: Page) -> None:
    def lowest_kw() -> float:
        return charts.locator("[data-source=runs-chart]").evaluate("root => root.chart.plots[0].scales.y.min")

    assert lowest_kw() > 5  # power begins at 15 kW
    charts.get_by_role("button", name="Axis from zero").click()
    assert lowest_kw() == 0
    charts.reload()
    expect(charts.get_by_role("button", name="Axis from zero")).to_have_attribute("aria-pressed", "true")
    assert lowest_kw() == 0
    charts.get_by_role("button", name="Axis from zero").click()


def test_filter_narrows_list_and_chart(charts: Page) -> None:
    charts.get_by_label("Filter runs").fill("tune 1")
    expect(charts.get_by_role("button", name=f"Show {BEFORE}")).to_be_hidden()
    charts.get_by_role("group", name="Power: curves of").focus()
    press_key(charts, "Home")
    expect(get_row(get_cursor_table(charts), AFTER)).to_be_visible()
    expect(get_row(get_cursor_table(charts), BEFORE)).to_have_count(0)
    charts.get_by_label("Filter runs").fill("")
    expect(charts.get_by_role("button", name=f"Show {BEFORE}")).to_be_visible()


SCALES = """([values, panel, fromZero]) => import('/static/js/chart_scales.js').then((scales) => {
  const series = [{ label: 'a', x: values.map((_, at) => at), y: values }];
  return scales.rangeOfY({ hidden: new Set(), fromZero }, { ...panel, series }, [0, values.length]);
})"""


@pytest.mark.parametrize(
    ("values", "panel", "low", "high"),
    [
        # one wild engine speed among 3000 to 11 000 rpm
        ([*range(3000, 11_001, 50), 60_000], {}, (2000, 3000), (11_000, 12_000)),
        # a scatter of 0.03 % is drawn over a tenth of its level
        ([85.0 + 0.01 * (at % 4) for at in range(100)], {}, (78, 81.5), (88.5, 92)),
        # lambda about 0.9, and 2.2 on the overrun
        ([0.88, 0.9, 0.92] * 30 + [2.2] * 30, {"usual": [0.65, 1.25]}, (0.8, 0.88), (1.2, 1.35)),
        # a difference shows zero
        ([2.0, 2.1, 2.2] * 20, {"kind": "difference"}, (-0.3, 0), (2.2, 2.5)),
    ],
)
def test_scales_are_set_by_what_is_usual(
    charts: Page,
    values: list[float],
    panel: dict[str, Any],
    low: tuple[float, float],
    high: tuple[float, float],
) -> None:
    found = charts.evaluate(SCALES, [values, panel, False])
    assert low[0] <= found[0] <= low[1]
    assert high[0] <= found[1] <= high[1]


def test_plus_zooms_in_and_zero_shows_the_whole_range(charts: Page) -> None:
    plot = charts.get_by_role("group", name="Power: curves of")
    plot.focus()
    press_key(charts, "Home")
    lowest = read_cursor_rpm(charts)
    press_key(charts, "End")
    highest = read_cursor_rpm(charts)
    for _ in range(2):
        press_key(charts, "+")
    # A quarter of the range is left, at the end with the cursor.
    press_key(charts, "Home")
    assert lowest + (highest - lowest) / 2 < read_cursor_rpm(charts) < highest
    press_key(charts, "0")
    press_key(charts, "Home")
    assert read_cursor_rpm(charts) == lowest


def test_curve_values_are_available_as_a_table(charts: Page) -> None:
    charts.get_by_role("button", name="Values as a table").click()
    table = charts.get_by_role("table", name="Power, kW")
    at_6000 = table.get_by_role("row").filter(has_text="6000").get_by_role("cell")
    expect(at_6000).to_have_text(["30.0", "33.0"])
    assert_accessible(charts)


def test_legend_hides_a_curve_in_light_and_dark_mode(charts: Page) -> None:
    button = charts.get_by_role("button", name=f"Show {BEFORE}")
    expect(button).to_have_attribute("aria-pressed", "true")
    button.focus()
    charts.keyboard.press("Enter")
    expect(button).to_have_attribute("aria-pressed", "false")
    charts.get_by_role("button", name="Dark mode").click()
    expect(charts.locator("html")).to_have_attribute("data-bs-theme", "dark")
    expect(button).to_have_attribute("aria-pressed", "false")
    expect(charts.get_by_role("group", name="Torque: curves of").locator("canvas")).to_be_visible()
    expect(charts.get_by_role("button", name="Dark mode")).to_have_attribute("aria-pressed", "true")
    assert_accessible(charts)


def test_saved_picture_formats_numbers_like_the_page(
    log_in: LogIn, people: dict[Role, Any], live_server: Any
) -> None:
    job = factories.make_job(received_at=timezone.now() - timedelta(days=3), stage="roller")
    comparison = Comparison.objects.create(job=job, title="Weaker after")
    for at in range(4):  # 10 % less after: 5.5 kW less at 11 000 rpm
        level = (1.0 if at < 2 else 0.9) * (1 + at % 2 / 1000)
        data = sweep_csv(power=lambda speed, level=level: level * speed / 200)
        made_at = timezone.now() - timedelta(hours=9 - at)
        run = attach_sweep(job, people[Role.TUNER], data, name=f"{at}.csv", made_at=made_at).run
        ComparisonRun.objects.create(comparison=comparison, run=run, group="before" if at < 2 else "after")
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/comparisons/{comparison.pk}/")
    words = read_svg_texts(save_chart(page, "comparison-chart", "SVG"))
    assert {"9000", "10\u202f000", "\u22124"} <= set(words)
    assert not [word for word in words if word.startswith("-")]


def test_clearance_trend_is_shown_and_saved_in_panels(
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
    press_key(page, "Home")
    expect(get_cursor_table(page).get_by_role("caption")).to_have_text("At 10\u202f000 km")
    expect(page.get_by_role("status").filter(has_text="left 0.200 mm; left, trend 0.200 mm")).to_be_attached()
    expect(get_row(get_cursor_table(page), "left").get_by_role("cell").first).to_have_text("0.200")
    press_key(page, "ArrowRight")  # a point on the trend line without a measurement
    expect(get_row(get_cursor_table(page), "left").get_by_role("cell").first).to_have_text("–")
    drawing = save_chart(page, "trend", "SVG")
    assert drawing.count(b"<polygon") > 4 * 12  # one marker per reading of twelve valves
    key = page.get_by_role("list", name="What the charts show").get_by_role("listitem").all_inner_texts()
    assert "range of the engine spec" in key
    assert read_svg_texts(drawing)[-len(key) :] == key
    assert len(ElementTree.fromstring(drawing).findall(f"{SVG}svg")) == len(key)  # one symbol per entry
    assert b"var(" not in drawing and b"class=" not in drawing  # independent of the page's style sheets
    assert_rows_are_drawn(save_chart(page, "trend", "PNG"), len(key))
    assert_accessible(page)
