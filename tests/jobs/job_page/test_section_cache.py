"""A section of the job page is rendered again if anyone has changed its rows."""

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from typing import Any

import pytest
from django.db import connection, connections, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs.models import Job, Part, SuspensionSetting, TuneRevision, WorkItem
from tests.factories import make_channel_run, make_clearance_set, make_job
from tests.html import read_values
from workshop.models import Role, ShopProfile

# As in production: sections are not stored inside a transaction, and other tests run in one.
pytestmark = pytest.mark.django_db(transaction=True)

Read = Callable[[], str]


@pytest.fixture
def job(staff) -> Job:
    job = make_job()
    WorkItem.objects.create(job=job, description="Chain and sprockets", price="90.00")
    return job


@pytest.fixture
def read(job: Job, login: Callable[[Role], Client]) -> Read:
    client = login(Role.DESK)
    return lambda: client.get(job.get_absolute_url(), {"open": "all"}).content.decode()


def in_this_process(work: Callable[[], Any]) -> None:
    work()


def in_another_process(work: Callable[[], Any]) -> None:
    """Run work on its own database connection, like another process."""

    def run() -> None:
        try:
            work()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as pool:
        pool.submit(run).result()


def save(text: str) -> None:
    item = WorkItem.objects.get()
    item.description = text
    item.save()


WRITTEN: dict[str, Callable[[str], Any]] = {
    "Chain saved": save,
    "Mirror made": lambda text: Part.objects.create(job=Job.objects.get(), name=text),
    "Bracket made with others": lambda text: Part.objects.bulk_create(
        [Part(job=Job.objects.get(), name=text)]
    ),
}


@pytest.mark.parametrize("at", [in_this_process, in_another_process])
def test_page_shows_new_and_hides_deleted_records_at_once(read: Read, at: Any) -> None:
    for text, write in WRITTEN.items():
        assert text not in read()
        assert text not in read()
        at(partial(write, text))
        assert text in read()
    at(Part.objects.get(name="Mirror made").delete)
    page = read()
    assert "Bracket made with others" in page
    assert "Mirror made" not in page
    at(WorkItem.objects.all().delete)
    assert "Chain saved" not in read()


def test_replaced_row_updates_the_page(read: Read, job: Job) -> None:
    Part.objects.create(job=job, name="Silencer")
    assert "Silencer" in read()
    Part.objects.get().delete()
    Part.objects.create(job=job, name="Air filter")
    page = read()
    assert "Air filter" in page
    assert "Silencer" not in page


def test_changes_to_shop_customer_and_staff_update_the_page(read: Read, job: Job, staff) -> None:
    TuneRevision.objects.create(job=job, number=0, loaded_by=staff[Role.TUNER], title="road")
    page = read()
    assert '<span class="unit">EUR</span>' in page
    assert "Toni Tuner" in page
    shop, customer, tuner = ShopProfile.current(), job.customer, staff[Role.TUNER]
    shop.currency, customer.name, tuner.last_name = "SEK", "Tamsin Orrery", "Quern"
    for record in (shop, customer, tuner):
        record.save()
    page = read()
    assert '<span class="unit">SEK</span>' in page
    assert "Tamsin Orrery" in page
    assert "Toni Quern" in page


def test_changes_to_other_jobs_of_the_bike_update_the_page(read: Read, job: Job) -> None:
    earlier = make_job(bike=job.bike)
    part = Part.objects.create(job=earlier, name="Open exhaust", race_only=True)
    assert "Open exhaust, listed, not marked as fitted" in read()
    part.fitted_at = timezone.now()
    part.save()
    assert f"Open exhaust, from job {earlier.number}" in read()
    part.fitted_at = None
    part.save()
    earlier.stage = "cancelled"
    earlier.save()
    assert "Open exhaust" not in read()


def test_change_to_one_record_renders_only_its_sections(read: Read, job: Job, staff) -> None:
    SuspensionSetting.objects.create(job=job, when="as_found", front_preload="4 turns", by=staff[Role.TUNER])
    read()
    save("Valves")
    with CaptureQueriesContext(connection) as queries:
        page = read()
    assert "Valves" in page
    assert "4 turns" in page
    rows = [query["sql"] for query in queries if re.match(r'SELECT "jobs_\w+"', query["sql"])]
    assert any("jobs_workitem" in sql for sql in rows)
    assert not any("jobs_suspensionsetting" in sql for sql in rows)


def test_unchanged_page_reads_no_records_of_its_sections(read: Read) -> None:
    first = read()
    with CaptureQueriesContext(connection) as queries:
        again = read()
    rows = [
        query["sql"]
        for query in queries
        if re.match(r'SELECT "jobs_(workitem|part|checkitem)"', query["sql"])
    ]
    assert rows == []
    token = re.compile(r'(csrf[a-z-]*"|form_key") (content|value)="[^"]+"')
    assert token.sub("", again) == token.sub("", first)


def test_cached_page_has_a_new_key_for_each_form(read: Read) -> None:
    keys = [read_values(read(), "form_key") for _ in range(2)]
    assert keys[0]
    assert keys[0] != keys[1]


def test_cached_page_shows_actions_by_role(job: Job, login: Callable[[Role], Client]) -> None:
    def offered(role: Role) -> bool:
        return (
            "New mixture study" in login(role).get(job.get_absolute_url(), {"open": "all"}).content.decode()
        )

    for _ in range(2):
        assert offered(Role.TUNER)
        assert not offered(Role.DESK)
        assert offered(Role.OWNER)


def test_job_becomes_overdue_without_any_change(
    job: Job, read: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    promised = timezone.now() + timedelta(hours=1)
    Job.objects.update(stage="bench", promised_at=promised)
    assert "mark-late" not in read()
    monkeypatch.setattr("django.utils.timezone.now", lambda: promised + timedelta(minutes=1))
    assert "mark-late" in read()


def test_rolled_back_change_is_never_shown(read: Read) -> None:
    read()
    with transaction.atomic():
        save("Quern Hollow")
        assert "Quern Hollow" in read()
        transaction.set_rollback(True)
    save("Chain only")
    page = read()
    assert "Chain only" in page
    assert "Quern Hollow" not in page


def test_unknown_number_is_not_cached(job: Job, login: Callable[[Role], Client]) -> None:
    client = login(Role.DESK)
    address = job.get_absolute_url().replace(job.number, "2031-0001")
    assert [client.get(address).status_code for _ in range(2)] == [404, 404]
    Job.objects.update(number="2031-0001")
    assert client.get(address).status_code == 200


def test_run_at_another_time_renders_the_clearances_again(read: Read, job: Job, staff) -> None:
    """A run earlier on the day of the measurement is said at the clearances; its note is not."""
    measured = make_clearance_set(job, staff[Role.MECHANIC])
    run = make_channel_run(job, staff[Role.TUNER], "a.csv", {"engine_speed_rpm": [3000.0]})
    ran = "The engine ran that day"
    run.made_at = measured.measured_at + timedelta(hours=1)
    run.save()
    assert ran not in read()
    run.made_at = measured.measured_at - timedelta(minutes=1)
    run.save()
    assert ran in read()
