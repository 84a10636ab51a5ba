"""Suspension and settings as found and as left, with the sag that follows from the readings."""

import uuid
from datetime import UTC, datetime

import pytest
from django.urls import reverse

from jobs.models import SuspensionSetting
from jobs.suspension.settings import compute_end_sag
from reports.handover.snapshot import make_snapshot
from tests import factories
from tests.factories import make_job
from tests.html import read_html, read_row
from workshop.models import Role

pytestmark = pytest.mark.django_db

# Rear: unloaded 560 mm; with rider 525 and 529 mm, so the mean is 527, sag 33 mm, stiction 4 mm;
# 33 of 130 mm of travel is 25.4 %.
REAR = {
    "rear_unloaded_mm": "560",
    "rear_bike_only_mm": "550",
    "rear_pushed_mm": "525",
    "rear_lifted_mm": "529",
    "rear_travel_mm": "130",
    "set_at": "2026-05-04T10:30",
    "times_right": "on",
}


def record(client, job, when: str = "as_found", **data: str):
    return client.post(reverse("suspension-new", args=[job, when]), {**REAR, **data})


def section(client, job) -> str:
    page = (
        client.get(reverse("job", args=[job]), {"open": "all"})
        .content.decode()
        .replace("\N{NO-BREAK SPACE}", " ")
    )
    return read_html(page, "suspension")


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC, Role.TUNER])
def test_section_shows_sag_computed_from_readings(login, role) -> None:
    job = make_job()
    client = login(role)
    assert record(client, job, rear_preload="4").status_code == 302
    shown = section(client, job)
    assert "33.0 mm" in shown
    assert "4.0 mm" in shown
    assert "25.4 %" in shown
    assert "10.0 mm" in shown
    assert "less than the usual 28 to 35 %" in shown
    assert "Rule of thumb, a starting point, not a limit:" in shown


def test_track_bike_gets_sag_hints_for_the_track(login) -> None:
    job = make_job(intended_use="track_only")
    client = login(Role.MECHANIC)
    record(client, job)
    assert "customary" not in section(client, job)


