"""Print issued sheets: in a process started on demand, by a worker, or in the request itself.

A sheet is printed from its snapshot and each step is recorded. The PDF is attached once, even if two
processes print the same sheet.
"""

import hashlib
from datetime import datetime

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django_tasks import task

from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet, Printing
from reports.typesetting.signing import CertificateUnreadable, has_certificate, sign_pdf
from workshop.background.abandoned import MAX_ATTEMPTS, when_stopped

STOPPED = "Printing was stopped before it had finished."
GIVEN_UP = f"Printing was stopped or not begun {MAX_ATTEMPTS} times. Check the log of the site."


class PdfMismatch(Exception):
    """Printing gave another PDF than the one that was issued."""


def start_printing(sheet: HandoverSheet, *, backend: str = "default") -> None:
    """Start printing a sheet; does nothing if printing is already under way.

    Parameters
    ----------
    backend : str
        Name in ``TASKS`` of the backend that prints it.
    """
    with transaction.atomic():
        if HandoverSheet.objects.get(pk=sheet.pk).erased_at:
            return
        printing, is_first = Printing.objects.select_for_update().get_or_create(sheet_id=sheet.pk)
        if not is_first:
            if not printing.can_be_restarted:
                return
            printing.restart()
    # After the transaction, so that it is not held open if the backend prints in this process.
    print_sheet.using(backend=backend).enqueue(sheet.pk, printing.attempt)


def take_up_prints(now: datetime) -> None:
    """Print again what was stopped, or what nobody took or moved on within the limits.

    A sheet that no worker took is printed in a process. After some attempts the fault is left to people.
    """
    for printing in Printing.objects.abandoned(now):
        seen = Printing.objects.filter(pk=printing.pk, attempt=printing.attempt, step=printing.step)
        if printing.taken_up + 1 >= MAX_ATTEMPTS:
            seen.update(step=Printing.Step.FAILED, fault=GIVEN_UP, moved_at=timezone.now())
            continue
        with transaction.atomic():
            current = seen.select_for_update().first()
            if current is None:
                continue  # it moved on, or another process of the site took it up
            current.restart(taken_up=current.taken_up + 1)
        backend = "process" if printing.step == Printing.Step.WAITING else "default"
        print_sheet.using(backend=backend).enqueue(current.sheet_id, current.attempt)


@task()
def print_sheet(sheet_pk: int, attempt: int) -> None:
    """Print a sheet and store its PDF."""
    attempt_rows = Printing.objects.filter(sheet_id=sheet_pk, attempt=attempt).exclude(
        step=Printing.Step.DONE
    )
    # Only one takes it: a second worker, or one picking up an abandoned attempt, matches no row.
    if not attempt_rows.filter(step=Printing.Step.WAITING).update(step=Printing.Step.PICTURES):
        return

    def report_progress(step: str, done: int = 0, of: int = 0) -> None:
        attempt_rows.update(step=step, done=done, of=of, moved_at=timezone.now())

    try:
        sheet = HandoverSheet.objects.select_related("job").get(pk=sheet_pk)
        pdf = sheet_pdf(sheet.snapshot, report_progress)
        report_progress(Printing.Step.KEEPING)
        store_pdf(sheet, pdf)
    except BaseException as problem:
        step = Printing.Step.FAILED if isinstance(problem, Exception) else Printing.Step.STOPPED
        attempt_rows.update(step=step, fault=describe_error(problem), moved_at=timezone.now())
        raise
    Printing.objects.filter(sheet=sheet).update(step=Printing.Step.DONE, fault="", moved_at=timezone.now())


@when_stopped(print_sheet)
def record_stop(sheet_pk: int, attempt: int, problem: str) -> None:
    """Record that the process of an attempt could not be started or ended before the sheet was printed."""
    ended = (Printing.Step.DONE, Printing.Step.STOPPED, Printing.Step.FAILED)
    unfinished = Printing.objects.filter(sheet_id=sheet_pk, attempt=attempt).exclude(step__in=ended)
    step = Printing.Step.FAILED if problem else Printing.Step.STOPPED
    unfinished.update(step=step, fault=problem or STOPPED, moved_at=timezone.now())


def describe_error(problem: BaseException) -> str:
    if isinstance(problem, PdfMismatch | CertificateUnreadable):
        return str(problem)
    if isinstance(problem, OSError):
        return f"A file could not be written: {problem.strerror or problem}."
    if isinstance(problem, Exception):
        return "A program error stopped the printing. See the server log."
    return STOPPED


def file_name(sheet: HandoverSheet) -> str:
    return f"handover-{sheet.job.number}-{sheet.issue_number}.pdf"


def store_pdf(sheet: HandoverSheet, pdf: bytes) -> None:
    """Attach the PDF, signed if the shop has a certificate, or restore the lost file of a printed sheet."""
    storage = sheet.pdf.storage
    signature = None
    if sheet.is_printed:
        pdf += bytes(sheet.signature)
    elif has_certificate():
        signature = sign_pdf(pdf)
        pdf += signature.appended
    sha256 = hashlib.sha256(pdf).hexdigest()
    if sheet.is_printed:
        if sha256 != sheet.sha256:
            raise PdfMismatch(
                f"The file of sheet {sheet.number} is missing or was changed, and this version of the "
                "program makes it differently. Its data are complete. Restore the file from a backup."
            )
        storage.delete(sheet.pdf.name or "")
        storage.save(sheet.pdf.name, ContentFile(pdf))
        return
    name = storage.save(sheet.pdf.field.generate_filename(sheet, file_name(sheet)), ContentFile(pdf))
    attached = False
    try:
        attached = sheet.attach(name, sha256, signature)
    finally:
        if not attached:
            storage.delete(name)
