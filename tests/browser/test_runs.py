"""Run charts: sweep handles, saved pictures, roll-on, zoom and pan."""

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from jobs.models import Comparison, ComparisonRun, Job, Run
from tests import factories
from tests.browser.steps import (
    assert_accessible,
    assert_fits,
    follow,
    get_problems,
    tab_to,
    wait_for_next_frame,
)
from tests.jobs.run_files import attach_sweep
from workshop.models import Role

LogIn = Callable[[Role], Page]
START = timezone.now() - timedelta(days=1)


@pytest.fixture
def job(people: dict[Role, Any]) -> Job:
    engine = factories.make_engine(wet_mass_kg=188.0)
    owner = factories.make_customer(riding_mass_kg=85.0)
    bike = factories.make_bike(owner=owner, engine_spec=engine)
    return factories.make_job(bike=bike, received_at=timezone.now() - timedelta(days=3), stage="roller")


def sweep_with_road_speed(level: float) -> bytes:
    """Return a file with a sweep from 3000 to 11 000 rpm in 8 s, 60 rpm per km/h."""
    lines = ["Time (s),Engine speed (rpm),Power (kW),Road speed (km/h),Lambda"]
    for row in range(801):
        speed = 3000 + 10 * row
        lines.append(f"{row / 100:.2f},{speed},{level * speed / 200:.4f},{speed / 60:.3f},0.88")
    return "\n".join(lines).encode()


def attach_run(job: Job, by: Any, level: float, at: int) -> Run:
    air = {"temperature_c": 20.0, "pressure_kpa": 100.0, "humidity_pct": 50.0}
    made_at = START + timedelta(minutes=at)
    data = sweep_with_road_speed(level)
    return attach_sweep(job, by, data, name=f"sweep {at}.csv", gear=3, made_at=made_at, **air).run


def test_refused_files_stay_chosen(log_in: LogIn, live_server, job: Job) -> None:
    page = log_in(Role.TUNER)
    page.goto(f"{live_server.url}/jobs/{job}/runs/attach/")
    files: Any = [
        {"name": f"{level}.csv", "mimeType": "text/csv", "buffer": sweep_with_road_speed(level)}
        for level in (1.0, 1.1)
    ]
    page.get_by_label("Run files").set_input_files(files)
    page.get_by_label("Gear").fill("12")
    page.get_by_role("button", name="Upload").click()
    rows = page.locator(".dropzone-files li")
    expect(rows.filter(has_text="The file is still chosen")).to_have_count(2)
    assert not Run.objects.exists()
    page.get_by_label("Gear").fill("3")
    page.get_by_role("button", name="Upload").click()
    page.wait_for_url(f"**/jobs/{job}/runs/")
    assert set(Run.objects.values_list("original_name", "gear")) == {("1.0.csv", 3), ("1.1.csv", 3)}


def drag(page: Page, handle: Locator, to_x: float) -> None:
    wait_for_next_frame(page)  # until the handle is at its place in the new layout
    box = handle.bounding_box()
    assert box
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 4)
    page.mouse.down()
    page.mouse.move(to_x, box["y"] + box["height"] / 4, steps=5)
    page.mouse.up()
    wait_for_next_frame(page)


def test_sweep_is_set_by_dragging_its_handles(log_in: LogIn, live_server, job: Job, people) -> None:
    run = attach_run(job, people[Role.TUNER], 1.0, 0)
    page = log_in(Role.TUNER)
    page.goto(f"{live_server.url}/runs/{run.pk}/")
    first, last = (page.get_by_role("slider", name=f"The sweep {end} at") for end in ("starts", "ends"))
    first.scroll_into_view_if_needed()
    plot = first.locator("xpath=..").bounding_box()
    assert plot
    # A quarter of the way from 0 to 8 s.
    drag(page, first, plot["x"] + plot["width"] / 4)
    assert float(page.get_by_label("From", exact=True).input_value()) == pytest.approx(2.0, abs=0.1)
    expect(page.get_by_label("Set limits by")).to_have_value("time")
    # By keyboard: each press moves it by ten times 8 s / 400.
    last.press("Shift+ArrowLeft")
    assert float(page.get_by_label("To", exact=True).input_value()) == pytest.approx(7.8, abs=0.06)
    assert_accessible(page)
    follow(page.get_by_role("button", name="Save limits"))
    expect(page.get_by_text("set manually")).to_be_visible()
    run.refresh_from_db()
    assert run.sweep_start == pytest.approx(200, abs=10)
    assert run.sweep_stop == pytest.approx(781, abs=7)


def test_sweep_handles_are_reached_by_tab_and_hidden_without_write_access(
    log_in: LogIn, live_server, job: Job, people
) -> None:
    run = attach_run(job, people[Role.TUNER], 1.0, 0)
    page = log_in(Role.TUNER)
    page.goto(f"{live_server.url}/runs/{run.pk}/")
    tab_to(page, page.get_by_role("slider", name="The sweep starts at")).press("ArrowRight")
    assert float(page.get_by_label("From", exact=True).input_value()) == pytest.approx(0.02, abs=0.03)
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/runs/{run.pk}/")
    expect(page.get_by_role("group", name="Engine speed: curves of")).to_be_visible()
    expect(page.get_by_role("slider")).to_have_count(0)


