"""The job page: every section in the printed order, in a fixed number of queries."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import ClearanceSet, Job, Run, TuneRevision
from tests.factories import make_bike, make_clearance_set, make_job
from workshop.models import Bike, Role

pytestmark = pytest.mark.django_db


def make_run(job: Job, by, name: str) -> Run:
    return Run.objects.create(
        job=job,
        original="runs/a.csv",
        original_name=name,
        sha256=name,
        size=10,
        status=Run.Status.READ,
        channels="channels/a.npz",
        channel_names=["engine_speed_rpm", "torque_nm"],
        samples=600,
        made_by=by,
    )


def make_full_job(staff) -> Job:
    job = make_job()
    TuneRevision.objects.create(job=job, number=0, loaded_by=staff[Role.DESK])
    for index in range(12):
        make_run(job, staff[Role.TUNER], f"run {index}")
    for _ in range(2):
        make_clearance_set(job, staff[Role.MECHANIC])
        make_clearance_set(job, staff[Role.MECHANIC], when=ClearanceSet.When.AS_LEFT)
    return job


def test_shows_all_sections_in_the_printed_order_with_their_states(login, staff) -> None:
    job = make_full_job(staff)
    page = login(Role.MECHANIC).get(reverse("job", args=[job])).content.decode()
    keys = [
        "brief",
        "clearances",
        "parts",
        "tunes",
        "runs",
        "comparisons",
        "mixture",
        "throttle",
        "suspension",
        "checks",
    ]
    places = [page.index(f'<section id="{key}"') for key in keys]
    assert places == sorted(places)
    assert all(f'href="#{key}"' in page for key in keys)
    assert f"Job {job.number}" in page
    assert "Ines Quill" in page
    assert page.count('class="state state-') >= 2 * len(keys)


def test_asks_the_same_few_queries_however_many_jobs_there_are(login, staff) -> None:
    job = make_full_job(staff)
    client = login(Role.TUNER)
    url = reverse("job", args=[job])
    client.get(url)
    with CaptureQueriesContext(
        connection,
    ) as alone:
        client.get(url)
    bike = Bike.objects.get(pk=job.bike_id)
    for index in range(50):
        make_job(bike=make_bike(owner=bike.owner, plate=f"DEMO {index + 30}"))
    with CaptureQueriesContext(connection) as among_others:
        client.get(url)
    assert len(alone) <= 15
    assert len(among_others) == len(alone)


def test_unknown_number_is_not_found(login) -> None:
    assert login(Role.DESK).get(reverse("job", args=["2026-999"])).status_code == 404


def test_signed_out_is_sent_to_log_in(client, staff) -> None:
    url = reverse("job", args=[make_job()])
    answer = client.get(url)
    assert answer.status_code == 302
    assert answer.headers["Location"] == f"{reverse('login')}?next={url}"


def test_desk_sees_the_receipt_button_and_the_mechanic_does_not(login) -> None:
    job = make_job()
    url, receive = reverse("job", args=[job]), reverse("job-receive", args=[job])
    assert receive in login(Role.DESK).get(url).content.decode()
    assert receive not in login(Role.MECHANIC).get(url).content.decode()
