"""The job page is kept until something is written, and says what was written, however and by whom."""

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

from jobs.models import Job, Part, WorkItem
from tests.factories import make_job
from workshop.models import Customer, Role, ShopProfile
from workshop.written import written_mark

# As in the shop: nothing is kept within a transaction, and every other test is one.
pytestmark = pytest.mark.django_db(transaction=True)

# On PostgreSQL the tests of another process, in a database of its own, may write between two readings.
TRIES = 1 if connection.vendor == "sqlite" else 50
Read = Callable[[], str]


@pytest.fixture
def job(staff) -> Job:
    job = make_job()
    WorkItem.objects.create(job=job, description="Chain and sprockets", price="90.00")
    return job


@pytest.fixture
def read(job: Job, login: Callable[[Role], Client]) -> Read:
    client = login(Role.DESK)
    return lambda: client.get(job.get_absolute_url()).content.decode()


def here(work: Callable[[], Any]) -> None:
    work()


def elsewhere(work: Callable[[], Any]) -> None:
    """Do something as another process would, with a connection of its own."""

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


def execute(statement: str, *values: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


WRITTEN: dict[str, Callable[[str], Any]] = {
    "saved": save,
    "changed by a query": lambda text: WorkItem.objects.update(description=text),
    "made with others": lambda text: Part.objects.bulk_create([Part(job=Job.objects.get(), name=text)]),
    "written in SQL": lambda text: execute("UPDATE jobs_workitem SET description = %s", text),
}


@pytest.mark.parametrize("at", [here, elsewhere])
def test_what_is_written_is_on_the_page_at_once_and_what_is_deleted_gone(read: Read, at: Any) -> None:
    for text, write in WRITTEN.items():
        assert text not in read()
        assert text not in read()
        at(partial(write, text))
        assert text in read()
    at(WorkItem.objects.all().delete)
    assert "written in SQL" not in read()


def test_what_the_job_only_refers_to_is_read_anew_too(read: Read) -> None:
    assert '<span class="unit">EUR</span>' in read()
    ShopProfile.objects.update(currency="SEK")
    Customer.objects.update(name="Tamsin Orrery")
    page = read()
    assert '<span class="unit">SEK</span>' in page
    assert "Tamsin Orrery" in page


def test_as_long_as_nothing_is_written_no_record_of_the_job_is_asked_for(read: Read) -> None:
    first = read()
    for _ in range(TRIES):
        with CaptureQueriesContext(connection) as asked:
            again = read()
        of_the_job = [query["sql"] for query in asked if "jobs_" in query["sql"]]
        if not of_the_job:
            break
    assert not of_the_job
    token = re.compile(r'(csrf[a-z-]*"|form_key") (content|value)="[^"]+"')
    assert token.sub("", again) == token.sub("", first)


def test_a_kept_page_has_a_key_of_its_own_for_every_form(read: Read) -> None:
    keys = [re.findall(r'name="form_key" value="([^"]+)"', read()) for _ in range(2)]
    assert keys[0]
    assert keys[0] != keys[1]


def test_everybody_is_shown_what_their_roles_let_them_do(job: Job, login: Callable[[Role], Client]) -> None:
    def offered(role: Role) -> bool:
        return "New mixture study" in login(role).get(job.get_absolute_url()).content.decode()

    for _ in range(2):
        assert offered(Role.TUNER)
        assert not offered(Role.DESK)
        assert offered(Role.OWNER)


def test_a_promise_that_passes_makes_the_job_late_though_nothing_is_written(
    job: Job, read: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    promised = timezone.now() + timedelta(hours=1)
    Job.objects.update(stage="bench", promised_at=promised)
    assert "mark-late" not in read()
    monkeypatch.setattr("django.utils.timezone.now", lambda: promised + timedelta(minutes=1))
    assert "mark-late" in read()


def test_what_is_undone_is_not_kept(read: Read) -> None:
    read()
    with transaction.atomic():
        WorkItem.objects.update(description="Quern Hollow")
        assert "Quern Hollow" in read()
        transaction.set_rollback(True)
    assert "Quern Hollow" not in read()


def test_an_unknown_number_stays_unknown_until_there_is_such_a_job(
    job: Job, login: Callable[[Role], Client]
) -> None:
    client = login(Role.DESK)
    address = job.get_absolute_url().replace(job.number, "2031-0001")
    assert [client.get(address).status_code for _ in range(2)] == [404, 404]
    Job.objects.update(number="2031-0001")
    assert client.get(address).status_code == 200


def test_the_mark_changes_with_every_writing_and_not_with_reading(job: Job) -> None:
    marks = [written_mark()]
    for brief, at in enumerate((here, elsewhere, here, elsewhere)):
        at(partial(Job.objects.update, brief=str(brief)))
        marks.append(written_mark())
    assert len(set(marks)) == len(marks)

    def read_between() -> bool:
        before = written_mark()
        Job.objects.get()
        elsewhere(Job.objects.get)
        return written_mark() == before

    assert any(read_between() for _ in range(TRIES))


def test_within_a_transaction_there_is_no_mark() -> None:
    with transaction.atomic():
        assert written_mark() is None
    assert written_mark() is not None


def test_a_new_connection_never_has_the_mark_of_one_that_was_closed(job: Job) -> None:
    before = written_mark()
    elsewhere(lambda: Job.objects.update(brief="meanwhile"))
    connection.close()
    assert written_mark() != before
