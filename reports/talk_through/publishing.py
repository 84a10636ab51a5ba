"""Publish a talk-through with the customer's consent, and take it back; nobody is named in it."""

from dataclasses import replace
from typing import Any

from reports.customer.links import (
    MAX_OPENINGS_PER_HOUR,
    MAX_UNKNOWN_LINKS_PER_HOUR,
    count_request,
    revoke,
)
from reports.handover.erasing import blank_snapshot
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.schema import Snapshot
from reports.models import HandoverSheet, Publication
from workshop.models import Customer
from workshop.privacy.mentions import Redaction, find_terms

MIN_NAME_PART = 3  # letters; shorter parts of a name are words of the language too often
NOBODY = "…"


def find_publication(token: str, address: str) -> Publication | None:
    """Return the publication with this token, live or not, or None; raises RateLimited."""
    found = Publication.objects.select_related("sheet__job__customer", "sheet__job__bike").filter(token=token)
    publication = found.first()
    if publication is None:
        count_request(f"unknown:{address}", MAX_UNKNOWN_LINKS_PER_HOUR)
        return None
    count_request(f"publication {publication.pk}:{address}", MAX_OPENINGS_PER_HOUR)
    return publication


def revoke_publications(customer: Customer) -> None:
    """Revoke every publication about the customer's bikes."""
    for publication in Publication.objects.filter(sheet__job__customer=customer):
        revoke(publication)


def without_names(sheet: HandoverSheet) -> Snapshot:
    """Return what a sheet says without name, plate and VIN, in the texts that people typed too."""
    stored: dict[str, Any] = sheet.snapshot
    blank = redaction(sheet)
    snapshot = from_json(blank_snapshot(stored, blank))
    return replace(
        snapshot,
        customer=replace(snapshot.customer, name="", experience="", riding_mass_kg=None),
        bike=replace(snapshot.bike, plate="", vin=""),
        sheet=replace(snapshot.sheet, job="", number="", issued_by="", link=None, check_address=""),
    )


def redaction(sheet: HandoverSheet) -> Redaction:
    """Return what replaces the customer's names, plates and VINs, as now and as on the sheet."""
    customer, bike, stored = sheet.job.customer, sheet.job.bike, sheet.snapshot
    names = {customer.name, stored["customer"]["name"]}
    parts = {part for name in names for part in name.split() if len(part) >= MIN_NAME_PART}
    plates = {bike.plate, stored["bike"]["plate"]}
    closed = {plate.replace(" ", "") for plate in plates}
    texts = {*names, *parts, *plates, *closed, bike.vin, stored["bike"]["vin"]}
    blank = Redaction(find_terms(customer), NOBODY)
    for text in sorted(texts, key=len, reverse=True):
        blank = blank.including(text)
    return blank
