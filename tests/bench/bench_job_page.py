"""How often the job page with 12 runs and 4 clearance sets asks the database."""

# ruff: noqa: E402  (Django has to be set up before its models can be imported)

import os
import sys

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.db import connection
from django.test import Client
from django.test.utils import (
    CaptureQueriesContext,
    setup_databases,
    setup_test_environment,
    teardown_databases,
)

from jobs.models import Job, Run
from tests import factories
from workshop.models import Role, ShopProfile

MOST_QUERIES = 15


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
    finally:
        teardown_databases(made, verbosity=0)
    work = "job page, 12 runs and 4 clearance sets: queries"
    sys.stdout.write(f"{work:<72}{len(asked):>12}{MOST_QUERIES:>12}\n")
    return int(len(asked) > MOST_QUERIES)


if __name__ == "__main__":
    sys.exit(main())
