"""The preview: drawn outside the request with its steps, the first page first, and no record of it."""

import io
import time

import pytest
from django.core.cache import caches
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from reports.handover import preview, sheet
from reports.handover.preview import CACHE, MAX_QUIET_S, PreviewStep, SheetPreview
from reports.models import HandoverSheet
from reports.typesetting.pdf import DocumentSource, typeset
from tests import factories
from tests.reports import whole_jobs
from tests.reports.reading import pages, squeezed
from workshop.models import Role

pytestmark = pytest.mark.django_db
KEY = "a-key-of-this-test"


@pytest.fixture
def job():
    """Make a job of a bike that has not arrived, so that its sheet is short."""
    whole_jobs.make_shop()
    return factories.make_job()


def page_address(job, key: str = KEY) -> str:
    return reverse("preview", args=[job.number, key])


def test_preview_is_draft_shown_in_browser(login, job) -> None:
    client = login(Role.MECHANIC)
    answer = client.get(reverse("handover-preview", args=[job.number]), follow=True)
    key = answer.redirect_chain[0][0].split("/")[-2]
    assert f"Preview of sheet {job.number}/1" in answer.text
    pdf = client.get(reverse("preview-pdf", args=[job.number, key]))
    assert pdf.headers["Content-Type"] == "application/pdf"
    assert pdf.headers["Content-Disposition"].startswith("inline")
    printed = pages(pdf.getvalue())
    assert all("Draft,notissued" in squeezed(page) for page in printed)
    assert f"Open the PDF ({len(printed)} pages)" in answer.text
    picture = client.get(reverse("preview-page", args=[job.number, key])).content
    assert Image.open(io.BytesIO(picture)).width >= 1190
    assert not HandoverSheet.objects.exists()


def test_first_page_is_shown_before_the_others_are_set(staff, job, monkeypatch) -> None:
    seen: list[tuple[str, bool]] = []
    store = preview.store

    def store_and_note(key: str, found: SheetPreview) -> None:
        store(key, found)
        seen.append((found.step, preview.get_preview(key, job.number).has_first_page))

    monkeypatch.setattr(preview, "store", store_and_note)
    preview.start_preview(job, staff[Role.DESK])
    steps = list(dict.fromkeys(step for step, _ in seen))
    assert steps == [
        PreviewStep.WAITING,
        PreviewStep.READING,
        PreviewStep.FIRST,
        PreviewStep.PICTURES,
        PreviewStep.PAGES,
        PreviewStep.READY,
    ]
    assert (PreviewStep.FIRST, False) in seen
    assert (PreviewStep.PICTURES, True) in seen


def test_first_page_alone_says_what_the_first_page_of_the_sheet_says(snapshot) -> None:
    alone: list[DocumentSource] = []
    short = {**snapshot, "runs": [], "checks": []}
    first = squeezed(pages(sheet.sheet_pdf(short, show_first=alone.append))[0])
    at = timezone.now()
    [page] = pages(typeset(alone[0], styles=(preview.ALONE_STYLE,), at=at))
    assert first.startswith(squeezed(page)[:800])
    assert "page1of" in first
    assert "page1of" not in squeezed(page)  # how many follow is not known yet


def test_page_polls_until_the_preview_is_ready(login, job) -> None:
    client = login(Role.DESK)
    preview.store(KEY, SheetPreview(job.number, PreviewStep.PICTURES, done=2, of=5))
    page = client.get(page_address(job)).text
    assert "drawing the pictures, those of 2 of 5 sections are drawn" in page
    assert "Open the PDF" not in page
    seen = {"seen": preview.get_preview(KEY, job.number).progress_key}
    headers = {"HX-Request": "true"}
    assert client.get(page_address(job), seen, headers=headers).status_code == 204
    preview.store(KEY, SheetPreview(job.number, PreviewStep.PAGES))
    part = client.get(page_address(job), seen, headers=headers).text
    assert "laying out the pages" in part
    assert "<html" not in part


def test_fault_is_shown(login, job, monkeypatch) -> None:
    def fail(*given: object) -> bytes:
        raise ValueError("odd")

    monkeypatch.setattr(preview, "sheet_pdf", fail)
    page = login(Role.DESK).get(reverse("handover-preview", args=[job.number]), follow=True).text
    assert "The preview could not be made. The log of the site says why." in page
    assert "Preview again" in page


def test_preview_whose_process_ended_is_not_waited_for(login, job) -> None:
    preview.store(KEY, SheetPreview(job.number, PreviewStep.PAGES))
    preview.record_stop(KEY, job.number, 0, "")
    assert "could not be made" in login(Role.DESK).get(page_address(job)).text


def test_preview_without_progress_has_stopped(login, job, monkeypatch) -> None:
    preview.store(KEY, SheetPreview(job.number, PreviewStep.PAGES))
    now = time.time()
    monkeypatch.setattr(preview.time, "time", lambda: now + MAX_QUIET_S + 1)
    page = login(Role.DESK).get(page_address(job)).text
    assert "The preview has stopped." in page
    assert "hx-get" not in page[page.index('id="preview"') :]


def test_expired_preview_says_so(login, job) -> None:
    client = login(Role.DESK)
    assert "This preview has expired." in client.get(page_address(job)).text
    for name in ("preview-page", "preview-pdf"):
        assert client.get(reverse(name, args=[job.number, KEY])).status_code == 404


def test_preview_of_another_job_is_not_shown(login, job) -> None:
    preview.store(KEY, SheetPreview("1999-001", PreviewStep.READY))
    caches[CACHE].set(f"{KEY}-pdf", b"%PDF")
    client = login(Role.OWNER)
    assert "This preview has expired." in client.get(page_address(job)).text
    assert client.get(reverse("preview-pdf", args=[job.number, KEY])).status_code == 404


def test_erasing_a_customer_deletes_previews(staff, job) -> None:
    key = preview.start_preview(job, staff[Role.DESK])
    assert preview.get_pdf(key)
    preview.delete_previews(job.customer)
    assert preview.get_pdf(key) is None
    assert preview.get_preview(key, job.number) is None
