"""The demo shop: built by one command, once, with two issued sheets that say first what matters."""

import io

import pypdfium2
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from jobs.job.road_use import describe_causes
from jobs.models import FileLayout, Handover, Job, Run
from jobs.models.job import OPEN_STAGES, Stage
from reports.handover.sheet import prepare
from reports.handover.snapshot import make_snapshot
from reports.models import HandoverSheet
from tests.factories import load_results, make_customer
from tests.html import by_id, read_text
from tests.reports.messages import english_left, text_of
from workshop.models import EngineSpec, StaffMember

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture(autouse=True)
def own_certificate(settings, tmp_path) -> None:
    """Let the demo make its certificate where no other test finds it."""
    settings.SIGNING_CERTIFICATE = tmp_path / "signing.p12"


def first_page(sheet: HandoverSheet) -> str:
    with sheet.pdf.open("rb") as file:
        return pypdfium2.PdfDocument(file.read())[0].get_textpage().get_text_bounded()


def assert_today_and_job_page_show_the_same_step() -> None:
    """Compare them for each open job as it is, and then at each other stage."""
    client = Client()
    client.force_login(StaffMember.objects.get(username="owner"), "workshop.people.backend.StaffBackend")
    jobs = list(Job.objects.open())
    stages = [{"stage": stage, "waiting_for": ""} for stage in OPEN_STAGES if stage != Stage.WAITING]
    waits = [{"stage": Stage.WAITING, "waiting_for": reason} for reason in Job.WaitingFor]
    for changes in ({}, *stages, *waits):
        if changes:
            Job.objects.open().update(**changes)
        today = client.get("/")
        for job in jobs:
            [step] = by_id(today, f"bike-{job}").find_class("btn")
            [same] = by_id(client.get(job.get_absolute_url()), "job-head").find_class("btn-primary")
            assert read_text(step) == f"{read_text(same)} , job {job}"
            assert step.get("href") == same.get("href")


def test_demo_is_built_once_with_two_issued_sheets() -> None:
    output = io.StringIO()
    call_command("demo", "--no-serve", stdout=output)
    for person in StaffMember.objects.all():
        assert person.username in output.getvalue()
    assert Job.objects.values("stage").distinct().count() >= 3
    assert EngineSpec.objects.values("adjuster").distinct().count() == 3
    assert FileLayout.objects.count() == 3
    assert not Run.objects.exclude(status=Run.Status.READ).exists()
    assert [handover.open_points for handover in Handover.objects.all()] == [[]]
    assert set(Job.objects.filter(stage="handed_over")) == {Handover.objects.get().job}
    assert {job.stage_entries.first().stage for job in Job.objects.all()} == {"booked"}
    sheets = HandoverSheet.objects.all()
    assert len(sheets) == 2
    for sheet in sheets:
        page = first_page(sheet)
        for words in (
            "What you asked for",
            "What came in, and what is in the bike now",
            "Torque before and now",
            "Can it be ridden on public roads?",
        ):
            assert words in page, f"{words!r} is not on the first page of {sheet}"
    booked = load_results(Job.objects.get(stage="booked"))
    assert "Air filter, pleated cotton (air filter), from job" in " ".join(booked.get(describe_causes))
    call_command("demo", "--no-serve", stdout=output)
    assert HandoverSheet.objects.count() == 2
    assert_today_and_job_page_show_the_same_step()
    owner = StaffMember.objects.get(username="owner")
    for job in Job.objects.order_by("number")[:5]:
        made = make_snapshot(
            load_results(job), issue_number=9, issued_by=owner, at=timezone.now(), language="de", draft=True
        )
        left = english_left(text_of(prepare(made)), "de")
        # The latter is what a tuner typed.
        assert {*left} <= {"Lean at high load"}, f"in English on a German sheet of job {job}"


def test_demo_is_refused_if_shop_has_data() -> None:
    make_customer()
    with pytest.raises(CommandError, match="contains a real shop"):
        call_command("demo", "--no-serve", stdout=io.StringIO())
    assert not Job.objects.exists()
