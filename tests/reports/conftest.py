"""A job with every kind of record, its snapshot and the sheet made of it."""

from datetime import UTC, datetime
from typing import Any

import pytest

from jobs.models import Job
from reports.handover.sheet import sheet_pdf
from reports.handover.snapshot import make_snapshot, snapshot_sha256
from tests import factories
from tests.reports import whole_jobs
from workshop.models import Role

AT = datetime(2025, 3, 14, 15, tzinfo=UTC)


@pytest.fixture
def whole_job(staff) -> Job:
    return whole_jobs.make_whole_job(staff)


@pytest.fixture
def snapshot(whole_job, staff) -> dict[str, Any]:
    return make_snapshot(factories.results_of(whole_job), issue_number=1, issued_by=staff[Role.OWNER], at=AT)


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
