"""Issuing: what stands in the way, numbers, hashes, and that nothing issued is ever altered."""

import hashlib

import pytest
from django.core.files.storage import default_storage
from django.db import IntegrityError, transaction
from django.urls import reverse

from jobs.models import BikeChange, Check, ClearanceReading, Job, Part, Run, WorkItem
from reports.handover.issuing import (
    NotReady,
    PdfUnavailable,
    blockers,
    issue_sheet,
    issued_pdf,
    needs_informed_person,
)
from reports.handover.notices import VERSION
from reports.handover.sheet import sheet_pdf
from reports.handover.snapshot.codec import snapshot_sha256
from reports.models import HandoverSheet, NoticeWording, SheetLink
from reports.models.handover import IssuedSheetIsFinal
from tests import factories
from tests.reports import whole_jobs
from tests.reports.reading import squeezed, whole_text
from workshop.models import Role

TOLD = "Ines Quill"


@pytest.fixture
def issued(short_job, staff) -> HandoverSheet:
    return issue_sheet(job=short_job, by=staff[Role.DESK], informed_person=TOLD)


def texts(job: Job, **options: str) -> str:
    return " ".join(str(blocker) for blocker in blockers(factories.load_results(job), **options))


def test_job_is_ready_once_customer_is_informed(whole_job):
    assert "Tell the customer" in texts(whole_job)
    assert blockers(factories.load_results(whole_job), informed_person=TOLD) == []


def test_sheet_is_blocked_until_bike_is_received(staff):
    job = factories.make_job()
    assert "not checked in yet" in texts(job)
    assert blockers(factories.load_results(job))[0].url == f"/jobs/{job.number}/?open=brief#brief"


def test_sheet_is_blocked_by_clearances_out_of_range(whole_job):
    reading = ClearanceReading.objects.filter(clearance_set__when="as_left", side="intake").first()
    reading.clearance_mm = "0.09"
    reading.save()
    assert "out of range or not certain by the last reading: cylinder 1, intake left." in texts(whole_job)


@pytest.mark.parametrize(
    ("checklist", "title"),
    [
        ("after_valves", "after valve work, before the first start"),
        ("before_roller", "before running on the dyno, session 1"),
        ("before_handover", "before handover"),
    ],
)
def test_sheet_is_blocked_by_open_checks_of_every_list(whole_job, checklist, title):
    Check.objects.filter(job=whole_job, item__list=checklist).first().delete()
    assert f"Checks {title}: 1 of " in texts(whole_job)


def test_checks_of_the_dyno_apply_only_to_a_bike_that_ran_on_it(staff):
    job = factories.make_job()
    assert "before running on the dyno" not in texts(job)
    factories.make_channel_run(job, staff[Role.TUNER], "held.csv", {"engine_speed_rpm": [3000.0, 3010.0]})
    assert "Checks before running on the dyno: " in texts(job)


def test_sheet_is_blocked_by_run_file_without_named_columns(whole_job, staff):
    Run.objects.create(
        job=whole_job,
        original_name="new.csv",
        sha256="0" * 64,
        size=1,
        made_by=staff[Role.TUNER],
        original="x",
    )
    assert "The import settings of the run file new.csv are not confirmed yet." in texts(
        whole_job, informed_person=TOLD
    )


@pytest.mark.parametrize("stage", ["booked", "received", "bench", "roller", "waiting"])
def test_sheet_is_blocked_at_a_stage_that_does_not_fit(short_job, stage):
    waiting_for = "parts" if stage == "waiting" else ""
    Job.objects.filter(pk=short_job.pk).update(stage=stage, waiting_for=waiting_for)
    label = Job.objects.get().get_stage_display()
    assert texts(short_job, informed_person=TOLD) == (
        f"The job is at the stage “{label}”. Move it to “ready to hand over” when the work is finished."
    )


def test_sheet_may_be_issued_again_after_the_handover(short_job):
    Job.objects.filter(pk=short_job.pk).update(stage="handed_over")
    assert texts(short_job, informed_person=TOLD) == ""


def test_sheet_is_blocked_by_work_that_is_not_ticked(short_job):
    for description, done in (("Set the valves", True), ("Fit the silencer", False), ("Balance", False)):
        WorkItem.objects.create(job=short_job, description=description, done=done)
    assert texts(short_job, informed_person=TOLD) == (
        "Agreed work is not ticked as done: Fit the silencer; Balance."
    )


