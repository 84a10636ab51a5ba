"""The preview of a sheet: drawn outside the request, its first page as soon as it is set.

A preview is a draft and no record. Its progress, pages and file are in a cache of files that all processes of
the site share, for a quarter of an hour.
"""

import io
import secrets
import time
from dataclasses import dataclass, replace

from django.core.cache import caches
from django.db import models
from django.utils import timezone
from django_tasks import task

from jobs.job.page import get_job
from jobs.job.results import load_job_results
from jobs.models import Job
from reports.handover.issuing import next_issue
from reports.handover.sheet import sheet_pdf
from reports.handover.size import TooLarge, require_printable_size
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import to_json
from reports.typesetting.pdf import DocumentSource, typeset
from workshop.background.abandoned import when_stopped
from workshop.background.processes import run_aside
from workshop.models import Customer, ShopProfile, StaffMember

CACHE = "previews"
MAX_QUIET_S = 180  # without progress for longer, it has stopped
ALONE_STYLE = "handover/sheet/alone.css"
WIDTH_PX = 1190  # of the picture of the first page: A4 at 144 dpi
FAILED = "The preview could not be made. The log of the site says why."


class PreviewStep(models.TextChoices):
    WAITING = "waiting", "waiting to be drawn"
    READING = "reading", "reading the records"
    FIRST = "first", "laying out the first page"
    PICTURES = "pictures", "drawing the pictures"
    PAGES = "pages", "laying out the pages"
    READY = "ready", "ready"
    FAILED = "failed", "not made"


@dataclass(frozen=True)
class SheetPreview:
    """The progress of a preview; ``moved_at`` is the time of the last step [s since the epoch]."""

    number: str
    step: PreviewStep = PreviewStep.WAITING
    done: int = 0
    of: int = 0
    pages: int = 0
    has_first_page: bool = False
    fault: str = ""
    moved_at: float = 0.0

    @property
    def is_under_way(self) -> bool:
        return not self.has_ended and not self.has_stopped

    @property
    def has_ended(self) -> bool:
        return self.step in (PreviewStep.READY, PreviewStep.FAILED)

    @property
    def has_stopped(self) -> bool:
        return not self.has_ended and time.time() - self.moved_at > MAX_QUIET_S

    @property
    def steps_done(self) -> float:
        """Return how many of the steps are done; the pictures count by how many are drawn."""
        drawn = self.done / self.of if self.step == PreviewStep.PICTURES and self.of else 0.0
        return [*PreviewStep].index(self.step) + drawn

    @property
    def progress_key(self) -> str:
        """Return a text that changes with every step of progress."""
        return f"{self.step}-{self.done}-{self.of}-{int(self.has_first_page)}-{int(self.has_stopped)}"


def start_preview(job: Job, by: StaffMember) -> str:
    """Start drawing the sheet as it would be issued now, and return the key of the preview."""
    key = secrets.token_urlsafe(16)
    store(key, SheetPreview(job.number))
    draw_preview.using(backend="process").enqueue(key, job.number, by.pk)
    return key


def store(key: str, preview: SheetPreview) -> None:
    caches[CACHE].set(key, replace(preview, moved_at=time.time()))


def get_preview(key: str, number: str) -> SheetPreview | None:
    """Return a preview of a job, or None if there is none or it has expired."""
    preview = caches[CACHE].get(key)
    if not isinstance(preview, SheetPreview) or preview.number != number:
        return None
    return replace(preview, has_first_page=f"{key}-first" in caches[CACHE])


def get_first_page(key: str) -> bytes | None:
    """Return the first page as a PNG picture."""
    picture: bytes | None = caches[CACHE].get(f"{key}-first")
    return picture


def get_pdf(key: str) -> bytes | None:
    pdf: bytes | None = caches[CACHE].get(f"{key}-pdf")
    return pdf


@task()
def draw_preview(key: str, number: str, by_pk: int) -> None:
    """Draw the sheet as it would be issued now, marked as a draft on every page."""
    preview = SheetPreview(number)

    def report(step: str, done: int = 0, of: int = 0) -> None:
        nonlocal preview
        preview = replace(preview, step=PreviewStep(step), done=done, of=of)
        store(key, preview)

    def show_first(source: DocumentSource) -> None:
        run_aside(lambda: caches[CACHE].set(f"{key}-first", draw_page(source)))

    try:
        report(PreviewStep.READING)
        job = get_job(number)
        results = load_job_results(job, ShopProfile.current())
        require_printable_size(results)
        by = StaffMember.objects.get(pk=by_pk)
        snapshot = make_snapshot(
            results, issue_number=next_issue(job), issued_by=by, at=timezone.now(), draft=True
        )
        report(PreviewStep.FIRST)
        pdf = sheet_pdf(to_json(snapshot), report, show_first)
        caches[CACHE].set(f"{key}-pdf", pdf)
        # Of a short sheet it has more than what was shown alone.
        caches[CACHE].set(f"{key}-first", picture_of_first_page(pdf))
        preview = replace(preview, pages=count_pages(pdf))
        report(PreviewStep.READY)
    except TooLarge as problem:
        preview = replace(preview, fault=str(problem))
        report(PreviewStep.FAILED)
    except BaseException:
        preview = replace(preview, fault=FAILED)
        report(PreviewStep.FAILED)
        raise


@when_stopped(draw_preview)
def record_stop(key: str, number: str, by_pk: int, problem: str) -> None:
    """Record that the process of a preview could not be started or ended before it was ready."""
    preview = get_preview(key, number)
    if preview and not preview.has_ended:
        store(key, replace(preview, step=PreviewStep.FAILED, fault=problem or FAILED))


def draw_page(source: DocumentSource) -> bytes:
    """Return the first page of a document as a PNG picture."""
    # Links within the sheet lead to pages that are not set here, which WeasyPrint would report as faults.
    alone = replace(source, html=source.html.replace('href="#', 'data-to="#'))
    return picture_of_first_page(typeset(alone, styles=(ALONE_STYLE,), at=timezone.now()))


def picture_of_first_page(pdf: bytes) -> bytes:
    import pypdfium2

    with pypdfium2.PdfDocument(pdf) as document:
        page = document[0]
        image = page.render(scale=WIDTH_PX / page.get_width()).to_pil()
    picture = io.BytesIO()
    image.save(picture, "PNG")
    return picture.getvalue()


def count_pages(pdf: bytes) -> int:
    import pypdfium2

    with pypdfium2.PdfDocument(pdf) as document:
        return len(document)


def delete_previews(customer: Customer) -> None:
    """Delete every preview, since one may show the name of a customer who is erased."""
    caches[CACHE].clear()
