"""Handing a bike over: what is open before it leaves, who may override it, and where that is told."""

import pytest
from django.urls import reverse

from jobs.checklists.ticks import set_tick
from jobs.job.page import get_job
from jobs.models import CheckItem, Handover, Job, Part, WorkItem
from reports.customer.links import make_link
from reports.documents.bike_history import history_facts
from reports.documents.tune_summary import tune_summary_facts
from reports.handover.handing_over import handover_blockers
from reports.handover.issuing import issue_sheet
from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet
from tests import factories
from tests.reports.reading import squeezed, whole_text
from workshop.models import Role

pytestmark = pytest.mark.usefixtures("blank_pages")

TOLD = "Ines Quill"
NOT_TOLD = "The customer was not told by the shop that the bike may no longer meet what public roads require."


def texts(job: Job, **options: str) -> list[str]:
    return [blocker.text for blocker in handover_blockers(factories.load_results(job), **options)]


def send(client, job: Job, **data: str):
    url = reverse("handover-complete", args=[job])
    return client.post(url, {"handed_to": "Bo Tarn", **data}, follow=True)


@pytest.fixture
def issued(short_job, staff) -> HandoverSheet:
    return issue_sheet(job=short_job, by=staff[Role.DESK], informed_person=TOLD)


def test_bike_is_handed_over_with_its_sheet(login, issued, short_job) -> None:
    assert texts(short_job) == []
    client = login(Role.DESK)
    page = client.get(reverse("handover", args=[short_job])).text
    assert "Ready to hand over." in page
    assert 'name="informed_person"' not in page  # the sheet names who was told
    assert 'name="override_reason"' not in page
    answer = send(client, short_job)
    assert f"Bike of job {short_job} handed over to Bo Tarn." in answer.text
    handover = Handover.objects.get()
    assert (handover.informed, handover.informed_person) == ("told", TOLD)
    assert handover.open_points == []
    short_job.refresh_from_db()
    assert short_job.stage == "handed_over"
    assert "Hand over the bike</button>" not in answer.text
    assert "handed over" in client.get(short_job.get_absolute_url(), {"open": "all"}).text


def test_bike_does_not_leave_without_a_sheet(login, short_job) -> None:
    refused = send(login(Role.DESK), short_job, informed_person=TOLD)
    assert refused.status_code == 422
    assert "The bike was not handed over. No handover sheet is issued." in refused.text
    assert 'value="Bo Tarn"' in refused.text
    assert not Handover.objects.exists()
    assert get_job(short_job.number).stage == "ready"


def test_bike_does_not_leave_with_an_outdated_sheet(issued, short_job) -> None:
    Part.objects.create(job=short_job, name="Chain")
    assert texts(short_job) == [
        f"Sheet {short_job}/1 no longer says what is recorded. Changed since: parts, notices."
    ]


def test_bike_does_not_leave_with_a_sheet_that_is_not_printed(staff, short_job) -> None:
    HandoverSheet.objects.create(
        job=short_job,
        issue_number=1,
        snapshot={"notices": {"told": TOLD}},
        wording=issue_wording(),
        issued_by=staff[Role.DESK],
    )
    assert texts(short_job) == [f"Sheet {short_job}/1 is issued but not printed."]


def issue_wording():
    from reports.handover.notices import current_wording

    return current_wording()


def test_bike_does_not_leave_while_work_and_checks_are_open(issued, short_job) -> None:
    WorkItem.objects.create(job=short_job, description="Fit the silencer")
    short_job.checks.first().delete()
    found = " ".join(texts(short_job))
    assert "Agreed work is not ticked as done: Fit the silencer." in found
    assert "Checks before handover: 1 of 7 not ticked." in found


def test_customer_is_told_at_the_handover_at_the_latest(login, short_job, staff) -> None:
    issue_sheet(job=short_job, by=staff[Role.OWNER], override_reason="Customer called away")
    assert any("Not confirmed for this sheet: the customer was told" in text for text in texts(short_job))
    assert texts(short_job, informed_person=TOLD) == []
    client = login(Role.DESK)
    assert send(client, short_job, informed_person="x").status_code == 422
    assert send(client, short_job).status_code == 422
    send(client, short_job, informed_person=TOLD)
    assert (Handover.objects.get().informed, Handover.objects.get().informed_person) == ("told", TOLD)


def test_only_the_owner_overrides_open_points(login, short_job) -> None:
    for role in (Role.DESK, Role.TUNER):
        page = login(role).get(reverse("handover", args=[short_job])).text
        assert "Only the owner can hand over the bike despite open points" in page
        assert send(login(role), short_job, override_reason="in a hurry").status_code == 422
    owner = login(Role.OWNER)
    assert send(owner, short_job).status_code == 422
    assert not Handover.objects.exists()
    assert send(owner, short_job, override_reason="Race on Sunday").status_code == 200
    assert Handover.objects.exists()


@pytest.mark.parametrize("role", [Role.MECHANIC])
def test_handing_over_is_refused_for_other_roles(login, issued, short_job, role) -> None:
    assert send(login(role), short_job).status_code == 403
    assert not Handover.objects.exists()


