"""Instruments of the shop: list, checks, what is overdue, and removing."""

import uuid
from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from tests.factories import add_check, make_clearance_set, make_instrument, make_job
from tests.html import by_class, find, read_text
from workshop.models import Instrument, InstrumentCheck, Role

pytestmark = pytest.mark.django_db


def days_ago(days: int) -> date:
    return timezone.localdate() - timedelta(days=days)


@pytest.fixture
def instruments(db) -> dict[str, Instrument]:
    made = {
        "blades": make_instrument("feeler", "Feeler gauges", "FG-2"),
        "station": make_instrument("weather", "Weather station", "WS-1"),
        "micrometer": make_instrument("micrometer", "Micrometer", "MM-1"),
        "wrench": make_instrument("torque", "Torque wrench", "TW-2", withdrawn=True),
    }
    add_check(made["blades"], days_ago(30), days_ago(-300))
    add_check(made["station"], days_ago(400), days_ago(35))
    add_check(made["wrench"], days_ago(800), days_ago(435))
    return made


def names(response) -> list[str]:
    return [str(instrument) for instrument in response.context["page"]]


def test_list_shows_those_in_use_with_their_checks(
    login, shop, instruments, django_assert_num_queries
) -> None:
    client = login(Role.DESK)
    with django_assert_num_queries(5):  # session, person, shop, count, instruments
        page = client.get(reverse("instrument-list"))
    assert names(page) == ["Feeler gauges (FG-2)", "Micrometer (MM-1)", "Weather station (WS-1)"]
    states = [read_text(row).split()[-2:] for row in find(page, "//tbody/tr")]
    assert states == [["in", "use"], ["never", "checked"], ["check", "overdue"]]
    assert reverse("instrument-new") not in page.text


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"state": "overdue"}, ["Weather station (WS-1)"]),
        ({"state": "withdrawn"}, ["Torque wrench (TW-2)"]),
        ({"state": "all", "q": "w"}, ["Torque wrench (TW-2)", "Weather station (WS-1)"]),
        ({"kind": "feeler"}, ["Feeler gauges (FG-2)"]),
        ({"q": "mm-1"}, ["Micrometer (MM-1)"]),
        ({"q": "nothing of that name"}, []),
        ({"sort": "due"}, ["Weather station (WS-1)", "Feeler gauges (FG-2)", "Micrometer (MM-1)"]),
        ({"sort": "-checked"}, ["Feeler gauges (FG-2)", "Weather station (WS-1)", "Micrometer (MM-1)"]),
    ],
)
def test_list_is_filtered_and_sorted(login, instruments, query, found) -> None:
    assert names(login(Role.MECHANIC).get(reverse("instrument-list"), query)) == found


def test_new_instrument_leads_to_its_checks(login, shop) -> None:
    client, key = login(Role.TUNER), str(uuid.uuid4())
    sent = {"kind": "weather", "name": "Weather station", "number": "WS-1", "form_key": key}
    for _ in range(2):  # a double click
        response = client.post(reverse("instrument-new"), sent)
    station = Instrument.objects.get()
    assert response.url == reverse("instrument", args=[station.pk])
    assert "No check recorded." in read_text(client.get(response.url))


def test_number_is_refused_if_another_of_the_kind_has_it(login, instruments) -> None:
    sent = {"kind": "weather", "name": "Another station", "number": "WS-1"}
    response = login(Role.TUNER).post(reverse("instrument-new"), sent)
    assert response.status_code == 422
    assert "An instrument of this kind with this number already exists." in read_text(response)
    assert 'value="Another station"' in response.text


