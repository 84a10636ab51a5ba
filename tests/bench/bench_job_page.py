"""The job page with 12 runs and 4 clearance sets: how often it asks the database, and how long it takes.

Against a page of the site with nothing on it.
"""

# ruff: noqa: E402  (Django has to be set up before its models can be imported)

import os
import sys
import time

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

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

from jobs.models import Job, Run
from tests import factories
from workshop.models import Role, ShopProfile
from workshop.roles import StaffRequest, staff
from workshop.urls import urlpatterns as of_the_site

MOST_QUERIES = 15
MOST_TIMES = 3.0
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


def p95_by_empty(client: Client, address: str) -> float:
    """Processor's time within which 95 of 100 askings are answered, by the empty page's; by turns."""
    taken: dict[str, list[float]] = {address: [], "/empty/": []}
    for _ in range(ROUNDS):
        for asked, times in taken.items():
            before = time.process_time()
            assert client.get(asked).status_code == 200
            times.append(time.process_time() - before)
    page, nothing = (sorted(times[WARM:])[int(0.95 * (ROUNDS - WARM))] for times in taken.values())
    return page / nothing


def main() -> int:
    setup_test_environment()
    made = setup_databases(verbosity=0, interactive=False)
    try:
        ShopProfile.current()
        page = make_job().get_absolute_url()
        client = Client()
        client.force_login(
            factories.make_staff(Role.DESK), backend="django.contrib.auth.backends.ModelBackend"
        )
        assert client.get(page).status_code == 200
        with CaptureQueriesContext(connection) as asked:
            client.get(page)
        queries = len(asked)
        # As a shop runs it: what the tests note of each template would be timed with it.
        teardown_test_environment()
        with override_settings(ROOT_URLCONF=__name__, ALLOWED_HOSTS=["testserver"]):
            times = p95_by_empty(client, page)
    finally:
        teardown_databases(made, verbosity=0)
    work = "job page, 12 runs and 4 clearance sets"
    sys.stdout.write(f"{work + ': queries':<72}{queries:>12}{MOST_QUERIES:>12}\n")
    sys.stdout.write(f"{work + ': p95 by an empty page':<72}{times:>12.2f}{MOST_TIMES:>12.2f}\n")
    return int(queries > MOST_QUERIES or times > MOST_TIMES)


if __name__ == "__main__":
    sys.exit(main())