def test_as_left_form_starts_with_settings_but_without_readings(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    record(client, job, rear_preload="4", front_sprocket="15")
    page = client.get(reverse("suspension-new", args=[job, "as_left"])).content.decode()
    assert 'name="rear_preload" value="4"' in page
    assert 'name="front_sprocket" value="15"' in page
    assert 'value="560"' not in page


def test_section_shows_as_found_and_as_left_side_by_side(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    record(client, job, rear_preload="4")
    assert "Recorded as found, not yet as left" in section(client, job)
    record(client, job, "as_left", rear_preload="6", set_at="2026-05-04T12:30")
    shown = section(client, job)
    row = read_row(shown, "preload")
    assert row.index("4") < row.index("6")
    assert 'state-done"' in shown


def test_pressures_and_lengths_use_the_units_of_the_shop(login, shop) -> None:
    shop.pressure_unit, shop.length_unit = "inhg", "in"
    shop.save()
    job = make_job()
    client = login(Role.MECHANIC)
    page = client.get(reverse("suspension-new", args=[job, "as_found"])).content.decode()
    assert "front tyre pressure, cold (psi)" in page.lower()
    assert "rear travel (in)" in page.lower()
    client.post(
        reverse("suspension-new", args=[job, "as_found"]),
        {"front_pressure_kpa": "36", "rear_travel_mm": "5", "set_at": REAR["set_at"]},
    )
    setting = SuspensionSetting.objects.get()
    # 1 psi is 6.894757 kPa (NIST SP 811); 1 in is 25.4 mm exactly
    assert setting.front_pressure_kpa == pytest.approx(248.211, abs=0.001)
    assert setting.rear_travel_mm == pytest.approx(127)
    assert "36.0 psi" in section(client, job)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ({"rear_pushed_mm": "570"}, "A reading with load is longer than the unloaded reading."),
        ({"rear_travel_mm": "20"}, "Sag of 33 mm is more than the travel of 20 mm."),
        ({"rear_travel_mm": "3000"}, "Enter a value from 0 to 1000 mm."),
        ({"rear_pushed_mm": "a lot"}, "“a lot” is not a number."),
    ],
)
def test_inconsistent_sag_readings_are_rejected_at_the_field_and_kept(login, data, sentence) -> None:
    answer = record(login(Role.MECHANIC), make_job(), rear_preload="7 turns", **data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert 'value="7 turns"' in page
    for value in data.values():
        assert f'value="{value}"' in page
    assert not SuspensionSetting.objects.exists()


def test_sag_is_empty_without_the_unloaded_reading() -> None:
    measured = compute_end_sag(SuspensionSetting(rear_pushed_mm=525, rear_lifted_mm=529), "rear", "road")
    assert (measured.with_rider, measured.bike_alone_mm, measured.hints, measured.problem) == (
        None,
        None,
        [],
        "",
    )


def test_high_stiction_gives_a_hint() -> None:
    setting = SuspensionSetting(front_unloaded_mm=600, front_pushed_mm=550, front_lifted_mm=565)
    assert "Check for dry seals or bent parts" in compute_end_sag(setting, "front", "road").hints[0]


def test_edit_conflict_names_the_other_user_and_keeps_the_entry(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    record(client, job, rear_preload="4")
    setting = SuspensionSetting.objects.get()
    edit = reverse("suspension-edit", args=[setting.pk])
    login(Role.TUNER).post(edit, {**REAR, "rear_preload": "5", "version": setting.version})
    refused = client.post(edit, {**REAR, "rear_preload": "6", "version": setting.version})
    page = refused.content.decode()
    assert refused.status_code == 422
    assert "Toni Tuner" in page
    assert 'name="rear_preload" value="6"' in page


def test_repeated_submission_is_recorded_once(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    key = str(uuid.uuid4())
    record(client, job, form_key=key)
    record(client, job, form_key=key)
    assert SuspensionSetting.objects.count() == 1


def test_suspension_pages_require_login_and_known_records(client, login) -> None:
    job = make_job()
    assert client.get(reverse("suspension-new", args=[job, "as_found"])).status_code == 302
    assert login(Role.MECHANIC).get(reverse("suspension-new", args=[job, "someday"])).status_code == 404
    assert (
        login(Role.MECHANIC).get(reverse("suspension-new", args=["2026-999", "as_left"])).status_code == 404
    )
    assert login(Role.MECHANIC).get(reverse("suspension-edit", args=[99])).status_code == 404


def test_timeline_and_sheet_describe_changed_settings_in_shop_units(login, shop, staff) -> None:
    shop.pressure_unit = "inhg"  # whose gauge for tyres reads psi
    shop.save()
    job, mechanic = make_job(), staff[Role.MECHANIC]
    for when, pressure_kpa in (("as_found", 250.0), ("as_left", 240.0)):
        SuspensionSetting.objects.create(
            job=job, by=mechanic, when=when, front_pressure_kpa=pressure_kpa, front_rate_n_per_mm=9.5
        )
    # 240 / 6.894757 = 34.81 psi, 250 / 6.894757 = 36.26 psi
    change = "ront tyre pressure, cold 34.8 psi (36.3 psi before)"
    page = login(Role.MECHANIC).get(reverse("timeline", args=[job])).text
    assert change in page.replace("\N{NO-BREAK SPACE}", " ")
    sheet = make_snapshot(
        factories.load_results(job), issue_number=1, issued_by=mechanic, at=datetime(2026, 3, 14, tzinfo=UTC)
    )
    (sentence,) = [done for done in sheet.done if done.startswith("Suspension")]
    assert change in sentence.replace("\N{NO-BREAK SPACE}", " ")
    assert "kPa" not in sentence
