"""The handover page: state, preview, issue, the PDF, by role."""

import pytest
from django.urls import reverse

from jobs.job.registry import all_rows
from jobs.models import Part
from reports.handover.issuing import issue_sheet
from reports.models import HandoverSheet
from tests import factories
from workshop.models import Role
from workshop.people.names import NAME_NEEDED

TOLD = "Ines Quill"


@pytest.fixture
def issued(short_job, staff) -> HandoverSheet:
    return issue_sheet(job=short_job, by=staff[Role.DESK], informed_person=TOLD)


@pytest.fixture
def small_job(staff):
    """Make a job of a bike that has not arrived, so that its sheet is blocked."""
    return factories.make_job()


def body(answer) -> bytes:
    return b"".join(answer.streaming_content)


def test_handover_page_requires_staff(client, login, small_job):
    url = reverse("handover", args=[small_job.number])
    assert client.get(url).status_code == 302
    for role in Role:
        assert login(role).get(url).status_code == 200


def test_unknown_job_is_not_found(login):
    for name in ("handover", "handover-preview"):
        assert login(Role.DESK).get(reverse(name, args=["1999-001"])).status_code == 404


def test_blockers_are_listed_with_links(login, small_job):
    page = login(Role.DESK).get(reverse("handover", args=[small_job.number])).content.decode()
    assert "The bike is not checked in yet." in page
    assert f'href="{reverse("job", args=[small_job.number])}?open=brief#brief"' in page
    assert "None issued yet." in page


def test_job_page_shows_state_of_handover(login, small_job):
    page = login(Role.DESK).get(reverse("job", args=[small_job.number]), {"open": "all"}).content.decode()
    assert 'id="handover"' in page
    assert reverse("handover", args=[small_job.number]) in page


def test_issue_form_issues_sheet_with_link(login, short_job):
    client = login(Role.DESK)
    url = reverse("handover-issue", args=[short_job.number])
    answer = client.post(url, {"issue_number": 1, "told": TOLD, "with_link": "on"}, follow=True)
    sheet = HandoverSheet.objects.get()
    assert answer.redirect_chain == [(reverse("handover", args=[short_job.number]), 302)]
    page = answer.content.decode()
    assert f"Handover sheet {short_job.number}/1 is issued." in page
    assert sheet.sha256 in page
    pdf = client.get(reverse("sheet-pdf", args=[sheet.pk]))
    assert body(pdf).startswith(b"%PDF")
    assert f"handover-{short_job.number}-1.pdf" in pdf.headers["Content-Disposition"]


def test_form_submitted_twice_issues_one_sheet(login, short_job):
    client = login(Role.DESK)
    url = reverse("handover-issue", args=[short_job.number])
    for _ in range(2):
        assert client.post(url, {"issue_number": 1, "told": TOLD}).status_code == 302
    assert HandoverSheet.objects.count() == 1


def test_blocked_issue_shows_form_again(login, short_job):
    answer = login(Role.TUNER).post(reverse("handover-issue", args=[short_job.number]), {"issue_number": 1})
    assert answer.status_code == 422
    assert "The sheet was not issued." in answer.content.decode()
    assert not HandoverSheet.objects.exists()


def test_told_needs_the_name_of_a_person(login, short_job):
    answer = login(Role.DESK).post(
        reverse("handover-issue", args=[short_job.number]), {"issue_number": 1, "told": "x"}
    )
    assert answer.status_code == 422
    assert str(NAME_NEEDED) in answer.text
    assert 'value="x"' in answer.text
    assert not HandoverSheet.objects.exists()


def test_override_form_requires_owner(login, small_job):
    url = reverse("handover-issue", args=[small_job.number])
    data = {"issue_number": 1, "override_reason": "The bike was worked on at the track."}
    answer = login(Role.DESK).post(url, data)
    assert answer.status_code == 422
    assert login(Role.OWNER).post(url, data).status_code == 302
    assert HandoverSheet.objects.get().override_reason == "The bike was worked on at the track."


@pytest.mark.parametrize("role", [Role.MECHANIC])
def test_issuing_is_refused_for_other_roles(login, small_job, role):
    client = login(role)
    assert client.post(reverse("handover-issue", args=[small_job.number])).status_code == 403
    page = client.get(reverse("handover", args=[small_job.number])).content.decode()
    assert reverse("handover-issue", args=[small_job.number]) not in page


def test_issuing_requires_post_and_log_in(client, login, small_job):
    url = reverse("handover-issue", args=[small_job.number])
    assert login(Role.DESK).get(url).status_code == 405
    assert client.post(url).status_code == 302
    assert not HandoverSheet.objects.exists()


def test_pdf_requires_staff(client, login, issued):
    url = reverse("sheet-pdf", args=[issued.pk])
    assert client.get(url).status_code == 302
    assert login(Role.MECHANIC).get(url).status_code == 200
    assert login(Role.MECHANIC).get(reverse("sheet-pdf", args=[issued.pk + 1])).status_code == 404


def test_query_count_is_same_for_one_and_three_sheets(
    blank_pages, login, whole_job, staff, django_assert_max_num_queries
):
    client = login(Role.DESK)
    url = reverse("handover", args=[whole_job.number])
    issue_sheet(job=whole_job, by=staff[Role.DESK], informed_person=TOLD)
    client.get(url)
    Part.objects.create(job=whole_job, name="Chain")
    for _ in range(2):
        issue_sheet(job=whole_job, by=staff[Role.DESK], informed_person=TOLD)
    # Every kind of record is read once, to compare it with the last sheet; the dyno's verification twice, for
    # the uncertainty of a power and for what was measured with, and the name of the dyno once for the latter.
    with django_assert_max_num_queries(24 + len(all_rows())):
        page = client.get(url).content.decode()
    assert page.count("SHA-256") == 3
