"""Sheets of jobs at their limits: nothing is missing, nothing leaves the page, each unit is the shop's."""

import re
from typing import Any

import pypdfium2
import pytest

from reports.handover.sheet import sheet_pdf
from tests.reports.conftest import stored_snapshot
from tests.reports.reading import fonts, pages, squeezed, texts, whole_text
from tests.reports.stress_jobs import STRESS_JOBS
from workshop.models import Role

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.one_database]
MARGIN_PT = 13.5 * 72 / 25.4  # 0.5 mm less than the narrowest margin: a stroke may be half outside
SHIMS = {"2.50 mm", "2.45 mm"}  # marked in mm everywhere
CURRENCY = ".shop.currency"  # not in words on a sheet without prices
OTHER_SCRIPTS = "other scripts"  # not read back in the order in which they are written


def texts_in_the_margins(pdf: bytes) -> list[str]:
    """Return what is printed left or right of the text column."""
    found = []
    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            text = page.get_textpage()
            for at in range(text.count_rects()):
                left, bottom, right, top = text.get_rect(at)
                if left < MARGIN_PT or right > page.get_width() - MARGIN_PT:
                    found.append(text.get_text_bounded(left, bottom, right, top))
    return found


def missing_words(snapshot: dict[str, Any], pdf: bytes) -> list[tuple[str, str]]:
    """Return the words of a snapshot that no page has; a text may part at the end of a page."""
    printed = whole_text(pdf).lower()
    elsewhere = {CURRENCY, *table_names_of_unchanged_modes(snapshot)}
    words = {(path, word) for path, text in texts(snapshot) if path not in elsewhere for word in text.split()}
    return sorted((path, word) for path, word in words if squeezed(word).lower() not in printed)


def table_names_of_unchanged_modes(snapshot: dict[str, Any]) -> list[str]:
    """Return where they are: a mode whose table is as it was is listed as unchanged, not by its table."""
    throttle = snapshot.get("throttle") or {}
    unchanged = [place for place, mode in enumerate(throttle.get("modes", [])) if not mode["changed"]]
    return [f".throttle.modes[{place}].tables[0].name" for place in unchanged]


@pytest.mark.parametrize("name", STRESS_JOBS)
def test_sheet_holds_everything_within_its_pages(name, staff) -> None:
    snapshot = stored_snapshot(STRESS_JOBS[name](staff), staff[Role.OWNER])
    pdf = sheet_pdf(snapshot)
    assert texts_in_the_margins(pdf) == []
    if name == OTHER_SCRIPTS:
        assert squeezed("Some characters could not be printed") not in whole_text(pdf)
        assert all("+Sheet-" in font for font in fonts(pdf)), "a font of this machine was taken"
        return
    assert missing_words(snapshot, pdf) == []
    if snapshot["shop"]["units"]["length_unit"] == "in":
        lengths = set(re.findall(r"\d[\d.]*\smm\b", " ".join("".join(pages(pdf)).split())))
        assert {length.replace("\N{NO-BREAK SPACE}", " ") for length in lengths} <= SHIMS
