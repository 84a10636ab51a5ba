"""Every kind of record that belongs to a job is registered once, and a section reads what it declares."""

import pytest
from django.apps import apps
from django.db import models
from django.urls import reverse

from jobs.job.registry import all_rows, records
from jobs.models import Job, JobWord
from tests.factories import results_of
from tests.jobs.job_page.test_job_page import make_job_with_everything
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


def test_every_model_that_points_at_a_job_has_its_rows_registered() -> None:
    registered = {rows.model for rows in all_rows()}
    quarters = apps.get_model("jobs", "SlotQuarter")  # locks of the calendar, no record of its own
    assert models_of_a_job() - registered - {quarters} == set()


@pytest.mark.parametrize("record", [each for each in records() if each.section], ids=lambda each: each.key)
def test_section_reads_only_the_rows_that_it_declares(record, staff) -> None:
    # Otherwise a stored section would not notice that those rows have changed.
    results = results_of(make_job_with_everything(staff))
    record.section(results)
    assert results.page.models_read - {StaffMember} <= {*record.reads}


def test_every_record_with_rows_is_on_the_page_or_in_a_section_of_another(staff) -> None:
    read = {model for record in records() for model in record.reads} | {StaffMember}
    head = {"stageentry", "slot"}  # in the head of the page
    plans = {"shimplanrow"}  # on the page of their set
    unread = {rows.model._meta.model_name for rows in all_rows() if rows.model not in read}
    assert unread - head - plans == set()


def test_everything_that_happened_is_on_the_timeline(login, staff) -> None:
    job = make_job_with_everything(staff)
    page = login(Role.TUNER).get(reverse("timeline", args=[job])).content.decode()
    for record in records():
        if record.events is not None:
            events = list(record.events(results_of(job)))
            assert all(event.text.split(":")[0].split(" (")[0] in page for event in events), record.key
