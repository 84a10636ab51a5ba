"""The work agreed, its price, and what the customer authorised."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from jobs.models import Job, WorkItem


@dataclass(frozen=True)
class Total:
    """The prices named so far; ``over`` is what they exceed the authorised amount by, or None."""

    amount: Decimal
    unpriced: int
    over: Decimal | None


def total(job: Job, items: Sequence[WorkItem]) -> Total:
    amount = sum((item.price for item in items if item.price is not None), Decimal(0))
    unpriced = sum(item.price is None for item in items)
    authorised = job.authorised_amount
    exceeds = authorised is not None and amount > authorised
    return Total(amount, unpriced, amount - authorised if exceeds and authorised is not None else None)
