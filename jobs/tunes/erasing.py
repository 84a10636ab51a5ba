"""Calibration files with a customer's name in them: kept or deleted when the customer is erased."""

from collections.abc import Iterator
from functools import partial

from django.db import transaction
from django.urls import reverse

from jobs.models import TuneRevision
from workshop.models import Customer
from workshop.privacy.documents import StoredDocuments
from workshop.privacy.mentions import Redaction, find_terms

ENCODINGS = ("latin-1", "utf-8", "utf-16-le", "utf-16-be")  # the file is not interpreted, so look for all


def find_named_calibrations(customer: Customer) -> Iterator[TuneRevision]:
    """Yield the customer's tunes whose file contains the name, phone number or email address."""
    terms = find_terms(customer)
    tunes = TuneRevision.objects.filter(job__customer=customer).exclude(calibration="").select_related("job")
    for tune in tunes:
        try:
            with tune.calibration.storage.open(tune.calibration.name or "") as file:
                data: bytes = file.read()
        except FileNotFoundError:
            continue
        if any(terms.search(data.decode(encoding, "replace")) for encoding in ENCODINGS):
            yield tune


def delete_calibration(tune: TuneRevision, redaction: Redaction) -> None:
    """Delete the file as a whole: one with altered bytes must never come into a bike."""
    storage, name = tune.calibration.storage, tune.calibration.name or ""
    tune.calibration.name = ""
    tune.save()
    transaction.on_commit(partial(storage.delete, name))


NAMED_CALIBRATIONS = StoredDocuments(
    name="calibration files",
    advice=(
        "These files contain the name, the phone number or the email address. If you delete one, the tune "
        "keeps its changes and the SHA-256 of the file, but the file cannot be loaded into the bike again."
    ),
    find=find_named_calibrations,
    title=lambda tune: f"Calibration file of {tune.label}, job {tune.job}",
    url=lambda tune: reverse("tune", args=[tune.pk]),
    delete=delete_calibration,
)
