"""What differs between a signed receipt and the job as it is now.

``COMPARED`` holds every fact of the job that a receipt says, so that none can be changed unnoticed.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from jobs.intake.receipt import (
    AuthorisationFacts,
    ReceiptFacts,
    ReceiptPhotoFacts,
    ReceiptWorkFacts,
    format_money,
    read_facts,
    receipt_facts,
)
from jobs.intake.receive import SIDES
from jobs.job.results import JobResults
from jobs.models import SignedReceipt
from workshop.languages import format_day_time
from workshop.units.display import NO_BREAK_SPACE, format_plain, format_value

NOTHING = "–"
# What the shop or the program says; a signature stays valid for the text that it was given for.
NOT_COMPARED = {"shop", "wording", "agreed", "format", "language"}


@dataclass(frozen=True)
class ReceiptChange:
    """One fact that differs from what was signed."""

    what: str
    before: str
    after: str


Items = Callable[[Any, ReceiptFacts], dict[Any, str]]


def one(show: Callable[[Any, ReceiptFacts], str]) -> Items:
    """Return a fact that is a single value, as the only item of its kind."""
    return lambda value, facts: {"": show(value, facts)}


def local(text: str | None) -> str:
    """Return a stored time as the shop's clock shows it."""
    return NOTHING if text is None else format_day_time(datetime.fromisoformat(text))


def describe_distance(value: float | None, facts: ReceiptFacts) -> str:
    return format_value(value, "distance", facts.shop.distance_unit)


def describe_work(item: ReceiptWorkFacts, facts: ReceiptFacts) -> str:
    price = "no price yet" if item.price is None else format_money(item.price, facts.currency)
    return f"{item.description}, {price}"


def describe_authorisation(answer: AuthorisationFacts, currency: str) -> str:
    """Return in a sentence who was asked, by whom, how, when, and what they said."""
    text = (
        _(
            "%(at)s: %(asked)s was asked by %(asked_by)s %(how)s for a limit of %(amount)s and "
            "%(answer)s: “%(words)s”."
        )
        if answer.words
        else _(
            "%(at)s: %(asked)s was asked by %(asked_by)s %(how)s for a limit of %(amount)s and %(answer)s."
        )
    )
    return text % {
        **vars(answer),
        "at": local(answer.at),
        "how": _(answer.how),
        "amount": format_money(answer.amount, currency),
        "answer": _(answer.answer),
    }


def describe_mark(mark: dict[str, Any]) -> str:
    x, y = (format_plain(mark[name]) for name in ("x", "y"))
    return f"{mark['note']} ({mark['side']} side, {x} % from the left, {y} % from the top)"


def describe_marks(marks: Sequence[dict[str, Any]], facts: ReceiptFacts) -> dict[Any, str]:
    # A mark from before there were sides is on the right.
    sided = [{"side": SIDES[0], **mark} for mark in marks]
    return {json.dumps(mark, sort_keys=True): describe_mark(mark) for mark in sided}


def describe_photo(photo: ReceiptPhotoFacts) -> str:
    return f"{photo.shows}, added {local(photo.added_at)}"


def text(value: str, facts: ReceiptFacts) -> str:
    return value or NOTHING


# Every fact of the job: its name on the receipt, and its items by what makes each the same item.
COMPARED: dict[str, tuple[str, Items]] = {
    "job": ("job", one(text)),
    "bike": (
        "bike",
        lambda bike, facts: {
            ": make, model and year": text(bike.title, facts),
            ": number plate": text(bike.plate, facts),
            ": VIN": text(bike.vin, facts),
        },
    ),
    "customer": (
        "customer",
        lambda customer, facts: {
            ": name": text(customer.name, facts),
            ": phone": text(customer.phone, facts),
        },
    ),
    "received_at": ("checked in", one(lambda value, facts: local(value))),
    "promised_at": ("ready by", one(lambda value, facts: local(value))),
    "intended_use": ("intended use", one(text)),
    "odometer_km": ("odometer", one(describe_distance)),
    "engine_hours": (
        "engine hours",
        one(lambda value, facts: NOTHING if value is None else f"{format_plain(value)}{NO_BREAK_SPACE}h"),
    ),
    "fuel": ("fuel", one(text)),
    "keys": ("keys", one(lambda value, facts: "not counted" if value is None else str(value))),
    "brief": ("customer's request", one(text)),
    "work": ("agreed work", lambda work, facts: {item.id: describe_work(item, facts) for item in work}),
    "limit": (
        "customer's limit",
        one(lambda value, facts: NOTHING if value is None else format_money(value, facts.currency)),
    ),
    "authorisations": (
        "authorised by the customer",
        lambda answers, facts: {
            answer.id: describe_authorisation(answer, facts.currency) for answer in answers
        },
    ),
    "currency": ("currency", one(text)),
    "condition": ("condition on arrival", one(text)),
    "marks": ("mark on the outline", describe_marks),
    "photos": (
        "photo",
        lambda photos, facts: {(photo.id, photo.file): describe_photo(photo) for photo in photos},
    ),
}


def receipt_changes(signed: ReceiptFacts, present: ReceiptFacts) -> list[ReceiptChange]:
    """Return every fact that differs from what was signed, with both values."""
    return [change for name in COMPARED for change in fact_changes(name, signed, present)]


def fact_changes(name: str, signed: ReceiptFacts, present: ReceiptFacts) -> Iterator[ReceiptChange]:
    before, after = getattr(signed, name), getattr(present, name)
    if before == after:
        return
    what, items = COMPARED[name]
    was, now = items(before, signed), items(after, present)
    for key in dict.fromkeys((*was, *now)):
        if was.get(key) != now.get(key):
            part = key if isinstance(key, str) and key.startswith(":") else ""
            yield ReceiptChange(f"{what}{part}", was.get(key, NOTHING), now.get(key, NOTHING))


@dataclass(frozen=True)
class ReceiptState:
    """The receipt of a job now: the last signature, and what was changed since.

    Attributes
    ----------
    present : ReceiptFacts
    signed : list of SignedReceipt
        Every signature, the latest first.
    changes : list of ReceiptChange
        What differs from the last signed receipt.
    """

    present: ReceiptFacts
    signed: list[SignedReceipt]
    changes: list[ReceiptChange]

    @property
    def latest(self) -> SignedReceipt | None:
        return self.signed[0] if self.signed else None

    @property
    def is_current(self) -> bool:
        """Return True if exactly the present state was signed."""
        latest = self.latest
        return latest is not None and latest.has_facts and latest.erased_at is None and not self.changes

    @property
    def is_unknown(self) -> bool:
        """Return True if the last signature was stored without what was signed."""
        return self.latest is not None and not self.latest.has_facts


def receipt_state(results: JobResults) -> ReceiptState:
    receipts = sorted(results.rows(SignedReceipt), key=lambda receipt: -receipt.number)
    present = results.get(receipt_facts)
    signed = read_facts(receipts[0]) if receipts else None
    return ReceiptState(present, receipts, receipt_changes(signed, present) if signed else [])
