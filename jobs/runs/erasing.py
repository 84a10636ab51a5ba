"""Run files with a customer's name in them: kept or cleaned when the customer is erased."""

import codecs
import hashlib
from collections.abc import Iterator
from functools import partial

from django.core.files.base import ContentFile
from django.db import transaction
from django.urls import reverse

from jobs.models import Run
from workshop.models import Customer
from workshop.privacy.documents import StoredDocuments
from workshop.privacy.mentions import Redaction, find_terms

BYTE_ORDER_MARKS = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}


def decode(data: bytes) -> tuple[str, str, str]:
    """Return the text of a file, its encoding and how errors are kept, so that it can be encoded again."""
    if encoding := BYTE_ORDER_MARKS.get(data[:2]):
        return data.decode(encoding, "surrogatepass"), encoding, "surrogatepass"
    return data.decode("utf-8", "surrogateescape"), "utf-8", "surrogateescape"


def read_original(run: Run) -> bytes:
    """Return the run's file, or nothing if it is lost."""
    try:
        with run.original.storage.open(run.original.name or "") as file:
            data: bytes = file.read()
    except FileNotFoundError:
        return b""
    return data


def find_named_files(customer: Customer) -> Iterator[Run]:
    """Yield the customer's runs whose file contains the name, phone number or email address."""
    terms = find_terms(customer)
    for run in Run.objects.filter(job__customer=customer).select_related("job"):
        if terms.search(decode(read_original(run))[0]):
            yield run


def clean_file(run: Run, redaction: Redaction) -> None:
    """Put "#" for each sign that identifies the customer, so that all other bytes stay where they are."""
    text, encoding, errors = decode(read_original(run))
    data = redaction.terms.sub(lambda term: "#" * len(term[0]), text).encode(encoding, errors)
    storage, old_name = run.original.storage, run.original.name or ""
    run.sha256, run.size = hashlib.sha256(data).hexdigest(), len(data)
    run.original.save(f"{run.sha256[:16]}.dat", ContentFile(data), save=False)
    run.save()
    transaction.on_commit(partial(storage.delete, old_name))


NAMED_RUN_FILES = StoredDocuments(
    name="run files",
    advice=(
        "These files contain the name, the phone number or the email address. If you delete "
        "them, “#” characters replace them in the file. All measured values stay. The file's SHA-256 "
        "changes, so it no longer matches the one printed on sheets issued before."
    ),
    find=find_named_files,
    title=lambda run: f"Run file no. {run.pk} of job {run.job}",
    url=lambda run: reverse("run", args=[run.pk]),
    delete=clean_file,
)
