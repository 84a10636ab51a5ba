"""Finding jobs, bikes and customers by what people remember of them."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Q, QuerySet

from jobs.models import Job, JobWord
from jobs.models.job import JobQuerySet
from workshop.models import Bike, Customer, FoundWord
from workshop.models.search import ids_or_subquery, matching_rows


def bikes_matching(text: str) -> "QuerySet[Bike]":
    """Bikes where each word is in make and model, plate, VIN or the owner's name or phone."""
    return Bike.objects.select_related("owner").matching(text)


def with_last_jobs(bikes: "Iterable[Bike]") -> list[Any]:
    """The bikes, each with its last job as ``last_job``, None for one that was never here: one query."""
    found: list[Any] = list(bikes)
    last: dict[int, Job] = {}
    for job in Job.objects.filter(bike__in=found).order_by("-year", "-sequence"):
        last.setdefault(job.bike_id, job)
    for bike in found:
        bike.last_job = last.get(bike.pk)
    return found


def customers_matching(text: str) -> "QuerySet[Customer]":
    """Customers where each word is in the name, e-mail, phone or a bike's plate."""
    return Customer.objects.matching(text)


def jobs_matching(text: str) -> JobQuerySet:
    """Jobs where each word is in the number, the brief, or what bikes_matching looks at."""
    found = Job.objects.for_list()
    for asked in matching_rows(text, [FoundWord, JobWord]):
        found = found.filter(jobs_of(asked))
    return found


def jobs_of(word: Q) -> Q:
    """Jobs that have the word themselves, or whose customer or bike has it.

    Few customers and bikes are named one by one, so that each part is answered by an index.
    """
    rows = FoundWord.objects.filter(word)
    customers = rows.filter(customer__isnull=False).values_list("customer", flat=True)
    bikes = rows.filter(bike__isnull=False).values_list("bike", flat=True)
    return (
        Q(customer__in=ids_or_subquery(customers))
        | Q(bike__in=ids_or_subquery(bikes))
        | Q(pk__in=ids_or_subquery(JobWord.objects.filter(word).values_list("job", flat=True)))
    )
