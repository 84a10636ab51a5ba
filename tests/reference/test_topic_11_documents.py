"""Page sizes, PDF metadata and contrast of printed documents."""

import re
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest

from reports.typesetting.pdf import DocumentSource, typeset
from tests.reference.cases import Case, assert_case, topic_params
from tests.reports.reading import opened
from tests.test_contrast import TEXT, contrast_ratio

MM_PER_PT = 25.4 / 72
LARGE_TEXT, ENHANCED = 3.0, 7.0  # success criteria 1.4.3 and 1.4.6
SHEET_CSS = Path(__file__).parents[2] / "templates" / "reports" / "handover" / "sheet" / "sheet.css"


def cases(prefix: str) -> list:
    return [param for param in topic_params(11) if str(param.id).startswith(prefix)]


@cache
def paper(size: str) -> bytes:
    """Typeset a page like every document."""
    html = "<html lang=en><head><title>A page</title></head><body><p>One line.</p></body></html>"
    return typeset(DocumentSource(html, {}, size), at=datetime(2025, 3, 14, tzinfo=UTC))


@pytest.mark.parametrize("case", cases("page-"))
def test_page_sizes_agree_with_the_standard(case: Case) -> None:
    with opened(paper(case["inputs"]["size"])) as document:
        left, bottom, right, top = (float(edge) for edge in document.pages[0].mediabox)
    width, height = right - left, top - bottom
    in_mm = {"width_mm": width * MM_PER_PT, "height_mm": height * MM_PER_PT}
    assert_case(case, {"width_pt": width, "height_pt": height, **in_mm})


def xmp() -> str:
    with opened(paper("A4")) as document:
        return document.Root.Metadata.read_bytes().decode()


def prefix_of(namespace: str) -> str:
    """Return the prefix of a namespace in the metadata, or '' if it is not used."""
    found = re.search(rf'xmlns:(\w+)="{re.escape(namespace)}"', xmp())
    return found[1] if found else ""


@pytest.mark.parametrize("case", cases("pdf-id-02"))
def test_pdf_declares_its_pdf_a_part(case: Case) -> None:
    """The case has level b; the product writes level a of the same part, which includes b."""
    expected = case["expected"]
    assert prefix_of(expected["namespace"]) == expected["prefix"]
    named = dict(re.findall(rf'{expected["prefix"]}:(part|conformance)[>="]+([^<"]+)', xmp()))
    assert int(named["part"]) == expected["part"]
    assert named["conformance"] == "A"
    assert expected["conformance"].isupper()


@pytest.mark.parametrize("case", cases("pdf-id-01"))
def test_pdf_declares_its_pdf_ua_part(case: Case) -> None:
    expected = case["expected"]
    assert prefix_of(expected["namespace"]) == expected["prefix"]
    assert f'{expected["prefix"]}:part="{expected["part"]}"' in xmp()


@pytest.mark.parametrize("case", cases("wcag-"))
def test_contrast_ratio_agrees_with_wcag(case: Case) -> None:
    ratio = contrast_ratio(case["inputs"]["fg"], case["inputs"]["bg"])
    levels = {"aa_text": ratio >= TEXT, "aa_large": ratio >= LARGE_TEXT, "aaa_text": ratio >= ENHANCED}
    assert_case(case, {"ratio": ratio, **levels})


def test_sheet_text_meets_minimum_contrast() -> None:
    inks = set(re.findall(r"(?<!-)\bcolor: (#[0-9a-f]{6})", SHEET_CSS.read_text()))
    assert len(inks) >= 2
    assert {
        ink: contrast_ratio(ink, "#ffffff") for ink in inks if contrast_ratio(ink, "#ffffff") < TEXT
    } == {}


def test_every_document_case_is_tested() -> None:
    known = ("ics-", "page-", "pdf-id-01", "pdf-id-02", "wcag-")
    assert [param.id for param in topic_params(11) if not str(param.id).startswith(known)] == []
