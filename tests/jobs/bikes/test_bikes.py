"""The bike list, and the history of a bike."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job, SuspensionSetting
from tests.factories import make_bike, make_clearance_set, make_customer, make_engine, make_job
from tests.html import by_class, read_json, read_row, read_text
from workshop.models import EngineSpec, Role

pytestmark = pytest.mark.django_db


def test_bike_list_is_searched_by_plate_owner_and_make(login) -> None:
    make_bike(plate="DEMO 22")
    make_bike(plate="X 1", make="Ostler", owner=make_customer(name="Orla Venn"))
    client = login(Role.TUNER)
    for words in ("demo22", "quill", "pellorin tern"):
        page = client.get(reverse("bike-list"), {"q": words}).content.decode()
        assert "DEMO 22" in page
        assert "Ostler" not in page
    assert "No bikes found" in client.get(reverse("bike-list"), {"q": "zebra"}).content.decode()


def test_bike_list_is_sorted_and_downloaded(login) -> None:
    for make, plate in (("Ostler", "A 1"), ("Corvessa", "B 2")):
        make_bike(make=make, plate=plate)
    client = login(Role.MECHANIC)
    page = client.get(reverse("bike-list"), {"sort": "-plate"}).content.decode()
    assert page.index("Corvessa") < page.index("Ostler")
    lines = client.get(reverse("bike-list-csv"), {"sort": "bike"}).content.decode().splitlines()
    assert lines[0] == "make,model,year,plate,vin,owner"
    assert [line.split(",")[0] for line in lines[1:]] == ["Corvessa", "Ostler"]


def test_empty_bike_list_shows_the_next_step(login) -> None:
    page = login(Role.DESK).get(reverse("bike-list")).content.decode()
    assert "No bikes yet." in page


def test_bike_list_needs_no_more_queries_for_more_bikes(login) -> None:
    bike = make_bike()
    client = login(Role.DESK)
    client.get(reverse("bike-list"))
    with CaptureQueriesContext(connection) as few:
        client.get(reverse("bike-list"))
    for index in range(20):
        make_bike(owner=bike.owner, plate=f"D {index}")
    with CaptureQueriesContext(connection) as many:
        client.get(reverse("bike-list"))
    assert len(few) == len(many)


def visit(bike, staff, odometer_km: float, clearance_mm: str, months_ago: int):
    job = make_job(bike=bike, odometer_km=odometer_km, brief=f"visit at {odometer_km:.0f}")
    at = timezone.now() - timedelta(days=30 * months_ago)
    make_clearance_set(job, staff[Role.MECHANIC], clearance_mm, measured_at=at)
    return job


def test_history_shows_jobs_and_clearance_trends_over_distance(login, staff) -> None:
    bike = make_bike()
    measured = ("0.20", "0.18", "0.16", "0.14", "0.12")
    jobs = [
        visit(bike, staff, 10_000 * (index + 1), clearance_mm, 24 - 6 * index)
        for index, clearance_mm in enumerate(measured)
    ]
    page = login(Role.MECHANIC).get(reverse("bike", args=[bike.pk])).content.decode()
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    for job in jobs:
        assert job.get_absolute_url() in page
    assert "20\N{NARROW NO-BREAK SPACE}000 km" in page
    row = " ".join(read_row(page, "cylinder 1, intake left"))
    assert row.index("0.20 mm") < row.index("0.16 mm") < row.index("0.12 mm")
    # 0.02 mm tighter every 10 000 km, from 0.12 mm at 50 000 km: the limit of 0.10 mm at 60 000 km
    assert "Getting tighter by 0.020" in row
    assert "60 000 km" in row


def test_history_uses_engine_hours_without_odometer(login, staff) -> None:
    bike = make_bike()
    job = make_job(bike=bike, engine_hours=40)
    make_clearance_set(job, staff[Role.MECHANIC], "0.15")
    page = login(Role.MECHANIC).get(reverse("bike", args=[bike.pk])).content.decode()
    assert "40 h" in page
    row = " ".join(read_row(page, "cylinder 1, intake left"))
    assert "No trend yet: 1 reading at 1 odometer or hour reading." in row


def test_trend_is_adjusted_for_changed_shims(login, staff) -> None:
    bike = make_bike()
    for index, clearance_mm in enumerate(("0.19", "0.17", "0.15")):
        visit(bike, staff, 10_000 * (index + 1), clearance_mm, 24 - 6 * index)
    # At 30 000 km shims 0.05 mm thinner are fitted, which alone makes the clearance 0.05 mm wider.
    job = Job.objects.order_by("pk").last()
    left = make_clearance_set(job, staff[Role.MECHANIC], "0.20", when="as_left")
    left.readings.update(shim_marked_mm=Decimal("2.45"))
    later = visit(bike, staff, 40_000, "0.18", 0)
    later.clearance_sets.get().readings.update(shim_marked_mm=Decimal("2.45"))
    page = login(Role.MECHANIC).get(reverse("bike", args=[bike.pk])).content.decode()
    row = " ".join(read_row(page, "cylinder 1, intake left"))
    # 0.02 mm tighter every 10 000 km throughout; from 0.18 mm at 40 000 km, 0.10 mm at 80 000 km
    assert "Getting tighter by 0.020" in row
    assert "80 000 km" in row


def test_bike_page_shows_trend_chart_beside_the_table(login, staff) -> None:
    bike = make_bike()
    for index, clearance_mm in enumerate(("0.20", "0.18", "0.16", "0.14", "0.12")):
        visit(bike, staff, 10_000 * (index + 1), clearance_mm, 24 - 6 * index)
    page = login(Role.MECHANIC).get(reverse("bike", args=[bike.pk])).content.decode()
    chart = read_json(page, "trend")
    panel = chart["panels"][0]
    assert panel["title"] == "Cylinder 1, intake"
    assert panel["range"] == [0.1, 0.2]
    assert panel["level"] == 0.16
    left, trend, *_ = panel["series"]
    assert (left["label"], left["y"]) == ("left", [0.2, 0.18, 0.16, 0.14, 0.12])
    assert trend["like"] == "left"
    # 0.02 mm every 10 000 km from 0.12 mm at 50 000 km: 0.10 mm at 60 000 km
    assert panel["crossings"][0]["x"] == pytest.approx(60_000)


def test_history_uses_inches_in_an_inch_shop(login, staff, shop) -> None:
    shop.length_unit = "in"
    shop.save()
    bike = make_bike()
    for index, clearance_mm in enumerate(("0.20", "0.18", "0.16", "0.14")):
        visit(bike, staff, 10_000 * (index + 1), clearance_mm, 24 - 6 * index)
    page = login(Role.MECHANIC).get(reverse("bike", args=[bike.pk])).content.decode()
    row = " ".join(read_row(page, "cylinder 1, intake left"))
    # 0.20 mm / 25.4 = 0.00787 in; 0.02 mm per 10 000 km = 0.00079 in; limit: 0.10 mm = 0.00394 in
    assert "0.0079 in" in row
    assert "Getting tighter by 0.00079 ±" in row
    assert "reaches 0.0039 in at about" in row
    assert " mm" not in row


def next_check_page(login, bike) -> str:
    page = login(Role.DESK).get(reverse("bike", args=[bike.pk])).content.decode()
    (next_check,) = by_class(page, "next-check")
    return read_text(next_check)


def test_next_check_is_due_one_interval_after_the_last(login, staff) -> None:
    bike = make_bike(engine_spec=make_engine(check_interval_km=24_000, check_interval_hours=100))
    visit(bike, staff, 12_000, "0.15", 12)
    visit(bike, staff, 20_000, "0.15", 6)
    # 20 000 + 24 000 = 44 000 km; no engine hours were recorded
    page = next_check_page(login, bike)
    assert "Next clearance check at 44 000 km (every 24 000 km, last checked at 20 000 km)." in page
    assert "No check has its engine hours recorded." in page
    make_job(bike=bike, odometer_km=44_500)
    page = next_check_page(login, bike)
    assert "Clearance check overdue: due at 44 000 km, bike checked in at 44 500 km." in page


def test_next_check_uses_engine_hours_and_needs_an_interval(login, staff) -> None:
    bike = make_bike(engine_spec=make_engine(check_interval_hours=30))
    make_clearance_set(make_job(bike=bike, engine_hours=41.5), staff[Role.MECHANIC])
    assert "Next clearance check at 71.5 h (every 30 h, last checked at 41.5 h)." in next_check_page(
        login, bike
    )
    EngineSpec.objects.update(check_interval_hours=None)
    assert "The engine spec has no check interval." in next_check_page(login, bike)


def test_history_shows_source_of_range_and_target(login, staff) -> None:
    bike = make_bike()
    visit(bike, staff, 10_000, "0.15", 1)
    url, client = reverse("bike", args=[bike.pk]), login(Role.TUNER)
    assert "Pellorin workshop book, 2, p. 41" in client.get(url).content.decode()
    EngineSpec.objects.update(source_manual="", source_edition="", source_page="")
    assert "no source given" in client.get(url).content.decode()


def test_history_needs_no_more_queries_for_more_jobs(login, staff) -> None:
    bike = make_bike()
    visit(bike, staff, 10_000, "0.19", 24)
    client = login(Role.MECHANIC)
    url = reverse("bike", args=[bike.pk])
    client.get(url)
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    visit(bike, staff, 20_000, "0.17", 12)
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(few) == len(many) <= 11  # the session included


def test_bike_page_shows_settings_at_handover(login, staff) -> None:
    bike = make_bike()
    job = make_job(bike=bike)
    for when, preload in (("as_found", "4"), ("as_left", "6")):
        SuspensionSetting.objects.create(job=job, when=when, by=staff[Role.MECHANIC], rear_preload=preload)
    page = login(Role.MECHANIC).get(reverse("bike", args=[bike.pk])).content.decode()
    row = read_row(page, "preload")
    assert "6" in row
    assert "4" not in row


def test_bike_without_engine_and_jobs_links_to_booking(login) -> None:
    bike = make_bike(engine_spec=None)
    page = login(Role.DESK).get(reverse("bike", args=[bike.pk])).content.decode()
    assert "No jobs for this bike yet." in page
    assert f"{reverse('job-book')}?bike={bike.pk}" in page


def test_bike_page_requires_login_and_a_known_bike(client, login) -> None:
    bike = make_bike()
    assert client.get(reverse("bike", args=[bike.pk])).status_code == 302
    assert login(Role.DESK).get(reverse("bike", args=[9999])).status_code == 404
    assert reverse("job-book") not in login(Role.TUNER).get(reverse("bike", args=[bike.pk])).content.decode()