def test_curves_are_saved_as_pictures(log_in: LogIn, live_server, job: Job, people, tmp_path: Path) -> None:
    for at, level in enumerate((1.0, 1.02)):
        attach_run(job, people[Role.TUNER], level, at)
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job.number}/runs/")
    pictures = {}
    for kind in ("PNG", "SVG"):
        with page.expect_download() as download:
            page.get_by_role("button", name=f"Save as {kind}").click()
        assert download.value.suggested_filename == f"runs-job-{job.number}.{kind.lower()}"
        pictures[kind] = Path(download.value.path()).read_bytes()
    assert pictures["PNG"].startswith(b"\x89PNG\r\n")
    picture = pictures["SVG"].decode()
    (tmp_path / "curves.svg").write_bytes(pictures["SVG"])
    assert picture.count("<polyline") == 6  # power, torque and lambda of two runs
    assert "Run 1" in picture
    assert "engine speed (rpm)" in picture
    # Power is linear from 3000 to 11 000 rpm, so the points are on a line.
    points = [tuple(map(float, p.split(","))) for p in re.search(r'points="([^"]+)"', picture)[1].split()]
    (x0, y0), (x1, y1) = points[0], points[-1]
    assert max(abs(y0 + (y1 - y0) * (x - x0) / (x1 - x0) - y) for x, y in points) < 1.5


def test_roll_on_is_computed_on_the_comparison_page(log_in: LogIn, live_server, job: Job, people) -> None:
    comparison = Comparison.objects.create(job=job, title="Before and after")
    for at in range(6):
        run = attach_run(job, people[Role.TUNER], (1.0 if at < 3 else 1.04) * (1 + at % 3 / 1000), at)
        group = "before" if at < 3 else "after"
        ComparisonRun.objects.create(comparison=comparison, run=run, group=group)
    page = log_in(Role.TUNER)
    page.goto(f"{live_server.url}/comparisons/{comparison.pk}/")
    roll_on = page.get_by_role("region", name="Roll-on", exact=True)
    expect(roll_on).to_contain_text("ahead of where it was before")
    roll_on.get_by_text("Values, inputs and assumptions").click()
    roll_on.get_by_label("From (km/h)").fill("70")
    roll_on.get_by_label("To (km/h)").fill("150")
    follow(roll_on.get_by_role("button", name="Calculate"))
    expect(roll_on.get_by_role("caption")).to_contain_text("70 to 150 km/h")
    expect(roll_on.locator("canvas")).to_be_visible()
    page.get_by_role("group", name="Show").get_by_role("button", name="Lambda").click()
    expect(page.get_by_role("group", name="Lambda: curves of")).to_be_visible()
    assert_accessible(page)
    page.set_viewport_size({"width": 360, "height": 780})
    assert_fits(page)
    roll_on.get_by_label("To (km/h)").fill("60")
    follow(roll_on.get_by_role("button", name="Calculate"))
    expect(get_problems(roll_on)).to_contain_text("must be higher than the start speed")


def read_shown_range(page: Page, name: str) -> list[float]:
    chart = page.locator(f"[data-source={name}]")
    return chart.evaluate("chart => [chart.chart.plots[0].scales.x.min, chart.chart.plots[0].scales.x.max]")


TWO_FINGERS = """(place, [from, to]) => {
  const box = place.querySelector('.u-over').getBoundingClientRect();
  const send = (kind, finger, share) => place.dispatchEvent(new PointerEvent(kind, {
    pointerId: finger, pointerType: 'touch', bubbles: true,
    clientX: box.left + share * box.width, clientY: box.top + 50 }));
  from.forEach((share, finger) => send('pointerdown', finger + 1, share));
  to.forEach((share, finger) => send('pointermove', finger + 1, share));
  to.forEach((share, finger) => send('pointerup', finger + 1, share));
}"""


def test_zoomed_curves_are_panned_by_button_key_and_touch(
    log_in: LogIn, live_server, job: Job, people
) -> None:
    attach_run(job, people[Role.TUNER], 1.0, 0)
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job.number}/runs/")
    plot = page.get_by_role("group", name="Power: curves of")
    expect(plot.locator("canvas")).to_be_visible()
    low, high = read_shown_range(page, "runs-chart")
    middle, quarter = (low + high) / 2, (high - low) / 4
    # Two fingers move from 0.25 and 0.75 of the width to its edges: the inner half fills the chart.
    plot.evaluate(TWO_FINGERS, [[0.25, 0.75], [0.0, 1.0]])
    assert read_shown_range(page, "runs-chart") == pytest.approx([middle - quarter, middle + quarter], abs=30)
    page.get_by_role("button", name="Move right").click()
    assert read_shown_range(page, "runs-chart") == pytest.approx([middle, high], abs=30)
    plot.focus()
    page.keyboard.press("PageUp")
    assert read_shown_range(page, "runs-chart") == pytest.approx([middle - quarter, middle + quarter], abs=30)
    page.get_by_role("button", name="Whole range").click()
    assert read_shown_range(page, "runs-chart") == pytest.approx([low, high], abs=1)
