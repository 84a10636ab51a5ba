"""The timeline: the order of changes and runs, and the events between two times."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import (
    BikeChange,
    ClearanceSet,
    Job,
    Part,
    Run,
    ShimPlan,
    StageEntry,
    SuspensionSetting,
    TuneChange,
    TuneChangeKind,
    TuneRevision,
)
from jobs.timeline.events import changes, events_between, timeline
from tests.factories import get_part_kind, load_results, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db

MORNING = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)


def at(minutes: int) -> datetime:
    return MORNING + timedelta(minutes=minutes)


@pytest.fixture
def job(staff) -> Job:
    job = make_job()
    TuneRevision.objects.create(job=job, number=0, loaded_at=at(0), loaded_by=staff[Role.DESK])
    return job


def load(job: Job, staff, number: int, minutes: int, title: str = "") -> TuneRevision:
    return TuneRevision.objects.create(
        job=job, number=number, loaded_at=at(minutes), loaded_by=staff[Role.TUNER], title=title
    )


def run(job: Job, staff, minutes: int, revision: TuneRevision | None = None, name: str = "") -> Run:
    name = name or f"at {minutes}.csv"
    return Run.objects.create(
        job=job,
        original_name=name,
        sha256=name,
        size=1,
        made_at=at(minutes),
        made_by=staff[Role.TUNER],
        tune_revision=revision,
    )


def texts(found) -> list[str]:
    return [event.text for event in found]


def test_both_changes_between_two_runs_are_named(job, staff) -> None:
    first = run(job, staff, 10)
    Part.objects.create(job=job, name="Slip-on", fitted_at=at(20), kind=get_part_kind("exhaust"))
    load(job, staff, 1, 30, "more fuel low down")
    second = run(job, staff, 40)
    Part.objects.create(job=job, name="Later", fitted_at=at(50))
    found = events_between(load_results(job).get(timeline), first.made_at, second.made_at)
    assert texts(found) == [
        "Slip-on fitted (exhaust)",
        "tune 1 loaded: more fuel low down",
    ]


def test_part_not_fitted_yet_does_not_change_the_bike(job) -> None:
    Part.objects.create(job=job, name="Still in its box", fitted_at=None)
    assert not [event for event in load_results(job).get(timeline) if "box" in event.text]


def test_runs_and_readings_do_not_change_the_bike(job, staff) -> None:
    run(job, staff, 10)
    ClearanceSet.objects.create(
        job=job, when="as_found", measured_at=at(12), measured_by=staff[Role.MECHANIC]
    )
    SuspensionSetting.objects.create(
        job=job, when="as_found", set_at=at(14), by=staff[Role.MECHANIC], rear_preload="4"
    )
    StageEntry.objects.create(job=job, stage="bench", by=staff[Role.MECHANIC], at=at(16))
    found = load_results(job).get(timeline)
    assert len(found) == 5
    assert not [event for event in found if event.changes_bike]


def test_change_comes_before_a_run_of_the_same_minute(job, staff) -> None:
    run(job, staff, 10)
    BikeChange.objects.create(
        job=job, kind=get_part_kind("tyre"), description="new rear", at=at(10), by=staff[Role.TUNER]
    )
    assert [event.run is not None for event in load_results(job).get(timeline)][-2:] == [False, True]
    assert texts(changes(load_results(job).get(timeline))) == ["tyre: new rear"]


def test_return_to_an_earlier_tune_is_a_change(job, staff) -> None:
    received = job.tune_revisions.get(number=0)
    run(job, staff, 10, received)
    one = load(job, staff, 1, 20)
    changed = run(job, staff, 30, one)
    again = run(job, staff, 40, received, name="again.csv")
    run(job, staff, 50, received, name="and again.csv")
    found = events_between(load_results(job).get(timeline), changed.made_at, again.made_at)
    assert texts(found) == ["as received loaded (according to run again.csv)"]
    assert len([event for event in load_results(job).get(timeline) if "according to run" in event.text]) == 1


def test_tune_entered_after_its_run_counts_once_before_it(job, staff) -> None:
    received = job.tune_revisions.get(number=0)
    first = run(job, staff, 10, received)
    one = load(job, staff, 1, 30)
    second = run(job, staff, 20, one, name="early.csv")
    last = run(job, staff, 40, one)
    found = load_results(job).get(timeline)
    assert texts(events_between(found, first.made_at, second.made_at)) == [
        "tune 1 loaded (according to run early.csv)"
    ]
    assert events_between(found, second.made_at, last.made_at) == []


def test_tune_event_lists_its_changes(job, staff) -> None:
    kind = TuneChangeKind.objects.create(name="idle (test)", unit="1/min")
    one = load(job, staff, 1, 20)
    TuneChange.objects.create(revision=one, kind=kind, to_value="1450", unit="1/min", reason="stalls")
    assert texts(changes(load_results(job).get(timeline))) == ["tune 1 loaded: idle (test): 1450 1/min"]


def test_shim_plan_counts_once_as_change_when_applied(job, staff) -> None:
    mechanic = staff[Role.MECHANIC]
    found_set = ClearanceSet.objects.create(
        job=job, when="as_found", measured_at=at(10), measured_by=mechanic
    )
    ShimPlan.objects.create(
        clearance_set=found_set, policy="target", accepted_by=mechanic, stock_booked_out_at=at(20)
    )
    ClearanceSet.objects.create(job=job, when="as_left", measured_at=at(40), measured_by=mechanic)
    (change,) = changes(load_results(job).get(timeline))
    assert (change.at, change.text) == (at(20), "valve shims changed to the accepted plan")


def test_set_as_left_counts_as_change_without_a_plan(job, staff) -> None:
    mechanic = staff[Role.MECHANIC]
    ClearanceSet.objects.create(job=job, when="as_found", measured_at=at(10), measured_by=mechanic)
    ClearanceSet.objects.create(job=job, when="as_left", measured_at=at(40), measured_by=mechanic)
    (change,) = changes(load_results(job).get(timeline))
    assert change.at == at(40)


def test_settings_as_left_count_only_if_something_changed(job, staff) -> None:
    by = staff[Role.MECHANIC]
    SuspensionSetting.objects.create(job=job, when="as_found", set_at=at(10), by=by, rear_preload="4")
    SuspensionSetting.objects.create(
        job=job, when="as_left", set_at=at(20), by=by, rear_preload="4", rear_pushed_mm=31
    )
    SuspensionSetting.objects.create(job=job, when="as_left", set_at=at(30), by=by, rear_preload="6")
    (change,) = changes(load_results(job).get(timeline))
    assert change.text == "suspension and settings as left: rear preload 6 (4 before)"


def record_change(client, job: Job, **data: str):
    values = {
        "kind": get_part_kind("gearing").pk,
        "description": "15/45 to 15/47",
        "at": "2026-05-04T09:30",
        "times_right": "on",
        **data,
    }
    return client.post(reverse("bike-change-add", args=[job]), values)


@pytest.mark.parametrize("role", [Role.MECHANIC, Role.TUNER])
def test_bike_change_is_recorded(login, job, role) -> None:
    client = login(role)
    assert record_change(client, job).status_code == 302
    page = client.get(reverse("timeline", args=[job])).content.decode()
    assert "Gearing: 15/45 to 15/47" in page
    assert "changes the bike" in page
    assert "15/45 to 15/47" in client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()


def test_bike_change_is_edited_and_removed(login, job) -> None:
    client = login(Role.MECHANIC)
    record_change(client, job)
    change = BikeChange.objects.get()
    edit = reverse("bike-change-edit", args=[change.pk])
    tyre = get_part_kind("tyre")
    client.post(
        edit,
        {
            "kind": tyre.pk,
            "description": "softer",
            "at": "2026-05-04T09:30",
            "times_right": "on",
            "version": 1,
        },
    )
    change.refresh_from_db()
    assert (change.kind, change.description) == (tyre, "softer")
    client.post(reverse("bike-change-remove", args=[change.pk]))
    assert not BikeChange.objects.exists()


def test_bike_change_without_text_is_rejected_and_input_preserved(login, job) -> None:
    response = record_change(login(Role.MECHANIC), job, description="", at="2026-05-04T09:30")
    assert response.status_code == 422
    assert 'value="2026-05-04T09:30"' in response.content.decode()


def test_repeated_submission_records_one_change(login, job) -> None:
    client = login(Role.MECHANIC)
    key = "7b7ad1f6-4f0f-4d5e-9b0a-0d4b4c3e2a11"
    record_change(client, job, form_key=key)
    record_change(client, job, form_key=key)
    assert BikeChange.objects.count() == 1


def test_timeline_needs_no_more_queries_for_more_events(login, job, staff) -> None:
    client = login(Role.TUNER)
    url = reverse("timeline", args=[job])
    run(job, staff, 6, load(job, staff, 1, 5))
    client.get(url)
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    for number in range(2, 8):
        run(job, staff, 10 * number, load(job, staff, number, 10 * number))
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(few) == len(many)


def test_timeline_requires_login_role_and_known_job(client, login, job) -> None:
    assert client.get(reverse("timeline", args=[job])).status_code == 302
    assert login(Role.DESK).get(reverse("timeline", args=[job])).status_code == 200
    assert login(Role.DESK).get(reverse("bike-change-add", args=[job])).status_code == 403
    assert login(Role.TUNER).get(reverse("timeline", args=["2026-999"])).status_code == 404
