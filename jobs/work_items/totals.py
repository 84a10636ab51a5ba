"""The agreed work, its price, and what the customer authorised."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from jobs.job.results import JobResults
from jobs.models import Job, WorkItem
from workshop.csv_files import csv_text


@dataclass(frozen=True)
class Total:
    """The prices entered so far; ``over`` is their excess over the customer's limit, or None."""

    amount: Decimal
    unpriced: int
    over: Decimal | None


def total(job: Job, items: Sequence[WorkItem]) -> Total:
    amount = sum((item.price for item in items if item.price is not None), Decimal(0))
    unpriced = sum(item.price is None for item in items)
    authorised = job.authorised_amount
    exceeds = authorised is not None and amount > authorised
    return Total(amount, unpriced, amount - authorised if exceeds and authorised is not None else None)


def work_total(results: JobResults) -> Total:
    return total(results.job, results.rows(WorkItem))


def total_with(item: WorkItem, price: Decimal | None) -> Total | None:
    """Return the job's total with this price if it exceeds the authorised amount, else None.

    A price that is not raised asks nothing again.
    """
    before = WorkItem.objects.filter(pk=item.pk).values_list("price", flat=True).first() if item.pk else None
    if price is None or (before is not None and price <= before):
        return None
    others = list(item.job.work_items.exclude(pk=item.pk))
    with_it = total(item.job, [*others, WorkItem(price=price)])
    return with_it if with_it.over is not None else None


def max_authorised() -> Decimal:
    """Return the largest amount that the authorised-amount column holds."""
    field: Any = Job._meta.get_field("authorised_amount")
    return (Decimal(10) ** field.max_digits - 1).scaleb(-field.decimal_places)


def work_csv(job: Job, currency: str) -> str:
    """Write the work and parts of a job as CSV for the invoice."""
    about = (job.number, job.customer.name, str(job.bike), job.bike.plate)
    work = [
        (*about, "work", item.description, 1, item.price, currency, "yes" if item.done else "no")
        for item in job.work_items.all()
    ]
    parts = [
        (
            *about,
            "part",
            " ".join(filter(None, (part.maker, part.name, part.part_number))),
            part.quantity,
            None,
            currency,
            "yes" if part.fitted_at else "no",
        )
        for part in job.parts.all()
    ]
    header = ("job", "customer", "bike", "plate", "kind", "what", "quantity", "price", "currency", "done")
    return csv_text(header, [*work, *parts])
