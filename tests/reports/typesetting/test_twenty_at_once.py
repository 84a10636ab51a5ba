"""Twenty sheets printed at once by as many threads: each as printed alone, none saying another's words."""

import copy
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest

from reports.handover.sheet import sheet_pdf
from tests.reports.reading import squeezed, whole_text

pytestmark = [pytest.mark.slow, pytest.mark.one_database]

SHEETS = 20
# Texts, a table and a picture stay; more of the same would only take longer.
LEFT_OUT: dict[str, Any] = {
    **{key: [] for key in ("runs", "comparisons", "mixture", "checks", "bike_changes", "changed")},
    **dict.fromkeys(("throttle", "tune", "suspension")),
}


def marker(number: int) -> str:
    return f"Marker{number:02d}ofTwenty"


def marked(snapshot: dict[str, Any], number: int) -> dict[str, Any]:
    """Return a short sheet with its number in a text, a table, a picture and an attachment."""
    own = copy.deepcopy(snapshot | LEFT_OUT)
    own["clearances"]["rows"] = own["clearances"]["rows"][:4]
    own["notices"] |= {"road_use": "Ask first.", "safety": "Ride gently.", "causes": [], "cautions": []}
    own["done"], own["parts"] = own["done"][:1], own["parts"][:1]
    own["brief"]["asked"] = own["parts"][0]["name"] = own["clearances"]["rows"][0]["label"] = marker(number)
    own["sheet"]["number"] = f"2025-{number:03d}/1"
    return own


def test_twenty_sheets_printed_at_once_do_not_mix(snapshot):
    sheets = [marked(snapshot, number) for number in range(SHEETS)]
    alone = [sheet_pdf(sheet) for sheet in sheets]
    start = Barrier(SHEETS)

    def print_one(sheet: dict[str, Any]) -> bytes:
        start.wait(timeout=30)
        return sheet_pdf(sheet)

    with ThreadPoolExecutor(SHEETS) as threads:
        together = list(threads.map(print_one, sheets))
    assert together == alone
    for number, pdf in enumerate(together):
        printed = whole_text(pdf)
        found = {other for other in range(SHEETS) if squeezed(marker(other)) in printed}
        assert found == {number}
