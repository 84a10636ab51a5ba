"""The receipt on paper: one page of either size, with what the customer signs for."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Job, WorkItem
from tests import factories
from workshop.models import Role

LogIn = Callable[[Role], Page]
PAPERS = ("A4", "Letter")
PAPER_MM = {"A4": (210, 297), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
MM = 72 / 25.4
STROKES = [[[100, 150], [300, 60], [500, 220]], [[550, 100], [900, 180]]]
NOTES = [
    "Fairing scratched",
    "Lever bent",
    "Tank dented, left",
    "Mirror loose",
    "Screen chipped",
    "Seat torn",
]


@pytest.fixture
def job(people: dict[Role, Any]) -> Job:
    """A receipt with much on it: a long brief, six works, six marks."""
    job = factories.make_job(
        brief="Stutters at half throttle when warm; valves are due. " * 6,
        received_at=timezone.now() - timedelta(hours=1),
        promised_at=timezone.now() + timedelta(days=5),
        odometer_km=24_310.0,
        engine_hours=148.5,
        fuel=Job.Fuel.HALF,
        keys=2,
        condition="Scratch on the tank, left. Chain fair. Tyres fair.",
        condition_marks=[{"x": 15 + 12 * at, "y": 40, "note": note} for at, note in enumerate(NOTES)],
        authorised_amount="900",
    )
    for at in range(6):
        WorkItem.objects.create(job=job, description=f"Work number {at + 1} of the visit", price="120")
    return job


def printed(page: Page, paper: str) -> tuple[pypdfium2.PdfPage, str]:
    pdf = pypdfium2.PdfDocument(page.pdf(format=paper))
    assert len(pdf) == 1, f"{len(pdf)} pages of {paper}"
    return pdf[0], " ".join(pdf[0].get_textpage().get_text_range().split())


def shapes(paper: pypdfium2.PdfPage) -> list[tuple[float, float, float, float]]:
    """Left, bottom, width and height of every shape that is drawn, in millimetres."""
    drawn = (each for each in paper.get_objects(max_depth=5) if each.type == pdfium.FPDF_PAGEOBJ_PATH)
    ends = ([end / MM for end in each.get_bounds()] for each in drawn)
    return [(left, bottom, right - left, top - bottom) for left, bottom, right, top in ends]


def wheels(drawn: list[tuple[float, float, float, float]]) -> list[tuple[float, float]]:
    """Where the outline's two wheels stand: round, and larger than a thumb."""
    return [
        (left, bottom)
        for left, bottom, width, height in drawn
        if abs(width - height) < 0.1 and 15 < width < 40
    ]


@pytest.mark.parametrize("signed", ["on the screen", "by hand"])
def test_the_receipt_is_one_page_with_all_that_is_signed_for(
    log_in: LogIn, live_server: Any, job: Job, signed: str
) -> None:
    if signed == "on the screen":
        Job.objects.filter(pk=job.pk).update(
            signature=STROKES, signed_by="Ines Quill", signed_at=timezone.now()
        )
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job}/receipt/")
    expect(page.get_by_role("heading", name="Receipt of a motorcycle")).to_be_visible()
    expect(page.locator(".outline-mark")).to_have_count(len(NOTES))
    for paper in PAPERS:
        sheet, text = printed(page, paper)
        width, height = (side * MM for side in PAPER_MM[paper])
        assert sheet.get_size() == pytest.approx((width, height), abs=1.5)
        for wanted in ("24310 km", "148.5 engine hours", "half, 2 keys", "Scratch on the tank", *NOTES):
            assert wanted in text, f"{wanted} is not on {paper}"
        assert ("Ines Quill," in text[text.index("Signed") :]) is (signed == "on the screen")
        assert ("Date, name and signature" in text) is (signed == "by hand")
        drawn = shapes(sheet)
        (_, ground), *_ = wheels(drawn)
        assert len({round(left) for left, _ in wheels(drawn)}) >= 2
        below = [(width, height) for _, bottom, width, height in drawn if bottom + height < ground]
        # A stroke goes up and down; the line to sign on does not.
        strokes = [height for width, height in below if height > 3 and width < 60]
        assert len(strokes) == (len(STROKES) if signed == "on the screen" else 0)
        assert any(width > 80 and height < 1 for width, height in below) is (signed == "by hand")
