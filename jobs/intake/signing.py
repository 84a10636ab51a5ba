"""Signing a receipt: what it says is frozen together with the signature."""

import logging
from collections.abc import Callable
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from jobs.intake.receipt import draw_photos, receipt_facts
from jobs.intake.receipt_changes import receipt_state
from jobs.job.facts_codec import to_json
from jobs.job.page import get_job
from jobs.job.results import JobResults, load_job_results
from jobs.models import Job, Photo, SignedReceipt
from workshop.models import StaffMember

logger = logging.getLogger(__name__)

# Apps above this one add to these from their AppConfig.ready; each makes a document of a signed receipt.
document_makers: list[Callable[[SignedReceipt], object]] = []


class NotSigned(Exception):
    """The signature was not stored; the message says why."""


def sign_receipt(
    *,
    results: JobResults,
    by: StaffMember,
    signed_by: str,
    signature: list[list[list[int]]],
    code: str = "",
    at: datetime | None = None,
) -> SignedReceipt:
    """Store a signature with everything that the receipt says; without lines it was signed on paper.

    Parameters
    ----------
    code : str
        Of the state that was shown to be signed, if it was shown.

    Raises
    ------
    NotSigned
        The present state is signed already, or is not the one that was shown.
    """
    pictures = draw_photos(results.rows(Photo))  # before the transaction, since it takes long
    with transaction.atomic():
        job = Job.objects.select_for_update().get(pk=results.job.pk)
        state = receipt_state(load_job_results(get_job(job.number), results.shop))
        latest, present = state.latest, state.present
        if latest is not None and state.is_current:
            signed = timezone.localtime(latest.signed_at)
            raise NotSigned(
                f"{latest.signed_by} has already signed this check-in on {signed:%-d %b %Y at %H:%M}."
            )
        if present.code != (code or results.get(receipt_facts).code):
            raise NotSigned(
                "Not signed: the check-in sheet was changed in the meantime. Read it again with "
                "the customer, then ask them to sign."
            )
        return SignedReceipt.objects.create(
            job=job,
            number=latest.number + 1 if latest else 1,
            facts=to_json(present),
            pictures=pictures,
            signed_by=signed_by,
            signature=signature,
            signed_at=at or timezone.now(),
            taken_by=by,
        )


def make_documents(receipt: SignedReceipt) -> bool:
    """Make the documents of a signed receipt; return False if one failed, which harms no signature."""
    try:
        for make in document_makers:
            make(receipt)
    except Exception:
        logger.exception("The document of %s could not be made.", receipt)
        return False
    return True
