"""Today's page and the list of jobs."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.models import Job
from tests.factories import make_bike, make_customer, make_job
from tests.html import read_html
from workshop.models import Role

pytestmark = pytest.mark.django_db


def today(client) -> str:
    return client.get(reverse("today")).content.decode()


def test_jobs_are_grouped_by_stage(login) -> None:
    bike = make_bike()
    booked, bench, ready = (make_job(bike=bike, stage=stage) for stage in ("booked", "bench", "ready"))
    waiting = make_job(bike=bike, stage="waiting", waiting_for="parts")
    done = make_job(bike=bike, stage="handed_over")
    page = today(login(Role.MECHANIC))
    for job in (booked, bench, ready, waiting):
        assert job.number in read_html(page, job.stage)
    assert "waits for parts" in read_html(page, "waiting")
    assert done.number not in page


def test_overdue_jobs_come_first(login) -> None:
    bike = make_bike()
    now = timezone.now()
    late = make_job(bike=bike, stage="bench", promised_at=now - timedelta(hours=1))
    early = make_job(bike=bike, stage="bench", promised_at=now + timedelta(hours=1))
    handed_over = make_job(bike=bike, stage="handed_over", promised_at=now - timedelta(days=3))
    page = today(login(Role.DESK))
    assert late.number in read_html(page, "late")
    assert early.number not in read_html(page, "late")
    assert handed_over.number not in page
    assert page.index('id="late"') < page.index('id="booked"')


def test_most_urgent_job_comes_first(login) -> None:
    bike = make_bike()
    now = timezone.now()
    later, sooner = (
        make_job(bike=bike, stage="bench", promised_at=now + timedelta(days=days)) for days in (5, 2)
    )
    never = make_job(bike=bike, stage="bench")
    bench = read_html(today(login(Role.DESK)), "bench")
    assert bench.index(sooner.number) < bench.index(later.number) < bench.index(never.number)


def test_today_of_empty_shop_shows_the_next_step(login) -> None:
    assert reverse("job-book") in read_empty_note(today(login(Role.DESK)))
    assert "The service desk books the next one." in read_empty_note(today(login(Role.TUNER)))


def read_empty_note(page: str) -> str:
    return page[page.index('<div class="empty">') :]


def test_empty_stage_shows_a_note(login) -> None:
    make_job()
    assert "Nothing is on the bench." in read_html(today(login(Role.MECHANIC)), "bench")


def test_today_needs_few_queries_for_any_number_of_jobs(login) -> None:
    bike = make_bike()
    make_job(bike=bike, stage="bench")
    client = login(Role.DESK)
    today(client)
    with CaptureQueriesContext(connection) as few:
        today(client)
    for _ in range(30):
        make_job(bike=bike, stage="bench")
    with CaptureQueriesContext(connection) as many:
        page = today(client)
    assert len(many) == len(few) <= 12
    assert "6 more" in read_html(page, "bench")


def test_today_requires_login(client, staff) -> None:
    assert client.get(reverse("today")).status_code == 302
    assert client.get(reverse("job-list")).status_code == 302


def get_job_list(client, **query: str) -> str:
    return client.get(reverse("job-list"), query).content.decode()


def test_job_list_is_filtered_by_stage(login) -> None:
    bike = make_bike()
    bench, done = (make_job(bike=bike, stage=stage) for stage in ("bench", "handed_over"))
    client = login(Role.TUNER)
    assert {bench.number, done.number} <= set(get_job_list(client).replace("<", ">").split(">"))
    assert done.number not in get_job_list(client, stage="open")
    assert bench.number not in get_job_list(client, stage="handed_over")
    assert "No job fits." in get_job_list(client, stage="late")


@pytest.mark.parametrize("words", ["DEMO 44", "demo44", "quill", "tern quill", "cold start", "QUILL DEMO"])
def test_job_list_is_searched(login, words) -> None:
    job = make_job(bike=make_bike(plate="DEMO 44"), brief="Won't idle after a cold start")
    other = make_job(
        bike=make_bike(plate="X 1", make="Ostler", owner=make_customer(name="Orla Venn")), brief="Tyres"
    )
    page = get_job_list(login(Role.DESK), q=words)
    assert job.number in page
    assert other.number not in page


def test_invalid_query_is_ignored(login) -> None:
    client = login(Role.DESK)
    make_job()
    for query in ({"page": "many"}, {"stage": "lost"}, {"q": "%_'\""}, {"q": "x" * 5000}):
        assert client.get(reverse("job-list"), query).status_code == 200


def test_job_list_is_paged_with_few_queries(login) -> None:
    bike = make_bike()
    for _ in range(60):
        make_job(bike=bike)
    client = login(Role.DESK)
    get_job_list(client)
    with CaptureQueriesContext(connection) as queries:
        page = get_job_list(client)
    assert len(queries) <= 6
    assert "Page 1 of 2" in page
    assert Job.objects.order_by("sequence").first().number in get_job_list(client, page="2")
