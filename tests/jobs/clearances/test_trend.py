"""A bike's clearances over distance as curves: what is drawn, and in which unit."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from jobs.clearances.trend import clearance_history
from jobs.clearances.trend_chart import TrendChart, build_trend_chart
from tests.factories import make_bike, make_clearance_set, make_engine, make_job
from workshop.models import Bike, EngineSpec, Role, ShopProfile

pytestmark = pytest.mark.django_db


def visit(
    bike: Bike, staff: Any, use: float, clearance_mm: str, *, shim: str = "2.50", **overrides: Any
) -> Any:
    """Make a job at which all valves had the same clearance; use in km, or in hours if asked."""
    meter = overrides.pop("meter", "odometer_km")
    job = overrides.pop("job", None) or make_job(bike=bike, **{meter: use})
    at = timezone.now() - timedelta(days=1000 - float(use) / 1000)
    measured = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm, **{"measured_at": at, **overrides})
    measured.readings.update(shim_marked_mm=Decimal(shim) if shim else None)
    return job


def chart_of(bike: Bike, shop: ShopProfile) -> TrendChart:
    bike.refresh_from_db()
    chart = build_trend_chart(clearance_history(bike, shop), shop)
    assert chart is not None
    return chart


def test_chart_adjusts_for_changed_shims_and_marks_the_crossing(shop, staff) -> None:
    bike = make_bike()
    for use, clearance in ((10_000, "0.19"), (20_000, "0.17"), (30_000, "0.15")):
        visit(bike, staff, use, clearance)
    job = bike.jobs.order_by("pk").last()
    later = timezone.now() - timedelta(days=965)
    # A shim 0.05 mm thinner makes the clearance 0.05 mm wider: 0.15 becomes 0.20 at 30 000 km.
    visit(bike, staff, 30_000, "0.20", shim="2.45", job=job, when="as_left", measured_at=later)
    visit(bike, staff, 40_000, "0.18", shim="2.45")
    chart = chart_of(bike, shop)
    assert (chart.use_label, chart.use_unit, chart.clearance_unit) == ("odometer", "km", "mm")
    panel = chart.panels[0]
    assert panel.title == "cylinder 1, intake"
    assert (panel.low, panel.high, panel.target) == pytest.approx((0.10, 0.20, 0.16))
    left = panel.valves[0]
    assert left.name == "left"
    # With the shim of now, each earlier reading is 0.05 mm wider than it was measured.
    assert [(point.use, round(point.value, 6)) for point in left.points] == [
        (10_000, 0.24), (20_000, 0.22), (30_000, 0.20), (30_000, 0.20), (40_000, 0.18),
    ]  # fmt: skip
    assert [point.as_measured for point in left.points] == [False, False, False, True, True]
    # 0.02 mm tighter every 10 000 km, 0.18 mm at 40 000 km: the limit of 0.10 mm at 80 000 km, which is
    # further ahead than the 30 000 km known; it is described but not drawn.
    assert left.crossing is None
    assert left.line[-1].use == 40_000
    assert chart.shown_from < 10_000
    assert 40_000 < chart.shown_to < 42_000
    assert "80\u202f000 km" in left.sentence


def test_chart_marks_a_near_crossing_with_its_interval(shop, staff) -> None:
    bike = make_bike()
    for use, clearance in (
        (10_000, "0.20"),
        (20_000, "0.18"),
        (30_000, "0.16"),
        (40_000, "0.14"),
        (50_000, "0.12"),
    ):
        visit(bike, staff, use, clearance)
    chart = chart_of(bike, shop)
    left = chart.panels[0].valves[0]
    assert left.crossing is not None
    assert left.crossing.use == pytest.approx(60_000)
    assert left.crossing.limit == pytest.approx(0.10)
    assert left.crossing.low < 60_000 < left.crossing.high
    # Drawn five hundredths of the 40 000 km known beyond the crossing.
    assert chart.shown_to == pytest.approx(62_000)
    assert left.line[-1].use == pytest.approx(62_000)
    assert left.line[-1].value == pytest.approx(0.096)
    assert all(point.low < point.value < point.high for point in left.line)


def test_chart_has_a_panel_for_each_side_of_a_cylinder(shop, staff) -> None:
    bike = make_bike(engine_spec=make_engine(cylinders=4, intake_valves=3))
    visit(bike, staff, 10_000, "0.15")
    chart = chart_of(bike, shop)
    assert [panel.title for panel in chart.panels[:3]] == [
        "cylinder 1, intake", "cylinder 1, exhaust", "cylinder 2, intake",
    ]  # fmt: skip
    assert len(chart.panels) == 8
    assert [valve.name for valve in chart.panels[0].valves] == ["left", "centre", "right"]
    assert [valve.name for valve in chart.panels[1].valves] == ["left", "right"]
    # The same height for the same side, so that cylinders compare.
    assert chart.panels[0].shown_from == chart.panels[2].shown_from
    assert chart.panels[0].valves[0].line == []


def test_chart_shows_both_gaps_of_a_positively_closed_valve(shop, staff) -> None:
    spec = make_engine(
        cylinders=2,
        arrangement=EngineSpec.Arrangement.V,
        intake_valves=1,
        exhaust_valves=1,
        adjuster=EngineSpec.Adjuster.DESMODROMIC,
        intake_closing_low_mm=Decimal("0.00"),
        intake_closing_high_mm=Decimal("0.05"),
    )
    bike = make_bike(engine_spec=spec)
    visit(bike, staff, 10_000, "0.15")
    chart = chart_of(bike, shop)
    assert [panel.title for panel in chart.panels[:4]] == [
        "cylinder 1, intake, opening", "cylinder 1, exhaust, opening",
        "cylinder 1, intake, closing", "cylinder 1, exhaust, closing",
    ]  # fmt: skip
    assert chart.panels[0].valves[0].name == "valve"
    assert (chart.panels[3].low, chart.panels[3].high) == (None, None)


def test_chart_follows_screws_from_setting_to_setting(shop, staff) -> None:
    bike = make_bike(engine_spec=make_engine(adjuster=EngineSpec.Adjuster.SCREW))
    now = timezone.now()
    readings = [(0, "0.20", "as_left"), (10_000, "0.18", "as_found"), (10_000, "0.22", "as_left")]
    readings += [(20_000, "0.20", "as_found"), (20_000, "0.19", "as_left"), (30_000, "0.17", "as_found")]
    jobs = {use: make_job(bike=bike, odometer_km=use) for use in (0, 10_000, 20_000, 30_000)}
    for order, (use, clearance, when) in enumerate(readings):
        at = now - timedelta(days=100 - order)
        visit(bike, staff, use, clearance, shim="", job=jobs[use], when=when, measured_at=at)
    left = chart_of(bike, shop).panels[0].valves[0]
    # 0.02 mm tighter every 10 000 km in each of three periods; the last is 0.17 mm at 30 000 km,
    # so that with its setting it had 0.19 mm at 20 000 km, 0.21 mm at 10 000 km and 0.23 mm at the start.
    assert [round(point.value, 6) for point in left.points] == [0.23, 0.21, 0.21, 0.19, 0.19, 0.17]
    assert [point.as_measured for point in left.points] == [False, False, False, False, True, True]


def test_chart_counts_readings_it_cannot_draw(shop, staff) -> None:
    bike = make_bike(engine_spec=make_engine(adjuster=EngineSpec.Adjuster.SCREW, cylinders=1))
    job = visit(bike, staff, 10_000, "0.25", shim="")
    visit(bike, staff, 10_000, "0.16", shim="", job=job, when="as_left", measured_at=timezone.now())
    chart = chart_of(bike, shop)
    assert [len(valve.points) for panel in chart.panels for valve in panel.valves] == [1, 1, 1, 1]
    assert chart.not_drawn == 4


def test_chart_uses_engine_hours_and_inches(shop, staff) -> None:
    bike = make_bike()
    shop.length_unit, shop.distance_unit = "in", "mi"
    for use, clearance in ((10, "0.20"), (20, "0.18"), (30, "0.16"), (40, "0.14")):
        visit(bike, staff, use, clearance, meter="engine_hours")
    chart = chart_of(bike, shop)
    assert (chart.use_label, chart.use_unit, chart.clearance_unit) == ("engine hours", "h", "in")
    panel = chart.panels[0]
    # 0.10 mm / 25.4 = 0.003937 in
    assert panel.low == pytest.approx(0.003937, abs=1e-6)
    assert panel.valves[0].points[-1].value == pytest.approx(0.14 / 25.4)
    # 0.02 mm every 10 h: 0.2 mm = 0.00787 in every 100 h
    assert panel.valves[0].sentence.startswith("Getting tighter by 0.00787 ±")
    assert "reaches 0.0039 in" in panel.valves[0].sentence
    assert "mm" not in panel.valves[0].sentence


def test_chart_is_omitted_if_odometer_runs_backwards(shop, staff) -> None:
    bike = make_bike()
    visit(bike, staff, 20_000, "0.18")
    visit(bike, staff, 10_000, "0.19", measured_at=timezone.now())
    assert build_trend_chart(clearance_history(bike, shop), shop) is None
    assert "The odometer goes down" in clearance_history(bike, shop).rows[0].gap_trend.sentence


def test_chart_is_omitted_without_readings(shop) -> None:
    assert build_trend_chart(clearance_history(make_bike(), shop), shop) is None
