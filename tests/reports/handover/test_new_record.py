"""A newly registered record is on every page and paper that walks the registry."""

import pytest
from django.urls import reverse

from jobs.checklists.facts import ChecklistFacts
from jobs.job import registry
from jobs.job.event import Event, EventKind
from jobs.job.printed import Printed
from jobs.job.registry import BikeHistory, Export, JobRecord
from jobs.job.road_use import RoadCause
from jobs.job.section import Section, State
from reports.documents.bike_history import bike_history_pdf
from reports.documents.job_export import whole_job_zip
from reports.handover.issuing import issue_sheet
from reports.handover.sheet import prepare, sheet_pdf
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import from_json, to_json
from tests import factories
from tests.reports.conftest import AT
from tests.reports.reading import squeezed, whole_text
from workshop.models import Bike, Role, ShopProfile

pytestmark = pytest.mark.django_db

TYRES = Printed(
    "tyres",
    lambda results: [ChecklistFacts("of the tyres", [], open=2)],
    list[ChecklistFacts],
    heading="Tyre warmers",
    title="tyre warmers",
    template="jobs/checklists/_sheet.html",
    absent=[],
)
RECORD = JobRecord(
    "tyres",
    section=lambda results: Section(
        "tyres", "Tyre warmers", State.DONE, "both on", "jobs/checklists/_section.html", dict
    ),
    events=lambda results: [Event(AT, EventKind.BIKE, "tyre warmers put on", changes_bike=True)],
    road_causes=lambda results: [RoadCause("Tyre warmers", "They may be hot.", results.job)],
    looked_at="tyre warmers",
    cautions=lambda results: ["Tyres are hot."],
    printed=TYRES,
    done=lambda results: ["tyres warmed to 80 °C"],
    bike_history=BikeHistory(
        lambda bike, shop: {
            job.pk: [{"at": AT.isoformat(), "kind": "warmers", "description": "lent for a day"}]
            for job in bike.jobs.all()
        },
        "jobs/timeline/_history.html",
    ),
    export=Export(files={"tyres.csv": lambda rows: "tyre\nfront\n"}),
)


@pytest.fixture
def new_record(monkeypatch):
    monkeypatch.setattr(registry, "_records", {**registry._records, "tyres": RECORD})


@pytest.fixture
def job(staff):
    return factories.make_job(intended_use="road", stage="bench", received_at=AT)


def test_new_record_is_on_page_and_timeline(new_record, job, login) -> None:
    client = login(Role.TUNER)
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
    assert "Tyre warmers" in page
    assert "Both on" in page
    assert "Tyre warmers put on" in client.get(reverse("timeline", args=[job])).content.decode()


def test_new_record_is_on_the_sheet(new_record, job, staff) -> None:
    snapshot = make_snapshot(
        factories.load_results(job),
        issue_number=1,
        issued_by=staff[Role.DESK],
        at=AT,
    )
    assert "Tyres warmed to 80 °C." in snapshot.done
    assert "Tyre warmers: They may be hot." in snapshot.notices.causes
    assert "tyre warmers" in snapshot.notices.looked_at
    assert "Tyres are hot." in snapshot.notices.cautions
    stored = to_json(snapshot)
    assert from_json(stored).get(TYRES) == snapshot.get(TYRES)
    printed = whole_text(sheet_pdf(stored))
    assert squeezed("Tyre warmers") in printed
    assert squeezed("Checks of the tyres: 2 not ticked") in printed


def test_sheet_stored_before_the_record_existed_prints_without_it(job, staff, monkeypatch) -> None:
    stored = to_json(
        make_snapshot(factories.load_results(job), issue_number=1, issued_by=staff[Role.DESK], at=AT)
    )
    monkeypatch.setattr(registry, "_records", {**registry._records, "tyres": RECORD})
    assert from_json(stored).get(TYRES) == []
    assert "Tyre warmers" not in prepare(from_json(stored)).html


def test_later_issue_names_a_new_record_that_differs(job, staff, monkeypatch) -> None:
    owner = staff[Role.OWNER]
    issue_sheet(job=job, by=owner, override_reason="first", informed_person="Jo Rider")
    monkeypatch.setattr(registry, "_records", {**registry._records, "tyres": RECORD})
    later = make_snapshot(factories.load_results(job), issue_number=2, issued_by=owner, at=AT)
    assert later.sheet.supersedes is not None
    assert "tyre warmers" in later.sheet.supersedes.changed


def test_new_record_is_in_bike_history_and_export(new_record, job) -> None:
    shop = ShopProfile.current()
    assert squeezed("warmers: lent for a day") in whole_text(
        bike_history_pdf(Bike.objects.get(pk=job.bike_id), shop, AT)
    )
    assert b"tyres.csv" in whole_job_zip(job, shop)
