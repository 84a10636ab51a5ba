"""Every kind of record that belongs to a job is registered once, and a section reads what it declares."""

from importlib import import_module

import pytest
from django.apps import apps
from django.db import models
from django.urls import reverse

from jobs.job.page import Rows
from jobs.job.registry import JobRecord, all_rows, get_rows, records
from jobs.job.results import JobResults
from jobs.job_page.sections import render_head
from jobs.models import Job, JobWord, ShimPlanRow
from jobs.records import PRINTED_ORDER
from tests.factories import results_of
from tests.jobs.job_page.test_job_page import make_job_with_everything
from tests.test_access import ARGUMENTS, PATTERNS
from workshop.models import Role, StaffMember

pytestmark = pytest.mark.django_db

# Words of the search index; rows that only hold locks or lists belong to no job.
SEARCH_INDEX = {JobWord}


def models_of_a_job() -> set[type[models.Model]]:
    """Every model of jobs whose rows point at a job, directly or through another record."""
    found: set[type[models.Model]] = {Job}
    while True:
        more = {
            model
            for model in apps.get_app_config("jobs").get_models()
            if not model.__name__.startswith("Historical")
            for field in model._meta.concrete_fields
            if field.many_to_one or field.one_to_one
            if field.related_model in found
        }
        if more <= found:
            return found - {Job} - SEARCH_INDEX
        found |= more


def test_all_models_of_a_job_are_registered() -> None:
    registered = {rows.model for rows in all_rows()}
    quarters = apps.get_model("jobs", "SlotQuarter")  # locks of the calendar, no record of its own
    assert models_of_a_job() - registered - {quarters} == set()


@pytest.mark.parametrize("record", [each for each in records() if each.section], ids=lambda each: each.key)
def test_section_reads_only_the_rows_it_declares(record, staff) -> None:
    # Otherwise a stored section would not notice that those rows have changed.
    results = results_of(make_job_with_everything(staff))
    record.section(results)
    assert results.page.models_read - {StaffMember} <= {*record.reads}


def rows_of_a_job() -> list[Rows]:
    return [rows for rows in all_rows() if rows.to_job]


def records_by_package() -> dict[str, JobRecord]:
    packages = [*(f"jobs.{package}" for package in PRINTED_ORDER), "reports.handover"]
    return {package: import_module(f"{package}.record").RECORD for package in packages}


def read_with_joins(results: JobResults) -> set[type[models.Model]]:
    read = results.page.models_read
    joined = [model._meta.get_field(name) for model in read for name in get_rows(model).join]
    return read | {field.related_model for field in joined}


def test_every_registered_record_is_declared_in_its_package() -> None:
    assert [*records_by_package().values()] == [*records()]


def test_whole_job_has_a_row_of_every_kind(staff) -> None:
    job = make_job_with_everything(staff)
    missing = [rows.label for rows in rows_of_a_job() if not rows.queryset(job.pk).exists()]
    assert missing == []


@pytest.mark.parametrize("package", records_by_package())
def test_access_is_tested_with_a_record_of_every_package(package: str) -> None:
    """Each role opens an address of the package that takes the key of a record or the number of a job."""
    walked = {name for name in ARGUMENTS if PATTERNS[name].callback.__module__.startswith(f"{package}.")}
    assert walked


def test_every_kind_of_row_is_read_for_the_page(staff) -> None:
    job = make_job_with_everything(staff)
    results = results_of(job)
    render_head(results, frozenset())
    for record in records():
        if record.section is not None:
            record.section(results)
    on_own_page = {ShimPlanRow}
    assert {rows.model for rows in rows_of_a_job()} - on_own_page <= read_with_joins(results)


def test_all_events_are_on_the_timeline(login, staff) -> None:
    job = make_job_with_everything(staff)
    page = login(Role.TUNER).get(reverse("timeline", args=[job])).content.decode()
    for record in records():
        if record.events is not None:
            events = list(record.events(results_of(job)))
            assert all(event.text.split(":")[0].split(" (")[0] in page for event in events), record.key
