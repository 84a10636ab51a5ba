"""A sheet has a limit of size, told on the page instead of minutes and a gigabyte of printing."""

import pytest
from django.urls import reverse

from jobs.models import Part
from reports.handover import size
from reports.models import HandoverSheet
from tests.factories import get_part_kind
from workshop.models import Role

SENTENCE = "one sheet holds up to 400. Most of them are parts: 401. Remove what is not needed"


@pytest.fixture
def large_job(short_job, monkeypatch):
    monkeypatch.setattr(size, "MAX_ROWS", 400)
    kind = get_part_kind("brakes")
    Part.objects.filter(job=short_job).delete()
    Part.objects.bulk_create(Part(job=short_job, kind=kind, name=f"Bolt {i}") for i in range(401))
    return short_job


def test_preview_of_too_large_job_says_so(login, large_job):
    answer = login(Role.TUNER).get(reverse("handover-preview", args=[large_job.number]), follow=True)
    assert answer.status_code == 200
    assert SENTENCE in answer.text


def test_too_large_sheet_is_not_issued(login, large_job):
    url = reverse("handover-issue", args=[large_job.number])
    answer = login(Role.OWNER).post(
        url, {"issue_number": "1", "override_reason": "all of it", "told": "Ines Quill"}
    )
    assert answer.status_code == 422
    assert SENTENCE in answer.text
    assert not HandoverSheet.objects.exists()


def test_too_long_texts_are_refused_with_where_they_are(login, short_job, monkeypatch) -> None:
    monkeypatch.setattr(size, "MAX_CHARACTERS", 5_000)
    Part.objects.create(job=short_job, name="Bolt", kind=get_part_kind("brakes"), note="word " * 1_200)
    answer = login(Role.TUNER).get(reverse("handover-preview", args=[short_job.number]), follow=True)
    assert "one sheet holds up to 5000. Most of them are in: parts. Shorten these texts." in answer.text
