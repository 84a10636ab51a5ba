"""Lists and search with 100,000 jobs against the same with 1,000.

Uses a temporary database on the server of ``DATABASE_URL``. The two sizes are measured one after the
other, so every time is a multiple of the time of a page without a list in the same rounds: other load
on the machine cancels out.
"""

# ruff: noqa: E402  (Django has to be set up before its models can be imported)

import os
import random
import statistics
import sys
import time
from collections.abc import Callable

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"

import django

django.setup()

from django.db import connection
from django.test import Client
from django.test.utils import setup_databases, setup_test_environment, teardown_databases
from django.utils import timezone

from jobs.models import Job, JobWord
from workshop.models import Bike, Customer, FoundWord, Role, ShopProfile
from workshop.models.search import suffixes, tokenise

FEW, MANY = 1_000, 100_000
OPEN = 60
SOUGHT = 500
ROUNDS = 15
LIMIT = 2.0
BATCH = 2_000
PLAIN = "a page without a list"
SYLLABLES = ["ka", "lo", "mir", "ten", "vo", "ash", "ul", "brin", "sor", "qui", "dae", "wen", "pol", "zar"]


def name_of(number: int) -> str:
    """Return a unique name for the search, so that both sizes show the same number of rows."""
    if number == SOUGHT:
        return "Oxabel Quithrane"
    rng = random.Random(number)
    return " ".join("".join(rng.choices(SYLLABLES, k=4)).capitalize() for _ in range(2))


def fill(first: int, last: int) -> None:
    """Create customers with a bike and a job, and the words that find them."""
    for begin in range(first, last, BATCH):
        numbers = range(begin, min(begin + BATCH, last))
        people = Customer.objects.bulk_create(
            Customer(name=name_of(n), phone=f"+00 555 {n:06d}") for n in numbers
        )
        bikes = Bike.objects.bulk_create(
            Bike(owner=person, make="Pellorin", model=f"Tern {n % 900}", plate=f"DEMO {n:06d}")
            for n, person in zip(numbers, people, strict=True)
        )
        jobs = Job.objects.bulk_create(
            Job(
                year=2025,
                sequence=n,
                number=f"2025-{n:06d}",
                customer=bike.owner,
                bike=bike,
                brief="Valves and tune",
                intended_use="road",
                stage="bench" if n < OPEN else "handed_over",
                received_at=timezone.now(),
                promised_at=timezone.now(),
            )
            for n, bike in zip(numbers, bikes, strict=True)
        )
        words = [(FoundWord(customer=p), tokenise(p.name) | suffixes(p.phone)) for p in people]
        words += [(FoundWord(bike=b), tokenise(b.make, b.model) | suffixes(b.plate)) for b in bikes]
        FoundWord.objects.bulk_create(
            FoundWord(customer=row.customer, bike=row.bike, word=word, drow=word[::-1])
            for row, tokens in words
            for word in tokens
        )
        JobWord.objects.bulk_create(
            JobWord(job=job, word=word, drow=word[::-1])
            for job in jobs
            for word in tokenise(job.brief, job.number)
        )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def works(client: Client) -> dict[str, Callable[[], None]]:
    known = name_of(SOUGHT)
    surname = known.split()[1]
    slip = surname[:2] + surname[3] + surname[2] + surname[4:]

    def ask(url: str, holds: str = "") -> Callable[[], None]:
        def work() -> None:
            response = client.get(url)
            assert response.status_code == 200, url
            assert holds in response.text, (url, holds)

        return work

    return {
        PLAIN: ask("/password/"),
        "today": ask("/", "2025-000001"),
        "list of jobs, first page": ask("/jobs/", "Page 1 of"),
        "list of jobs on the bench": ask("/jobs/?stage=bench", "2025-000055"),
        "search by a whole name": ask(f"/search/?q={known.replace(' ', '+')}", known),
        "search by a plate": ask("/search/?q=DEMO000500", known),
        "search by the end of a phone number": ask("/search/?q=555000500", known),
        "known customer by phone and name": ask(
            f"/customers/known/?name={known.replace(' ', '+')}&phone=0555-000500", "same phone and name"
        ),
        "known bike by plate": ask("/customers/known/?plate=demo-000500", "same plate"),
        "search by a name with two letters swapped": ask(f"/search/?q={slip}", surname),
    }


def medians(client: Client) -> dict[str, float]:
    """Return the median time of every work as a multiple of the page without a list."""
    every = works(client)
    spent: dict[str, list[float]] = {name: [] for name in every}
    for _ in range(ROUNDS):
        for name, work in every.items():
            start = time.perf_counter()
            work()
            spent[name].append(time.perf_counter() - start)
    taken = {name: statistics.median(times[1:]) for name, times in spent.items()}
    plain = taken.pop(PLAIN)
    return {name: time / plain for name, time in taken.items()}


def logged_in() -> Client:
    from tests.factories import make_staff

    client = Client()
    client.force_login(make_staff(Role.DESK), backend="workshop.people.backend.StaffBackend")
    return client


def main() -> int:
    setup_test_environment()
    made = setup_databases(verbosity=0, interactive=False)
    try:
        ShopProfile.current()
        client = logged_in()
        fill(0, FEW)
        few = medians(client)
        fill(FEW, MANY)
        many = medians(client)
    finally:
        teardown_databases(made, verbosity=0)
    worst = 0.0
    for name, before in few.items():
        ratio = many[name] / before
        worst = max(worst, ratio)
        work = f"{name}, {MANY:,} jobs, {connection.vendor}"
        sys.stdout.write(f"{work:<72}{ratio:>12.2f}{LIMIT:>12.2f}\n")
    return int(worst > LIMIT)


if __name__ == "__main__":
    sys.exit(main())
