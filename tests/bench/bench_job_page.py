"""The job page with 12 runs and 4 clearance sets: database queries and time.

Times are ratios to an empty page of the site: the first request after a record of the job was saved (in
turn agreed work, a tick, a run, a clearance), a repeated request, and for information the very first one.
"""

# ruff: noqa: E402  (Django has to be set up before its models can be imported)

import os
import sys
import time
from collections.abc import Callable, Iterator
from itertools import cycle

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.core.cache import caches
from django.db import connection
from django.http import HttpResponse
from django.shortcuts import render
from django.test import Client, override_settings
from django.test.utils import (
    CaptureQueriesContext,
    setup_databases,
    setup_test_environment,
    teardown_databases,
    teardown_test_environment,
)
from django.urls import path

from jobs.job.registry import all_rows
from jobs.models import Check, CheckItem, ClearanceReading, Job, Run, WorkItem
from tests import factories
from workshop.access.roles import StaffRequest, staff
from workshop.models import Role, ShopProfile, StaffMember
from workshop.urls import urlpatterns as of_the_site

MAX_QUERIES = 6 + len(all_rows())  # at most one per kind of record, and six of every page
MAX_FIRST = 3.0
MAX_AGAIN = 2.5
ROUNDS = 120
WARM = 20


@staff
def empty(request: StaffRequest) -> HttpResponse:
    return render(request, "base.html")


urlpatterns = [path("empty/", empty), *of_the_site]


def make_job() -> Job:
    mechanic = factories.make_staff(Role.MECHANIC)
    job = factories.make_job()
    for _ in range(4):
        factories.make_clearance_set(job, mechanic)
    for number in range(12):
        Run.objects.create(
            job=job,
            made_by=mechanic,
            original="none",
            original_name=f"run {number}.csv",
            sha256=f"{number:064d}",
            size=1,
        )
    return job


def writers(job: Job) -> Iterator[Callable[[], None]]:
    """Yield functions that save a record of the job, of all kinds in turn, endlessly."""
    work = WorkItem.objects.create(job=job, description="Chain and sprockets")
    mechanic = StaffMember.objects.first()
    item = CheckItem.objects.first()
    run, reading = Run.objects.first(), ClearanceReading.objects.first()
    tick = Check.objects.create(job=job, item=item, by=mechanic)
    return cycle(record.save for record in (work, tick, run, reading))


def p95_by_empty(client: Client, job: Job) -> tuple[float, float, float]:
    """Return the 95th percentile of processor time as a multiple of the empty page's.

    For the first request ever, the first request after a write, and a repeated request.
    """
    address, write = job.get_absolute_url(), writers(job)
    taken: dict[str, list[float]] = {"nothing": [], "never": [], "first": [], "again": []}
    for _ in range(ROUNDS):
        for which, times in taken.items():
            if which == "never":
                caches["sections"].clear()
            elif which == "first":
                next(write)()
            before = time.process_time()
            assert client.get("/empty/" if which == "nothing" else address).status_code == 200
            times.append(time.process_time() - before)
    nothing, never, first, again = (
        sorted(times[WARM:])[int(0.95 * (ROUNDS - WARM))] for times in taken.values()
    )
    return never / nothing, first / nothing, again / nothing


def main() -> int:
    setup_test_environment()
    made = setup_databases(verbosity=0, interactive=False)
    try:
        ShopProfile.current()
        job = make_job()
        page = job.get_absolute_url()
        client = Client()
        client.force_login(factories.make_staff(Role.DESK), backend="workshop.people.backend.StaffBackend")
        caches["sections"].clear()
        with CaptureQueriesContext(connection) as asked:
            client.get(page)
        queries = len(asked)
        # As in production: the test client's recording of templates would be timed too.
        teardown_test_environment()
        with override_settings(ROOT_URLCONF=__name__, ALLOWED_HOSTS=["testserver"]):
            never, first, again = p95_by_empty(client, job)
    finally:
        teardown_databases(made, verbosity=0)
    work = "job page, 12 runs and 4 clearance sets"
    sys.stdout.write(f"{work + ': queries':<72}{queries:>12}{MAX_QUERIES:>12}\n")
    sys.stdout.write(f"{work + ': p95, never rendered':<72}{never:>12.2f}{'for information':>18}\n")
    sys.stdout.write(f"{work + ': p95, first reading after a write':<72}{first:>12.2f}{MAX_FIRST:>12.2f}\n")
    sys.stdout.write(f"{work + ': p95, read again':<72}{again:>12.2f}{MAX_AGAIN:>12.2f}\n")
    return int(queries > MAX_QUERIES or first > MAX_FIRST or again > MAX_AGAIN)


if __name__ == "__main__":
    sys.exit(main())
