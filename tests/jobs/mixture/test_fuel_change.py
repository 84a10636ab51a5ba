"""A study describes the bike as it leaves only while the fuel of its runs is in the tank."""

from datetime import timedelta

import pytest
from django.utils import timezone

from jobs.mixture.fuel_change import fuel_changed_since
from jobs.models import BikeChange, Job, MixtureStudy, Run
from tests.factories import get_part_kind, load_results, make_job
from workshop.models import Role

pytestmark = pytest.mark.django_db
NOW = timezone.now()


@pytest.fixture
def job(db) -> Job:
    return make_job()


def make_study(job: Job, staff, title: str, *hours: float, **values) -> MixtureStudy:
    by = staff[Role.TUNER]
    study = MixtureStudy.objects.create(
        job=job, title=title, made_by=by, rpm_axis=[3000], load_axis=[20], target=1, **values
    )
    for number, hour in enumerate(hours):
        name = f"{title} {number}"
        run = Run.objects.create(
            job=job, original="a.csv", original_name=name, sha256=name, size=1, made_by=by,
            made_at=NOW + timedelta(hours=hour),
        )  # fmt: skip
        study.runs.add(run)
    return study


def change_fuel(job: Job, staff, hour: float, kind: str = "fuel") -> BikeChange:
    at = NOW + timedelta(hours=hour)
    return BikeChange.objects.create(
        job=job, kind=get_part_kind(kind), description=f"E10 at {hour}", at=at, by=staff[Role.TUNER]
    )


def found(job: Job) -> list[tuple[str, str]]:
    return [(study.title, change.description) for study, change in fuel_changed_since(load_results(job))]


def test_fuel_changed_after_the_runs_is_found(job, staff) -> None:
    make_study(job, staff, "Road", 1, 2)
    change_fuel(job, staff, 3)
    assert found(job) == [("Road", "E10 at 3")]


def test_fuel_changed_between_the_runs_is_found(job, staff) -> None:
    make_study(job, staff, "Road", 1, 3)
    change_fuel(job, staff, 2)
    assert found(job) == [("Road", "E10 at 2")]


def test_fuel_changed_before_the_runs_is_the_fuel_of_the_study(job, staff) -> None:
    make_study(job, staff, "Road", 2, 3)
    change_fuel(job, staff, 1)
    change_fuel(job, staff, 4, kind="tyre")
    assert found(job) == []


def test_only_the_study_of_the_bike_as_it_leaves_counts(job, staff) -> None:
    make_study(job, staff, "As received", 1)
    change_fuel(job, staff, 2)
    make_study(job, staff, "After the work", 3)
    assert found(job) == []
    change_fuel(job, staff, 4)
    assert found(job) == [("After the work", "E10 at 4")]


def test_study_that_is_not_printed_claims_nothing(job, staff) -> None:
    make_study(job, staff, "Trial", 1, on_sheet=False)
    make_study(job, staff, "Without runs")
    change_fuel(job, staff, 2)
    assert found(job) == []
