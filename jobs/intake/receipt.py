"""Everything that a receipt says, read from the job; frozen when it is signed.

Values are in the unit of their name, times are ISO 8601 in UTC, amounts are decimals as text. Labels are in
English and translated where they are shown; what is agreed is stored in the language in which it is read.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.utils import translation

from jobs.calc.units.numbers import format_number
from jobs.intake.wordings import CURRENT, agreed_sentences
from jobs.job.facts_codec import from_json, to_json
from jobs.job.json_values import moment, number, strip_control_characters
from jobs.job.results import JobResults
from jobs.models import Authorisation, Photo, SignedReceipt, WorkItem
from workshop.images import small_image, strip_metadata
from workshop.units.display import NO_BREAK_SPACE

FORMAT = 1
PHOTO_SIDE_PX = 640


@dataclass(frozen=True)
class LetterheadFacts:
    name: str
    address: str
    phone: str
    email: str
    paper: str
    time_zone: str
    distance_unit: str


@dataclass(frozen=True)
class ReceiptBikeFacts:
    title: str
    plate: str
    vin: str


@dataclass(frozen=True)
class ReceiptCustomerFacts:
    name: str
    phone: str


@dataclass(frozen=True)
class ReceiptWorkFacts:
    id: int
    description: str
    price: str | None


@dataclass(frozen=True)
class AuthorisationFacts:
    id: int
    amount: str
    asked: str
    asked_by: str
    how: str
    at: str
    answer: str
    words: str


@dataclass(frozen=True)
class ReceiptPhotoFacts:
    id: int
    file: str
    shows: str
    added_at: str


@dataclass(frozen=True)
class ReceiptFacts:
    """The facts of one receipt."""

    job: str
    bike: ReceiptBikeFacts
    customer: ReceiptCustomerFacts
    received_at: str | None
    promised_at: str | None
    intended_use: str
    odometer_km: float | None
    engine_hours: float | None
    fuel: str
    keys: int | None
    brief: str
    work: list[ReceiptWorkFacts]
    limit: str | None
    authorisations: list[AuthorisationFacts]
    currency: str
    condition: str
    marks: list[dict[str, Any]]
    photos: list[ReceiptPhotoFacts]
    shop: LetterheadFacts
    wording: int
    agreed: list[str]
    format: int = field(default=FORMAT)
    language: str = settings.LANGUAGE_CODE

    @property
    def total(self) -> Decimal | None:
        """The prices added up, or None if no work has one."""
        prices = [Decimal(item.price) for item in self.work if item.price is not None]
        return sum(prices, Decimal(0)) if prices else None

    @property
    def code(self) -> str:
        """A short text that differs between any two states, to tell a printed page from the present."""
        stated = to_json(self)
        if self.language == settings.LANGUAGE_CODE:
            del stated["language"]  # pages printed before there were languages keep their code
        canonical = json.dumps(stated, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(canonical.encode()).hexdigest()[:8].upper()


def receipt_facts(results: JobResults) -> ReceiptFacts:
    """Return what a receipt of the job says now."""
    job, shop = results.job, results.shop
    limit = None if job.authorised_amount is None else money(job.authorised_amount)
    language = job.customer.language
    with translation.override(language):
        agreed = agreed_sentences(format_money(limit, shop.currency) if limit else "")
    facts = ReceiptFacts(
        job=job.number,
        bike=ReceiptBikeFacts(str(job.bike), job.bike.plate, job.bike.vin),
        customer=ReceiptCustomerFacts(job.customer.name, job.customer.phone),
        received_at=moment(job.received_at),
        promised_at=moment(job.promised_at),
        intended_use=job.get_intended_use_display(),
        odometer_km=number(job.odometer_km),
        engine_hours=number(job.engine_hours),
        fuel=job.get_fuel_display(),
        keys=job.keys,
        brief=job.brief,
        work=[
            ReceiptWorkFacts(item.pk, item.description, None if item.price is None else money(item.price))
            for item in results.rows(WorkItem)
        ],
        limit=limit,
        authorisations=[authorisation_facts(answer) for answer in results.rows(Authorisation)],
        currency=shop.currency,
        condition=job.condition,
        marks=list(job.condition_marks),
        photos=[
            ReceiptPhotoFacts(photo.pk, photo.image.name or "", str(photo), moment(photo.created_at))
            for photo in results.rows(Photo)
        ],
        shop=LetterheadFacts(
            shop.name, shop.address, shop.phone, shop.email, shop.paper, shop.time_zone, shop.distance_unit
        ),
        wording=CURRENT,
        agreed=agreed,
        language=language,
    )
    cleaned: ReceiptFacts = strip_control_characters(facts)
    return cleaned


def money(amount: Decimal | str) -> str:
    """Return an amount as text with two decimals, however it was entered."""
    return str(Decimal(amount).quantize(Decimal("0.01")))


def format_money(amount: str, currency: str) -> str:
    return f"{currency}{NO_BREAK_SPACE}{format_number(Decimal(amount), 2)}"


def authorisation_facts(answer: Authorisation) -> AuthorisationFacts:
    return AuthorisationFacts(
        id=answer.pk,
        amount=money(answer.amount),
        asked=answer.asked,
        asked_by=str(answer.asked_by),
        how=answer.get_how_display(),
        at=moment(answer.at),
        answer=answer.get_answer_display(),
        words=answer.words,
    )


def read_facts(receipt: SignedReceipt) -> ReceiptFacts | None:
    """Return the facts that were signed, or None if they were not stored with the signature."""
    return from_json(receipt.facts, ReceiptFacts) if receipt.has_facts else None


def draw_photos(photos: Sequence[Photo]) -> dict[str, str]:
    """Return the photos at print size as base64 by their id; one that cannot be read is left out."""
    drawn = {}
    for photo in photos:
        image = small_image(photo.image, PHOTO_SIDE_PX)
        if image is not None:
            drawn[str(photo.pk)] = strip_metadata(image.convert("RGB"), "JPEG", quality=80)
    return drawn
