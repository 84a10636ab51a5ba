"""Finding jobs, bikes and customers by what people remember of them."""

from django.db.models import Q, QuerySet

from jobs.models import Job
from jobs.models.job import JobQuerySet
from workshop.models import Bike, Customer
from workshop.models.search import containing

LONGEST_SEARCH = 100


def words_of(text: str) -> list[str]:
    return text[:LONGEST_SEARCH].split()


def bikes_matching(text: str) -> "QuerySet[Bike]":
    """Bikes where each word stands in the make and model, plate, VIN or the owner's name."""
    found = Bike.objects.select_related("owner")
    for word in words_of(text):
        own = Bike.objects.matching(word).values("pk")
        found = found.filter(Q(pk__in=own) | containing(word, "owner__name"))
    return found


def customers_matching(text: str) -> "QuerySet[Customer]":
    """Customers where each word stands in the name, e-mail, phone or a bike's plate."""
    found = Customer.objects.all()
    for word in words_of(text):
        found = found.filter(pk__in=Customer.objects.matching(word).values("pk"))
    return found


def jobs_matching(text: str) -> JobQuerySet:
    """Jobs where each word stands in the number, the brief, or what bikes_matching looks at."""
    found = Job.objects.for_list()
    for word in words_of(text):
        bikes = Bike.objects.matching(word).values("pk")
        found = found.filter(containing(word, "number", "brief", "customer__name") | Q(bike__in=bikes))
    return found