def test_two_submissions_are_one_handover(login, issued, short_job) -> None:
    client, key = login(Role.DESK), "0b5c3b8e-1b7a-4f0e-9b43-5d8a9b6d2f11"
    for _ in range(2):
        assert send(client, short_job, form_key=key).status_code == 200
    again = send(client, short_job)
    assert f"Nothing was changed. Job {short_job} is already handed over." in again.text
    assert Handover.objects.count() == 1


@pytest.fixture
def overridden(short_job, staff, login) -> Job:
    """Hand a bike over by the owner's override: no sheet after a change, work not done, nobody told."""
    WorkItem.objects.create(job=short_job, description="Fit the silencer")
    issue_sheet(job=short_job, by=staff[Role.OWNER], override_reason="Paper first")
    Part.objects.create(job=short_job, name="Chain")
    send(login(Role.OWNER), short_job, override_reason="Race on Sunday")
    return get_job(short_job.number)


POINTS = (
    "Sheet {job}/1 no longer says what is recorded. Changed since: parts, notices.",
    "Agreed work is not ticked as done: Fit the silencer.",
    "Not confirmed for this sheet: the customer was told that the bike may no longer be road legal.",
)


def test_overridden_points_are_stored_by_name(overridden) -> None:
    handover = Handover.objects.get()
    assert handover.open_points == [point.format(job=overridden) for point in POINTS]
    assert (handover.informed, handover.override_reason) == ("not_told", "Race on Sunday")
    assert handover.history.get().open_points == handover.open_points


def test_overridden_points_are_on_job_page_handover_page_and_customer_page(
    overridden, login, client, staff
) -> None:
    sheet = HandoverSheet.objects.get()
    link = make_link(sheet=sheet, by=staff[Role.DESK])
    pages = [
        login(Role.MECHANIC).get(overridden.get_absolute_url(), {"open": "handover"}),
        login(Role.MECHANIC).get(reverse("handover", args=[overridden])),
        client.get(reverse("customer-sheet", args=[link.token])),
    ]
    for page in pages:
        assert [
            text
            for text in (*POINTS, "Race on Sunday", NOT_TOLD)
            if text.format(job=overridden) not in page.text
        ] == []
    assert "Handed over despite 3 open points" in pages[0].text


def test_overridden_points_are_printed_on_the_next_sheet(overridden, staff) -> None:
    later = issue_sheet(job=overridden, by=staff[Role.OWNER], override_reason="As it left")
    assert "handover" in later.snapshot["sheet"]["supersedes"]["changed"]
    printed = whole_text(sheet_pdf(later.snapshot))
    for text in (*POINTS, "Race on Sunday", NOT_TOLD, "handed over to Bo Tarn".removeprefix("handed over ")):
        assert squeezed(text.format(job=overridden)) in printed


def test_documents_that_tell_the_handover_tell_what_was_open(overridden, shop) -> None:
    points = [point.format(job=overridden) for point in POINTS]
    assert tune_summary_facts(factories.load_results(overridden))["open_points"] == points
    from jobs.clearances.trend import clearance_history

    bike = overridden.bike
    job = history_facts(bike, clearance_history(bike, shop), shop)["jobs"][0]
    assert [part["rows"] for part in job["records"] if "handing_over" in part["template"]] == [points]
    assert "Bo Tarn" not in str(job)  # the history of a bike names no customer


def test_sheet_issued_despite_open_points_names_them(short_job, staff) -> None:
    short_job.checks.first().delete()
    sheet = issue_sheet(job=short_job, by=staff[Role.OWNER], override_reason="Customer leaves for abroad.")
    points = [
        "Checks before handover: 1 of 7 not ticked.",
        "Not confirmed for this sheet: the customer was told that the bike may no longer be road legal.",
    ]
    assert HandoverSheet.objects.get().open_points == points
    assert HandoverSheet.history.get(history_type="+").open_points == points
    printed = whole_text(sheet_pdf(sheet.snapshot))
    told = "The customer was not told of the notice on use on public roads before this sheet was issued."
    for text in (
        *points,
        told,
        "Issued by the owner with open points, listed under Open when this sheet was issued.",
    ):
        assert squeezed(text) in printed


def test_sheet_without_open_points_lists_none(issued) -> None:
    assert (issued.open_points, issued.snapshot["sheet"]["not_told"]) == ([], False)
    assert squeezed("Open when this sheet was issued") not in whole_text(sheet_pdf(issued.snapshot))


def test_check_ticked_after_the_issue_asks_for_the_next_sheet(short_job, staff) -> None:
    short_job.checks.first().delete()
    issue_sheet(job=short_job, by=staff[Role.OWNER], override_reason="Paper first", informed_person=TOLD)
    for item in CheckItem.objects.filter(list="before_handover"):
        set_tick(job=short_job, item=item, by=staff[Role.MECHANIC], ticked=True)
    assert texts(short_job) == [
        f"Sheet {short_job}/1 no longer says what is recorded. Changed since: checks."
    ]