def test_sheet_is_blocked_by_study_of_another_fuel(whole_job, staff):
    change = BikeChange(
        job=whole_job,
        kind=factories.get_part_kind("fuel"),
        description="E10 filled in",
        by=staff[Role.TUNER],
    )
    change.save()
    found = texts(whole_job, informed_person=TOLD)
    assert (
        "The fuel was changed after the first run of the mixture study “Held runs after the tune”: "
        "E10 filled in. Measure again with this fuel, or leave the study off the sheet."
    ) in found
    # What was checked before the bike left was checked before that change.
    assert "Checks before handover: 7 ticks older than a later change of the bike." in found


@pytest.mark.parametrize("informed", [True, False])
def test_ready_is_said_only_if_nothing_is_open(login, short_job, informed):
    if informed:
        short_job.intended_use = Job.IntendedUse.TRACK_ONLY
        short_job.save()
    pages = [
        login(Role.DESK).get(reverse("handover", args=[short_job])).text,
        login(Role.DESK).get(short_job.get_absolute_url(), {"open": "all"}).text,
    ]
    assert [("ready to issue" in page.lower()) for page in pages] == [informed, informed]
    assert ("1 open point before the sheet is issued" in pages[1]) == (not informed)


def test_job_page_names_the_state_between_sheet_and_handover(login, issued, short_job):
    page = login(Role.DESK).get(short_job.get_absolute_url(), {"open": "all"}).text
    assert "Sheet 1 issued, bike not handed over" in page
    assert "the customer was not told" not in page  # the sheet names who was told


def test_track_use_needs_no_informed_person(whole_job):
    whole_job.intended_use = Job.IntendedUse.TRACK_ONLY
    whole_job.save()
    assert not needs_informed_person(factories.load_results(whole_job))


def test_reverted_tune_change_is_no_road_use_cause(staff):
    """Tune 2 is made from the calibration as received, so what tune 1 changed is not in the bike."""
    whole_jobs.make_shop()
    job = factories.make_job()
    from jobs.models import TuneChange, TuneChangeKind, TuneRevision

    by = staff[Role.TUNER]
    received = TuneRevision.objects.create(job=job, number=0, loaded_by=by, loaded_at=whole_jobs.hours(0))
    first = TuneRevision.objects.create(
        job=job, number=1, made_from=received, loaded_by=by, loaded_at=whole_jobs.hours(1)
    )
    fuel = TuneChangeKind.objects.get(name="fuel")
    TuneChange.objects.create(revision=first, kind=fuel, to_value="+4", reason="lean")
    assert needs_informed_person(factories.load_results(job))
    TuneRevision.objects.create(
        job=job, number=2, made_from=received, loaded_by=by, loaded_at=whole_jobs.hours(2)
    )
    assert not needs_informed_person(factories.load_results(job))


def test_issued_sheet_has_number_hash_and_snapshot(issued, short_job):
    assert issued.number == f"{short_job.number}/1"
    with issued.pdf.open("rb") as file:
        pdf = file.read()
    assert hashlib.sha256(pdf).hexdigest() == issued.sha256
    stored = HandoverSheet.objects.get(pk=issued.pk)
    assert snapshot_sha256(stored.snapshot) == stored.snapshot_sha256
    assert stored.wording.version == VERSION
    assert sheet_pdf(stored.snapshot) == pdf
    assert squeezed(f"{TOLD} was told this by the shop") in whole_text(pdf)


def test_blocked_sheet_is_not_issued_without_reason(short_job, staff):
    with pytest.raises(NotReady) as stopped:
        issue_sheet(job=short_job, by=staff[Role.OWNER])
    assert "Tell the customer" in str(stopped.value)
    assert not HandoverSheet.objects.exists()


def test_only_owner_overrides_blockers(short_job, staff):
    with pytest.raises(NotReady):
        issue_sheet(job=short_job, by=staff[Role.DESK], override_reason="in a hurry")


def test_override_reason_is_printed(short_job, staff):
    sheet = issue_sheet(job=short_job, by=staff[Role.OWNER], override_reason="Customer leaves for abroad.")
    assert sheet.override_reason == "Customer leaves for abroad."
    assert squeezed("Reason given: Customer leaves for abroad.") in whole_text(issued_pdf(sheet))


