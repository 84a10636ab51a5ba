"""A job with every kind of record, its snapshot and the sheet made of it."""

from datetime import UTC, datetime
from typing import Any

import pytest

from jobs.models import Job
from reports.handover.sheet import sheet_pdf
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import snapshot_sha256, to_json
from tests import factories
from tests.reports import whole_jobs
from workshop.models import Role, StaffMember

AT = datetime(2025, 3, 14, 15, tzinfo=UTC)


def stored_snapshot(job: Job, by: StaffMember, **given: Any) -> dict[str, Any]:
    made = make_snapshot(factories.results_of(job), issue_number=1, issued_by=by, at=AT, **given)
    return to_json(made)


@pytest.fixture
def whole_job(staff) -> Job:
    return whole_jobs.make_whole_job(staff)


@pytest.fixture
def snapshot(whole_job, staff) -> dict[str, Any]:
    """The snapshot of the whole job, as it is stored."""
    return stored_snapshot(whole_job, staff[Role.OWNER])


@pytest.fixture(scope="session")
def made() -> dict[str, bytes]:
    """Sheets by the hash of their snapshot, since many tests read the same one."""
    return {}


@pytest.fixture
def pdf(snapshot, made) -> bytes:
    key = snapshot_sha256(snapshot)
    if key not in made:
        made[key] = sheet_pdf(snapshot)
    return made[key]
