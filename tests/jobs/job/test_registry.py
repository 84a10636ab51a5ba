"""Every record of a job is registered once, and sections read only what they declare."""

from collections.abc import Callable
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.db import models, transaction
from django.db.models import ProtectedError
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst

from jobs.job.page import Rows
from jobs.job.registry import JobRecord, all_rows, printed_records, records
from jobs.job.results import JobResults
from jobs.job_page.diary import diary
from jobs.job_page.head import stored_head
from jobs.job_page.sections import lines, stored_body, with_section
from jobs.job_page.stored import FORM_KEY
from jobs.models import Job, JobWord
from jobs.records import PRINTED_ORDER
from jobs.timeline.events import timeline
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import to_json
from tests.factories import load_results
from tests.jobs.job_page.test_job_page import make_job_with_everything
from tests.reports.whole_jobs import make_whole_job
from tests.test_access import ARGUMENTS, PATTERNS
from workshop.models import Role, StaffMember

pytestmark = pytest.mark.django_db

# Words of the search index belong to no job.
SEARCH_INDEX = {JobWord}


def models_of_a_job() -> set[type[models.Model]]:
    """Return all models that point at a job, directly or through another record."""
    found: set[type[models.Model]] = {Job}
    while True:
        added = {
            model
            for model in apps.get_app_config("jobs").get_models()
            if not model.__name__.startswith("Historical")
            for field in model._meta.concrete_fields
            if field.many_to_one or field.one_to_one
            if field.related_model in found
        }
        if added <= found:
            return found - {Job} - SEARCH_INDEX
        found |= added


def test_all_models_of_a_job_are_registered() -> None:
    registered = {rows.model for rows in all_rows()}
    quarters = apps.get_model("jobs", "SlotQuarter")  # locks of the schedule, not a record
    assert models_of_a_job() - registered - {quarters} == set()


@pytest.mark.parametrize(
    "record", [record for record in records() if record.section], ids=lambda record: record.key
)
def test_section_reads_only_the_rows_it_declares(record, staff) -> None:
    # Otherwise a stored section would not be rendered again after a change of those rows.
    results = load_results(make_job_with_everything(staff))
    record.section(results).context()
    assert results.page.models_read - {StaffMember} <= {*record.reads, *record.made_from}
    assert results.page.models_carried <= {*record.carries}


def rows_of_a_job() -> list[Rows]:
    """Return the rows that a job may lose: issued sheets, which reports adds, are never deleted."""
    return [rows for rows in all_rows() if rows.to_job and rows.model._meta.app_label == "jobs"]


def records_by_package() -> dict[str, JobRecord]:
    packages = [*(f"jobs.{package}" for package in PRINTED_ORDER), "reports.handover"]
    return {package: import_module(f"{package}.record").RECORD for package in packages}


def test_every_registered_record_is_declared_in_its_package() -> None:
    assert [*records_by_package().values()] == [*records()]


def test_whole_job_has_a_row_of_every_kind(staff) -> None:
    job = make_job_with_everything(staff)
    missing = [rows.label for rows in rows_of_a_job() if not rows.queryset(job.pk).exists()]
    assert missing == []


def test_whole_job_fills_every_section_of_the_sheet(staff) -> None:
    snapshot = make_snapshot(
        load_results(make_whole_job(staff)), issue_number=1, issued_by=staff[Role.OWNER], at=timezone.now()
    )
    assert [
        printed.name for printed in printed_records() if not printed.is_shown(snapshot.get(printed))
    ] == []


@pytest.mark.parametrize("package", records_by_package())
def test_access_is_tested_with_a_record_of_every_package(package: str) -> None:
    """Check that a URL of the package with a record or job as argument is in the list."""
    walked = {name for name in ARGUMENTS if PATTERNS[name].callback.__module__.startswith(f"{package}.")}
    assert walked


def remove_all(rows: models.QuerySet[Any]) -> None:
    """Delete rows, after the rows that protect them."""
    try:
        rows.delete()
    except ProtectedError as problem:
        for row in problem.protected_objects:
            remove_all(type(row)._base_manager.filter(pk=row.pk))
        remove_all(rows)


def models_shown(job: Job, show: Callable[[JobResults], object]) -> set[type[models.Model]]:
    """Return all models without which the result would differ."""
    whole = show(load_results(job))
    found = set()
    for rows in rows_of_a_job():
        with transaction.atomic():
            remove_all(rows.queryset(job.pk))
            if show(load_results(job)) != whole:
                found.add(rows.model)
            transaction.set_rollback(True)
    return found


def show_page(results: JobResults) -> list[object]:
    roles: frozenset[Role] = frozenset()
    bodies = [stored_body(record, results, roles) for record in with_section()]
    head = FORM_KEY.sub("", stored_head(results, roles))
    return [head, *lines(results), *bodies, *diary(results, "all")]


def test_page_shows_all_rows_except_declared_ones(staff) -> None:
    shown = models_shown(make_job_with_everything(staff), show_page)
    assert shown == {rows.model for rows in rows_of_a_job() if not rows.off_page}


def test_timeline_shows_all_rows_except_declared_ones(staff) -> None:
    shown = models_shown(make_job_with_everything(staff), lambda results: results.get(timeline))
    assert shown == {rows.model for rows in rows_of_a_job() if not rows.off_timeline}


def test_snapshot_contains_all_rows_except_declared_ones(staff) -> None:
    issued = {"issue_number": 1, "issued_by": staff[Role.OWNER], "at": timezone.now()}
    shown = models_shown(
        make_job_with_everything(staff), lambda results: to_json(make_snapshot(results, **issued))
    )
    assert shown == {rows.model for rows in rows_of_a_job() if not rows.off_sheet}


def test_all_events_are_on_the_timeline(login, staff) -> None:
    job = make_job_with_everything(staff)
    page = login(Role.TUNER).get(reverse("timeline", args=[job])).content.decode()
    for record in records():
        if record.events is not None:
            events = list(record.events(load_results(job)))
            texts = [capfirst(event.text.split(":")[0].split(" (")[0]) for event in events]
            assert [text for text in texts if text not in page] == [], record.key
