"""The printed receipt: one page of A4 or Letter with all details that the customer signs."""

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
    """Create a job with a long brief, six work items and six marks."""
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


def print_page(page: Page, paper: str) -> tuple[pypdfium2.PdfPage, str]:
    pdf = pypdfium2.PdfDocument(page.pdf(format=paper))
    assert len(pdf) == 1, f"{len(pdf)} pages of {paper}"
    return pdf[0], " ".join(pdf[0].get_textpage().get_text_range().split())


def find_shapes(paper: pypdfium2.PdfPage) -> list[tuple[float, float, float, float]]:
    """Return left, bottom, width and height [mm] of every shape drawn."""
    drawn = (shape for shape in paper.get_objects(max_depth=5) if shape.type == pdfium.FPDF_PAGEOBJ_PATH)
    ends = ([end / MM for end in shape.get_bounds()] for shape in drawn)
    return [(left, bottom, right - left, top - bottom) for left, bottom, right, top in ends]


def find_wheels(drawn: list[tuple[float, float, float, float]]) -> list[tuple[float, float]]:
    """Return the positions of the outline's wheels: round and 15 to 40 mm wide."""
    return [
        (left, bottom)
        for left, bottom, width, height in drawn
        if abs(width - height) < 0.1 and 15 < width < 40
    ]


@pytest.mark.parametrize("signed", ["on the screen", "by hand"])
def test_receipt_is_one_page_with_all_signed_details(
    log_in: LogIn, live_server: Any, job: Job, people: dict[Role, Any], signed: str
) -> None:
    if signed == "on the screen":
        factories.sign_receipt(job, people[Role.DESK], signature=STROKES)
    page = log_in(Role.DESK)
    page.goto(f"{live_server.url}/jobs/{job}/receipt/")
    expect(page.get_by_role("heading", name="Check-in sheet, job")).to_be_visible()
    expect(page.locator(".outline-mark")).to_have_count(len(NOTES))
    for paper in PAPERS:
        sheet, text = print_page(page, paper)
        width, height = (side * MM for side in PAPER_MM[paper])
        assert sheet.get_size() == pytest.approx((width, height), abs=1.5)
        for wanted in ("24310 km", "148.5 engine hours", "half, 2 keys", "Scratch on the tank", *NOTES):
            assert wanted in text, f"{wanted} is not on {paper}"
        assert ("Signed Ines Quill," in text) is (signed == "on the screen")
        assert ("Date, name, signature" in text) is (signed == "by hand")
        drawn = find_shapes(sheet)
        (_, ground), *_ = find_wheels(drawn)
        assert len({round(left) for left, _ in find_wheels(drawn)}) >= 2
        below_outline = [(width, height) for _, bottom, width, height in drawn if bottom + height < ground]
        # A stroke has height; the line to sign on does not.
        strokes = [height for width, height in below_outline if height > 3 and width < 60]
        assert len(strokes) == (len(STROKES) if signed == "on the screen" else 0)
        assert any(width > 80 and height < 1 for width, height in below_outline) is (signed == "by hand")
