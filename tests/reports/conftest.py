"""A job with every kind of record, its snapshot and the sheet made of it; and a short job."""

import copy
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction
from django.test import override_settings

from jobs.models import Job
from reports.handover.sheet import sheet_pdf
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import snapshot_sha256, to_json
from tests import factories
from tests.reports import whole_jobs
from workshop.models import Role, StaffMember

AT = datetime(2025, 3, 14, 15, tzinfo=UTC)
Snapshot = dict[str, Any]


def stored_snapshot(job: Job, by: StaffMember, **given: Any) -> Snapshot:
    made = make_snapshot(factories.load_results(job), issue_number=1, issued_by=by, at=AT, **given)
    return to_json(made)


@pytest.fixture
def whole_job(staff) -> Job:
    return whole_jobs.make_whole_job(staff)


@pytest.fixture
def short_job(staff) -> Job:
    return whole_jobs.make_short_job(staff)


@pytest.fixture(scope="session")
def whole_snapshot(django_db_setup, django_db_blocker, tmp_path_factory) -> Snapshot:
    """Make the snapshot of the whole job once, in a transaction that is rolled back."""
    files = override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("whole_job"))
    with django_db_blocker.unblock(), files, transaction.atomic():
        staff = {role: factories.make_staff(role) for role in Role}
        job = whole_jobs.make_whole_job(staff)
        snapshot = stored_snapshot(job, staff[Role.OWNER])
        transaction.set_rollback(True)
    return snapshot


@pytest.fixture
def snapshot(whole_snapshot) -> Snapshot:
    """Return the test's own copy, which needs no database."""
    return copy.deepcopy(whole_snapshot)


def without_evidence(snapshot: Snapshot) -> Snapshot:
    """Return the snapshot without most of what follows the first page, which takes long to print."""
    return {**snapshot, "runs": [], "mixture": [], "throttle": None, "clearances": None, "checks": []}


@pytest.fixture(scope="session")
def print_once() -> Callable[[Snapshot], bytes]:
    """Print each distinct snapshot once, since many tests read the same sheet."""
    pdfs: dict[str, bytes] = {}

    def print_sheet(snapshot: Snapshot) -> bytes:
        key = snapshot_sha256(snapshot)
        if key not in pdfs:
            pdfs[key] = sheet_pdf(snapshot)
        return pdfs[key]

    return print_sheet


@pytest.fixture
def pdf(whole_snapshot, print_once) -> bytes:
    return print_once(whole_snapshot)
