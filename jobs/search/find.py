"""Search for jobs, bikes and customers."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Q, QuerySet

from jobs.models import Job, JobWord
from jobs.models.job import JobQuerySet
from workshop.models import Bike, Customer, FoundWord
from workshop.models.search import ids_or_subquery, matching_rows


def find_bikes(text: str) -> "QuerySet[Bike]":
    """Return bikes with each word in make and model, plate, VIN or the owner's name or phone."""
    return Bike.objects.select_related("owner").matching(text)


def add_last_jobs(bikes: "Iterable[Bike]") -> list[Any]:
    """Add ``last_job`` to each bike, or None if it has no job, in one query."""
    found: list[Any] = list(bikes)
    last: dict[int, Job] = {}
    for job in Job.objects.filter(bike__in=found).order_by("-year", "-sequence"):
        last.setdefault(job.bike_id, job)
    for bike in found:
        bike.last_job = last.get(bike.pk)
    return found


def find_customers(text: str) -> "QuerySet[Customer]":
    """Return customers with each word in the name, email, phone or a bike's plate."""
    return Customer.objects.prefetch_related("bikes").matching(text)


def find_jobs(text: str) -> JobQuerySet:
    """Return jobs with each word in the number, the brief, a wish, the bike or the customer."""
    found = Job.objects.for_list()
    for word in matching_rows(text, [FoundWord, JobWord]):
        found = found.filter(filter_by_word(word))
    return found


def filter_by_word(word: Q) -> Q:
    """Filter on jobs that have the word themselves, or whose customer or bike has it.

    A few customers and bikes are listed by key, so that each part is answered by an index.
    """
    rows = FoundWord.objects.filter(word)
    customers = rows.filter(customer__isnull=False).values_list("customer", flat=True)
    bikes = rows.filter(bike__isnull=False).values_list("bike", flat=True)
    return (
        Q(customer__in=ids_or_subquery(customers))
        | Q(bike__in=ids_or_subquery(bikes))
        | Q(pk__in=ids_or_subquery(JobWord.objects.filter(word).values_list("job", flat=True)))
    )
