"""What becomes of issued sheets when their customer is erased: the owner keeps or deletes each."""

from collections.abc import Iterable
from functools import partial
from typing import Any

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from reports.models import HandoverSheet
from workshop.models import Customer
from workshop.privacy.documents import StoredDocuments
from workshop.privacy.mentions import Redaction


def find_sheets(customer: Customer) -> Iterable[HandoverSheet]:
    sheets = HandoverSheet.objects.filter(job__customer=customer, erased_at=None).select_related("job")
    return sheets.order_by("issued_at", "pk")


def title_sheet(sheet: HandoverSheet) -> str:
    return f"Handover sheet {sheet.number}, issued {timezone.localtime(sheet.issued_at):%-d %b %Y}"


def sheet_url(sheet: HandoverSheet) -> str:
    return f"{reverse('handover', args=[sheet.job.number])}#sheet-{sheet.pk}"


def delete_sheet(sheet: HandoverSheet, blank: Redaction) -> None:
    """Delete a sheet's PDF and take the person out of its data; number, dates and hashes stay."""
    name, storage = sheet.pdf.name, sheet.pdf.storage
    sheet.erase_person(
        blank_snapshot(sheet.snapshot, blank), blank(sheet.override_reason), blank(sheet.open_points)
    )
    if name:
        transaction.on_commit(partial(storage.delete, name))


def blank_snapshot(snapshot: dict[str, Any], blank: Redaction) -> dict[str, Any]:
    """Return stored facts without what describes the customer or opens the sheet."""
    left: dict[str, Any] = blank.including(snapshot.get("bike", {}).get("plate", ""))(snapshot)
    if "customer" in left:
        left["customer"] |= {"experience": "", "riding_mass_kg": None}
    if left.get("sheet", {}).get("link"):
        left["sheet"]["link"] = None
    if left.get("notices", {}).get("told"):
        left["notices"]["told"] = blank.name  # whoever was told: not always the customer, but a person
    for handover in left.get("handovers", []):
        handover["handed_to"] = blank.name
        if handover["informed_person"]:
            handover["informed_person"] = blank.name
    return left


SHEETS = StoredDocuments(
    name="issued handover sheets",
    advice=(
        "A sheet shows what was done and said, and tax and liability law may require you to keep it for some "
        "years (rule of thumb, no published source): check your local law. If you delete one, its PDF is "
        "deleted and the name is removed from its data. Its number, dates and SHA-256 stay, so that a copy "
        "can still be compared."
    ),
    find=find_sheets,
    title=title_sheet,
    url=sheet_url,
    delete=delete_sheet,
)
