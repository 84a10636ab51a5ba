"""The log of the dyno's verification: readings, limits, chart and CSV."""

import csv
import io
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import DynoCheck
from tests.factories import make_instrument
from tests.html import read_json, read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db

# NIST/SEMATECH e-Handbook 6.3.2.2: centre 50.81, limits 45.8159 to 55.8041.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def add_readings(by, values, **given) -> None:
    start = timezone.now() - timedelta(days=100)
    for place, value in enumerate(values):
        DynoCheck.objects.create(
            subject="Auk in gear 4", reading=value, at=start + timedelta(days=place), by=by, **given
        )


def form_data(client, **changed: str) -> dict[str, str]:
    form = client.get(reverse("dyno-check-list")).context["form"]
    at = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    return {
        "method": "bike",
        "subject": "Auk in gear 4",
        "reading": "50.2",
        "unit": "kw",
        "at": at,
        "version": str(form["version"].value() or ""),
        **changed,
    }


def test_reading_is_saved_and_shown(login, shop) -> None:
    client = login(Role.TUNER)
    assert client.post(reverse("dyno-check-list"), form_data(client)).status_code == 302
    page = read_text(client.get(reverse("dyno-check-list")))
    assert "Reference bike: Auk in gear 4" in page
    assert "50.2 kW" in page
    assert "1 of 3 readings that limits need." in page


def test_next_reading_starts_from_the_last(login, staff) -> None:
    add_readings(staff[Role.TUNER], [98.1], method="weight", unit="nm", true_value=98.07)
    form = login(Role.TUNER).get(reverse("dyno-check-list")).context["form"]
    found = [form[name].value() for name in ("method", "subject", "unit", "true_value", "reading")]
    assert found == ["weight", "Auk in gear 4", "nm", "98.07", None]


def test_instrument_for_the_true_value_is_shown_and_repeated(login, shop) -> None:
    weight, client = make_instrument("weight", "Weight, 20 kg", "W-20"), login(Role.TUNER)
    data = form_data(client, method="weight", true_value="98.07", instrument=str(weight.pk))
    assert client.post(reverse("dyno-check-list"), data).status_code == 302
    page = client.get(reverse("dyno-check-list"))
    assert "98.07 kW, Weight, 20 kg (W-20)" in read_text(page)
    assert page.context["form"]["instrument"].value() == weight.pk


def test_limits_and_chart_are_those_of_the_handbook(login, staff) -> None:
    add_readings(staff[Role.TUNER], FLOW)
    page = login(Role.TUNER).get(reverse("dyno-check-list"))
    assert "Limits 45.82 to 55.80 kW, from 10 readings. All readings are within the limits." in read_text(
        page
    )
    panel = read_json(page, "dyno-check-chart-1")["panels"][0]
    assert panel["range"] == pytest.approx([45.8159, 55.8041], abs=1e-3)
    assert panel["level"] == pytest.approx(50.81)
    assert panel["series"][0]["y"] == FLOW


def test_reading_outside_the_limits_is_marked(login, staff) -> None:
    add_readings(staff[Role.TUNER], [*FLOW, *FLOW, 61.0])
    page = read_text(login(Role.TUNER).get(reverse("dyno-check-list")))
    assert "The latest reading is outside the limits. Find the reason before you rely on new results." in page
    assert page.count("outside the limits") == 4  # the explanation, the filter, the note and the reading


def test_mean_error_against_a_dead_weight(login, staff) -> None:
    """20 kg at 0.5 m is 98.07 N·m; readings of 99.05 and 99.05 are +1.00 %."""
    add_readings(staff[Role.TUNER], [99.05, 99.05], method="weight", unit="nm", true_value=98.07)
    page = read_text(login(Role.TUNER).get(reverse("dyno-check-list")))
    assert "Mean error against the true value: +1.00 % (2 readings)." in page


def test_things_measured_differently_have_their_own_limits(login, staff) -> None:
    add_readings(staff[Role.TUNER], FLOW)
    add_readings(staff[Role.TUNER], [98.1] * 3, method="weight", unit="nm")
    series = login(Role.TUNER).get(reverse("dyno-check-list")).context["series"]
    assert [len(one.checks) for one in series] == [10, 3]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, [98.1, 61.0, *FLOW[::-1]]),
        ({"sort": "reading"}, [*sorted(FLOW), 61.0, 98.1]),
        ({"sort": "measured"}, [*FLOW, 61.0, 98.1]),
        ({"method": "weight"}, [98.1]),
        ({"q": "AUK"}, [61.0, *FLOW[::-1]]),
        ({"state": "outside"}, [61.0]),
        ({"state": "outside", "method": "weight"}, []),
    ],
)
def test_readings_are_filtered_and_sorted(login, staff, query, found, django_assert_num_queries) -> None:
    add_readings(staff[Role.TUNER], [*FLOW, 61.0])
    DynoCheck.objects.create(method="weight", subject="20 kg", reading=98.1, by=staff[Role.TUNER])
    client = login(Role.TUNER)
    client.get(reverse("dyno-check-list"))
    # Session, person, shop, latest reading, all readings, instruments; count and page unless none is found.
    with django_assert_num_queries(8 if found else 6):
        page = client.get(reverse("dyno-check-list"), query)
    assert [check.reading for check in page.context["page"]] == found
    rows = csv.DictReader(io.StringIO(client.get(reverse("dyno-check-csv"), query).text.lstrip("\ufeff")))
    assert sorted(float(row["reading"]) for row in rows) == sorted(found)


def test_csv_has_readings_and_limits(login, staff) -> None:
    add_readings(staff[Role.TUNER], FLOW)
    text = login(Role.DESK).get(reverse("dyno-check-csv")).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [float(row["reading"]) for row in rows] == FLOW
    assert {(row["low limit"], row["outside"]) for row in rows} == {("45.8159", "no")}


def test_reading_is_corrected_and_removed(login, staff) -> None:
    add_readings(staff[Role.TUNER], [49.6])
    check, client = DynoCheck.objects.get(), login(Role.TUNER)
    url = reverse("dyno-check-edit", args=[check.pk])
    data = form_data(client, reading="49.9", version=str(check.version))
    assert client.post(url, data).status_code == 302
    assert DynoCheck.objects.get().reading == 49.9
    stale = client.post(url, {**data, "reading": "48"})
    assert stale.status_code == 422
    client.post(reverse("dyno-check-remove", args=[check.pk]))
    assert not DynoCheck.objects.exists()


def test_empty_reading_is_refused(login, shop) -> None:
    client = login(Role.TUNER)
    answer = client.post(reverse("dyno-check-list"), form_data(client, reading=""))
    assert answer.status_code == 422
    assert not DynoCheck.objects.exists()


def test_submitted_twice_is_one_reading(login, shop) -> None:
    client = login(Role.TUNER)
    data = form_data(client, form_key="0c7f7f3e-7a30-4a27-9a57-0d9a8f4c1f11")
    for _ in range(2):
        assert client.post(reverse("dyno-check-list"), data).status_code == 302
    assert DynoCheck.objects.count() == 1


def test_only_tuners_and_the_owner_keep_the_log(login, shop) -> None:
    assert login(Role.DESK).get(reverse("dyno-check-list")).status_code == 403
    assert login(Role.OWNER).get(reverse("dyno-check-list")).status_code == 200
