"""Queries that reading a job for the sheet and the tune summary takes."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.job.results import JobResults
from jobs.mixture.facts import MIXTURE, MixtureFacts
from jobs.models import MixtureStudy
from reports.documents.tune_summary import tune_summary_facts
from reports.handover.snapshot import make_snapshot
from tests.factories import load_results, make_job
from tests.jobs.run_files import attach_sweep, sweep_csv
from tests.reports.conftest import AT
from workshop.models import Role, StaffMember

pytestmark = pytest.mark.django_db


def add_study(job, by, title: str) -> None:
    study = MixtureStudy.objects.create(
        job=job, title=title, made_by=by, rpm_axis=[4000], load_axis=[50], target=0.9
    )
    study.runs.set(job.runs.all())


def snapshot_studies(results: JobResults, by: StaffMember) -> list[MixtureFacts]:
    return make_snapshot(results, issue_number=1, issued_by=by, at=AT).get(MIXTURE)


def summary_studies(results: JobResults, by: StaffMember) -> list[MixtureFacts]:
    return list(tune_summary_facts(results)["mixture"])


@pytest.mark.parametrize("read_studies", [snapshot_studies, summary_studies])
def test_runs_of_all_mixture_studies_are_read_in_one_query(staff, read_studies) -> None:
    job, tuner = make_job(), staff[Role.TUNER]
    for number in range(2):
        attach_sweep(job, tuner, sweep_csv(salt=number), name=f"{number}.csv", kind="held")
    counts = []
    for title in ("first", "second", "third"):
        add_study(job, tuner, title)
        with CaptureQueriesContext(connection) as queries:
            studies = read_studies(load_results(job), tuner)
        assert [study.runs for study in studies] == [["0.csv", "1.csv"]] * len(studies)
        assert studies[-1].title == title
        counts.append(len(queries))
    assert counts == [counts[0]] * 3
