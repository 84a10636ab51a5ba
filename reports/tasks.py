"""Printing issued sheets: at once, or by a worker where one is set up.

Whoever prints a sheet does it from its snapshot, tells each step, and attaches the PDF once: printed twice,
by two workers or after one that died, it stays one sheet with one PDF.
"""

import hashlib

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django_tasks import task
from django_tasks.backends.immediate import ImmediateBackend

from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet, Printing

AT_ONCE = "at_once"


class NotAsIssued(Exception):
    """The data give another PDF than the one that was issued."""


def in_background() -> bool:
    return not isinstance(print_sheet.get_backend(), ImmediateBackend)


def ask_for_pages(sheet: HandoverSheet, *, at_once: bool = False) -> None:
    """Have a sheet printed; nothing where that is under way.

    Parameters
    ----------
    at_once : bool
        Print it here and now although a worker is set up.
    """
    with transaction.atomic():
        printing, is_first = Printing.objects.select_for_update().get_or_create(sheet_id=sheet.pk)
        if not is_first:
            if not printing.may_be_asked_again:
                return
            printing.begin_anew()
        at_once = at_once or not in_background()
        if not at_once:
            print_sheet.enqueue(sheet.pk, printing.attempt)
    if at_once:  # after the transaction, so that nobody waits for it while the pages are set
        print_sheet.using(backend=AT_ONCE).enqueue(sheet.pk, printing.attempt)


@task()
def print_sheet(sheet_pk: int, attempt: int) -> None:
    """Set a sheet's pages and keep them."""
    mine = Printing.objects.filter(sheet_id=sheet_pk, attempt=attempt).exclude(step=Printing.Step.DONE)
    # Taken once: a second worker, or one that comes to an attempt given up meanwhile, finds nothing here.
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
    return "The worker was stopped while it made the pages."


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
