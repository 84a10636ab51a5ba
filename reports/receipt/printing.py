"""Print a signed receipt from its facts, keep the PDF, and read it back as it was kept."""

import hashlib
from base64 import b64decode

from django.core.files.base import ContentFile

from jobs.intake.receipt import ReceiptFacts, read_facts
from jobs.models import SignedReceipt
from reports.documents.document import document_pdf
from workshop.models import ShopProfile


class ReceiptUnavailable(Exception):
    """The PDF of a receipt is not available as it was kept; the message says why."""


def file_name(receipt: SignedReceipt) -> str:
    return f"receipt-{receipt.job.number}-{receipt.number}.pdf"


def receipt_pdf(receipt: SignedReceipt) -> bytes:
    """Return a signed receipt as PDF: the same bytes from the same facts and signature."""
    facts = read_facts(receipt)
    if facts is None:
        raise ReceiptUnavailable(
            "The signed data were not stored with this signature, so the check-in sheet cannot be printed."
        )
    pictures = {
        photo.file: (b64decode(receipt.pictures[str(photo.id)]), "image/jpeg")
        for photo in facts.photos
        if str(photo.id) in receipt.pictures
    }
    printed = {"facts": facts, "signed": receipt, "pictures": pictures}
    return document_pdf(
        "receipt", printed, letterhead(facts), receipt.signed_at, files=pictures, language=facts.language
    )


def letterhead(facts: ReceiptFacts) -> ShopProfile:
    """Return the shop as it was when the receipt was signed."""
    return ShopProfile(**vars(facts.shop))


def print_receipt(receipt: SignedReceipt) -> bytes:
    """Return the PDF as it was kept; print and keep it if that has not been done, or if its file is lost.

    Raises
    ------
    ReceiptUnavailable
        What was signed was not stored, or the file is lost and printing gives another one.
    """
    if receipt.erased_at is not None:
        raise ReceiptUnavailable(f"The PDF of {receipt.label} was deleted with the customer's data.")
    stored = stored_pdf(receipt)
    if stored is not None:
        return stored
    pdf = receipt_pdf(receipt)
    sha256, storage = hashlib.sha256(pdf).hexdigest(), receipt.pdf.storage
    if receipt.is_printed:
        if sha256 != receipt.sha256:
            raise ReceiptUnavailable(
                f"The file of {receipt.label} is missing or was changed, and this version of the program "
                "makes it differently. The signed data are stored. Restore the file from a backup."
            )
        storage.delete(receipt.pdf.name or "")
        storage.save(receipt.pdf.name, ContentFile(pdf))
        return pdf
    name = storage.save(receipt.pdf.field.generate_filename(receipt, file_name(receipt)), ContentFile(pdf))
    is_attached = False
    try:
        is_attached = receipt.attach(name, sha256)
    finally:
        if not is_attached:
            storage.delete(name)
    return pdf


def stored_pdf(receipt: SignedReceipt) -> bytes | None:
    """Return the stored PDF, or None if there is none or it is not the one that was kept."""
    if not receipt.is_printed:
        return None
    try:
        with receipt.pdf.storage.open(receipt.pdf.name or "") as file:
            pdf: bytes = file.read()
    except FileNotFoundError:
        return None
    return pdf if hashlib.sha256(pdf).hexdigest() == receipt.sha256 else None
