"""A bike's clearances over its jobs as pictures for paper."""

import re
from datetime import timedelta
from xml.etree import ElementTree

import pytest
from django.utils import timezone

from jobs.clearances.trend import clearance_history
from jobs.clearances.trend_chart import build_trend_chart
from reports.drawing.clearance_history_chart import clearance_history_pictures
from reports.drawing.pictures import Picture
from tests.factories import make_bike, make_clearance_set, make_engine, make_job
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.django_db


def pictures(shop: ShopProfile, staff, **engine) -> list[Picture]:
    bike = make_bike(engine_spec=make_engine(**engine))
    for order, clearance in enumerate(("0.20", "0.18", "0.16", "0.14", "0.12")):
        job = make_job(bike=bike, odometer_km=10_000 * (order + 1))
        at = timezone.now() - timedelta(days=100 * (5 - order))
        make_clearance_set(job, staff[Role.MECHANIC], clearance, measured_at=at)
    return clearance_history_pictures(build_trend_chart(clearance_history(bike, shop), shop))


def test_picture_has_description(shop, staff) -> None:
    (picture,) = pictures(shop, staff)
    assert "Cylinder 1, intake left: Getting tighter by 0.020" in picture.alt
    assert "reaches 0.10 mm at about 60\u202f000 km" in picture.alt
    assert "over distance" in picture.caption
    ElementTree.fromstring(picture.svg)


def test_engine_with_many_valves_gets_several_pictures(shop, staff) -> None:
    two = pictures(shop, staff, cylinders=6)
    assert [picture.name for picture in two] == ["clearance-history-1", "clearance-history-2"]
    assert "(2 of 2)" in two[1].caption
    assert "Cylinder 6, exhaust right" in two[1].alt
    assert "Cylinder 6" not in two[0].alt


def test_same_history_gives_same_bytes(shop, staff) -> None:
    bike = make_bike()
    make_clearance_set(make_job(bike=bike, engine_hours=40), staff[Role.MECHANIC], "0.15")
    chart = build_trend_chart(clearance_history(bike, shop), shop)
    first, second = (clearance_history_pictures(chart)[0] for _ in range(2))
    assert first == second
    assert re.search(r"over engine hours", first.caption)


def test_no_picture_without_measurements() -> None:
    assert clearance_history_pictures(None) == []
