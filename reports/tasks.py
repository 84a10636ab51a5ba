"""Printing issued sheets: in a process started on demand, by a worker, or in the request itself.

A sheet is printed from its snapshot, each step is recorded, and the PDF is attached once: a sheet printed
twice, by two processes or after one that died, has one PDF.
"""

import hashlib

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django_tasks import task

from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet, Printing


class NotAsIssued(Exception):
    """The data give another PDF than the one that was issued."""


def ask_for_pages(sheet: HandoverSheet, *, backend: str = "default") -> None:
    """Start printing a sheet; does nothing if printing is already under way.

    Parameters
    ----------
    backend : str
        Name in ``TASKS`` of the backend that prints it.
    """
    with transaction.atomic():
        printing, is_first = Printing.objects.select_for_update().get_or_create(sheet_id=sheet.pk)
        if not is_first:
            if not printing.may_be_asked_again:
                return
            printing.begin_anew()
    # After the transaction, so that it is not held open if the backend prints in this process.
    print_sheet.using(backend=backend).enqueue(sheet.pk, printing.attempt)


@task()
def print_sheet(sheet_pk: int, attempt: int) -> None:
    """Set a sheet's pages and keep them."""
    mine = Printing.objects.filter(sheet_id=sheet_pk, attempt=attempt).exclude(step=Printing.Step.DONE)
    # Taken once: a second worker, or one picking up an abandoned attempt, matches no row.
    if not mine.filter(step=Printing.Step.WAITING).update(step=Printing.Step.PICTURES):
        return

    def tell(step: str, done: int = 0, of: int = 0) -> None:
        mine.update(step=step, done=done, of=of, moved_at=timezone.now())

    try:
        sheet = HandoverSheet.objects.select_related("job").get(pk=sheet_pk)
        pdf = sheet_pdf(sheet.snapshot, tell)
        tell(Printing.Step.KEEPING)
        keep(sheet, pdf)
    except BaseException as problem:
        mine.update(step=Printing.Step.FAILED, fault=in_words(problem), moved_at=timezone.now())
        raise
    Printing.objects.filter(sheet=sheet).update(step=Printing.Step.DONE, fault="", moved_at=timezone.now())


def in_words(problem: BaseException) -> str:
    if isinstance(problem, NotAsIssued):
        return str(problem)
    if isinstance(problem, OSError):
        return f"A file could not be written: {problem.strerror or problem}."
    if isinstance(problem, Exception):
        return "The program failed while it made the pages; its log says how."
    return "Printing was stopped before it had finished."


def file_name(sheet: HandoverSheet) -> str:
    return f"handover-{sheet.job.number}-{sheet.issue_number}.pdf"


def keep(sheet: HandoverSheet, pdf: bytes) -> None:
    """Attach the PDF, or put it back where the file of a printed sheet was lost."""
    sha256 = hashlib.sha256(pdf).hexdigest()
    storage = sheet.pdf.storage
    if sheet.is_printed:
        if sha256 != sheet.sha256:
            raise NotAsIssued(
                f"The file of sheet {sheet.number} is missing or was changed, and this version of the "
                "program makes it differently. Its data are kept whole: look for the file in a back-up."
            )
        storage.delete(sheet.pdf.name or "")
        storage.save(sheet.pdf.name, ContentFile(pdf))
        return
    name = storage.save(sheet.pdf.field.generate_filename(sheet, file_name(sheet)), ContentFile(pdf))
    attached = False
    try:
        attached = sheet.attach(name, sha256)
    finally:
        if not attached:
            storage.delete(name)
