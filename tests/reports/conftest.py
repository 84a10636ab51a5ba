"""A job with every kind of record, its snapshot and the sheet made of it."""

from datetime import UTC, datetime
from typing import Any

import pytest

from jobs.models import Job
from reports.sheet import sheet_pdf
from reports.snapshot import make_snapshot
from tests.reports import whole_jobs
from workshop.models import Role

AT = datetime(2025, 3, 14, 15, tzinfo=UTC)


@pytest.fixture
def whole_job(staff) -> Job:
    return whole_jobs.make_whole_job(staff)


@pytest.fixture
def snapshot(whole_job, staff) -> dict[str, Any]:
    return make_snapshot(whole_job, issue_number=1, issued_by=staff[Role.OWNER], at=AT)


@pytest.fixture
def pdf(snapshot) -> bytes:
    return sheet_pdf(snapshot)