def test_override_reason_is_not_printed_without_blockers(short_job, staff):
    sheet = issue_sheet(
        job=short_job, by=staff[Role.OWNER], override_reason="to be sure", informed_person=TOLD
    )
    assert sheet.override_reason == ""


def test_later_sheet_names_replaced_sheet_and_changes(issued, short_job, staff):
    kind = factories.get_part_kind("part as built, renewed or refitted")
    Part.objects.create(job=short_job, name="Chain", kind=kind)
    later = issue_sheet(job=short_job, by=staff[Role.DESK], informed_person=TOLD)
    assert later.issue_number == 2
    assert later.snapshot["sheet"]["supersedes"]["changed"] == ["parts"]
    printed = whole_text(issued_pdf(later))
    assert squeezed(f"replaces sheet {short_job.number}/1") in printed
    assert squeezed("New in it: parts.") in printed


def test_later_sheet_of_same_records_states_no_change(issued, short_job, staff):
    later = issue_sheet(job=short_job, by=staff[Role.DESK], informed_person=TOLD)
    assert squeezed("No content has changed.") in whole_text(issued_pdf(later))


def test_issued_sheet_cannot_be_changed_or_deleted(issued):
    issued.override_reason = "afterwards"
    for alter in (
        issued.save,
        issued.delete,
        lambda: HandoverSheet.objects.update(override_reason="afterwards"),
        lambda: HandoverSheet.objects.filter(pk=issued.pk).delete(),
        lambda: HandoverSheet.objects.bulk_update([issued], ["override_reason"]),
        lambda: HandoverSheet.objects.update_or_create(pk=issued.pk, defaults={"issue_number": 9}),
        issued.job.handover_sheets.all().delete,
    ):
        with pytest.raises(IssuedSheetIsFinal), transaction.atomic():
            alter()
    stored = HandoverSheet.objects.get(pk=issued.pk)
    assert (stored.override_reason, stored.issue_number) == ("", 1)


def test_database_refuses_duplicate_issue_number(issued):
    copy = HandoverSheet(
        job=issued.job,
        issue_number=1,
        pdf="elsewhere.pdf",
        sha256="0" * 64,
        snapshot={},
        snapshot_sha256="0" * 64,
        wording=issued.wording,
        issued_by=issued.issued_by,
    )
    with pytest.raises(IntegrityError):
        copy.save()


def test_lost_or_changed_pdf_is_printed_again(issued):
    name = issued.pdf.name
    with issued.pdf.open("rb") as file:
        pdf = file.read()
    default_storage.delete(name)
    assert issued_pdf(issued) == pdf
    with default_storage.open(name, "wb") as file:
        file.write(b"something else")
    assert issued_pdf(issued) == pdf


def test_pdf_that_differs_from_issued_one_is_not_served(issued, monkeypatch):
    default_storage.delete(issued.pdf.name)
    monkeypatch.setattr("reports.tasks.sheet_pdf", lambda *given: b"%PDF as another version makes it")
    with pytest.raises(PdfUnavailable, match="makes it differently"):
        issued_pdf(issued)
    assert not default_storage.exists(issued.pdf.name)


def test_printed_link_opens_sheet(short_job, staff):
    sheet = issue_sheet(
        job=short_job,
        by=staff[Role.DESK],
        informed_person=TOLD,
        build_customer_url=lambda token: f"https://shop.example/{token}/",
    )
    link = SheetLink.objects.get()
    assert link.sheet == sheet and link.is_live
    assert sheet.snapshot["sheet"]["link"]["address"] == f"https://shop.example/{link.token}/"
    assert squeezed("can be read and confirmed at") in whole_text(issued_pdf(sheet))


def test_sheets_keep_their_version_of_wording(issued, short_job, staff):
    assert NoticeWording.objects.count() == 1
    NoticeWording.objects.create(
        version=VERSION + 1, road_use="Ask the inspection body first.", safety="Mind the brakes."
    )
    later = issue_sheet(job=short_job, by=staff[Role.DESK], informed_person=TOLD)
    assert later.wording.version == VERSION + 1
    assert "Mindthebrakes." in whole_text(issued_pdf(later))
    assert later.snapshot["sheet"]["supersedes"]["changed"] == ["notices"]
    assert HandoverSheet.objects.get(pk=issued.pk).wording.version == VERSION