def test_check_is_recorded_and_ends_that_it_is_overdue(login, instruments) -> None:
    station, client = instruments["station"], login(Role.TUNER)
    page = reverse("instrument", args=[station.pk])
    assert "Check overdue since" in read_text(client.get(page))
    sent = {
        "checked_on": f"{days_ago(1)}",
        "checked_by": "Fennport laboratory",
        "certificate": "L-7",
        "due_on": f"{days_ago(-300)}",
    }
    assert client.post(reverse("instrument-check-new", args=[station.pk]), sent).status_code == 302
    text = read_text(client.get(page))
    assert "Check overdue since" not in text
    assert "L-7" in text
    assert not Instrument.objects.overdue().exists()


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("checked_on", f"{days_ago(-2)}", "is in the future"),
        ("checked_on", f"{days_ago(700)}", "is more than a year ago"),
        ("due_on", f"{days_ago(2)}", "is in the past"),
        ("checked_by", "", "This field is required"),
    ],
)
def test_doubtful_check_is_questioned_and_kept_in_the_form(login, instruments, field, value, message) -> None:
    sent = {"checked_on": f"{days_ago(30)}", "checked_by": "Laboratory", "due_on": f"{days_ago(-30)}"}
    url = reverse("instrument-check-new", args=[instruments["micrometer"].pk])
    response = login(Role.TUNER).post(url, {**sent, field: value})
    assert response.status_code == 422
    assert message in " ".join(response.context["form"].errors[field])
    assert response.context["form"][field].value() == value
    assert not instruments["micrometer"].checks.exists()


def test_next_check_cannot_be_due_before_the_check(login, instruments) -> None:
    sent = {
        "checked_on": f"{days_ago(3)}",
        "checked_by": "Lab",
        "due_on": f"{days_ago(5)}",
        "times_right": "on",
    }
    response = login(Role.TUNER).post(
        reverse("instrument-check-new", args=[instruments["micrometer"].pk]), sent
    )
    assert response.status_code == 422
    assert "The next check must be due after this one." in read_text(response)


def test_edit_of_a_check_that_someone_else_changed_is_refused(login, instruments) -> None:
    check, client = InstrumentCheck.objects.first(), login(Role.TUNER)
    url = reverse("instrument-check-edit", args=[check.pk])
    sent = {"checked_on": f"{check.checked_on}", "checked_by": "Laboratory B", "version": check.version}
    assert client.post(url, sent).status_code == 302
    stale = client.post(url, {**sent, "checked_by": "Laboratory C"})
    assert stale.status_code == 422
    assert 'value="Laboratory C"' in stale.text
    assert InstrumentCheck.objects.get(pk=check.pk).checked_by == "Laboratory B"


def test_change_log_has_the_correction_of_a_check(login, instruments) -> None:
    check, client = InstrumentCheck.objects.first(), login(Role.TUNER)
    sent = {"checked_on": f"{check.checked_on}", "checked_by": "Laboratory B", "version": check.version}
    client.post(reverse("instrument-check-edit", args=[check.pk]), sent)
    log = read_text(client.get(reverse("record-history", args=["workshop.instrumentcheck", check.pk])))
    assert "Fennport laboratory" in log
    assert "Laboratory B" in log


def test_instrument_that_a_measurement_names_cannot_be_removed(login, staff, instruments) -> None:
    make_clearance_set(make_job(), staff[Role.MECHANIC], feeler_gauge=instruments["blades"])
    client = login(Role.TUNER)
    response = client.post(reverse("instrument-remove", args=[instruments["blades"].pk]), follow=True)
    assert "is named by a measurement, so it cannot be removed" in read_text(response)
    client.post(reverse("instrument-remove", args=[instruments["station"].pk]))
    assert set(Instrument.objects.values_list("number", flat=True)) == {"FG-2", "MM-1", "TW-2"}
    assert not InstrumentCheck.objects.filter(checked_on=days_ago(400)).exists()


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC])
def test_desk_and_mechanic_read_only(login, instruments, role) -> None:
    client, pk = login(role), instruments["blades"].pk
    page = client.get(reverse("instrument", args=[pk]))
    assert page.status_code == 200
    assert not by_class(page.text, "btn-primary")
    for name in ("instrument-edit", "instrument-remove", "instrument-check-new"):
        assert client.post(reverse(name, args=[pk]), {}).status_code == 403


def test_today_names_overdue_checks_to_those_who_see_to_them(login, instruments) -> None:
    sentence = "Check overdue: Weather station (WS-1)"
    assert sentence in read_text(login(Role.TUNER).get("/"))
    assert sentence in read_text(login(Role.OWNER).get("/"))
    assert "Check overdue" not in read_text(login(Role.MECHANIC).get("/"))
