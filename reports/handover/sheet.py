"""From a snapshot to the handover sheet: HTML, pictures, PDF. Uses neither the database nor the clock."""

import json
from base64 import b64decode
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from itertools import chain
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from django.core.cache import cache
from django.template.loader import render_to_string
from django.utils import timezone

from jobs.clearances.facts import CLEARANCES, ValveFacts
from jobs.comparisons.facts import COMPARISONS
from jobs.job.registry import printed_records
from jobs.job_page.facts import BRIEF
from jobs.mixture.facts import MIXTURE
from jobs.runs.facts import RUNS
from jobs.throttle.facts import THROTTLE
from reports.drawing import pictures as draw
from reports.handover.attachments import RUNS_DESCRIPTION, clearances_csv, curves_csv, fuel_tables, runs_csv
from reports.handover.first_page import FirstPage, first_page
from reports.handover.notices import TRACK_ONLY
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.schema import Snapshot
from reports.typesetting.pdf import (
    PAPERS,
    AttachedText,
    DocumentSource,
    data_uri,
    element_positions,
    qr_svg,
    typeset,
)
from reports.typesetting.printing_lock import printing_lock

PICTURE_CACHE_S = 3600
CURVES_IN = 1.2
MAX_MARKS_ON_FIRST_PAGE = 12  # valves of a picture on the first page
MAX_ADDRESS_LINES = 4
TRIAL_HEIGHT = "4000mm"

Pictures = dict[str, list[draw.Picture]]


@dataclass(frozen=True)
class SheetSection:
    """A section of the sheet."""

    key: str
    title: str
    template: str
    facts: Any = None


class ProgressCallback(Protocol):
    """Called with the current step, and with the items done of a total if known."""

    def __call__(self, step: str, done: int = 0, of: int = 0) -> None: ...


def ignore_progress(step: str, done: int = 0, of: int = 0) -> None:
    pass


def sheet_pdf(stored: dict[str, Any], report_progress: ProgressCallback = ignore_progress) -> bytes:
    """Return the sheet of a stored snapshot as PDF: the same bytes from the same snapshot."""
    snapshot = from_json(stored)
    with printing_lock():
        source = prepare(snapshot, report_progress)
        report_progress("pages")
        return write_pdf(source, snapshot, stored)


def prepare(snapshot: Snapshot, report_progress: ProgressCallback = ignore_progress) -> DocumentSource:
    """Return the HTML of a sheet with its pictures."""
    files = photos(snapshot)
    with timezone.override(ZoneInfo(snapshot.shop.time_zone)):
        first = first_page(snapshot, lambda page: measure_positions(page, snapshot, files))
        drawn = draw_pictures(snapshot, first.panel_in, report_progress)
        context = {
            **first_page_context(snapshot, first, drawn["summary"]),
            **sections_context(snapshot, first, drawn),
        }
        html = render_to_string("reports/handover/sheet.html", context)
    return DocumentSource(html, files | by_address(drawn), PAPERS[snapshot.shop.paper])


def first_page_context(snapshot: Snapshot, first: FirstPage, summary: list[draw.Picture]) -> dict[str, Any]:
    """Return the template context of the first page."""
    address = snapshot.shop.address.splitlines()
    return {
        "s": snapshot,
        "u": snapshot.shop.units,
        "first": first,
        "address": "\n".join(address) if len(address) <= MAX_ADDRESS_LINES else ", ".join(address),
        "pictures": {"summary": summary},
    }


def sections_context(snapshot: Snapshot, first: FirstPage, drawn: Pictures) -> dict[str, Any]:
    """Return the template context of the pages after the first."""
    compared = range(len(snapshot.get(COMPARISONS)))
    return {
        "parts": sheet_sections(snapshot, first),
        "pictures": drawn,
        "stamps": page_stamps(snapshot),
        "comparison_pictures": [drawn[f"comparison-{n}"] for n in compared],
        "drive_pictures": [drawn[f"drive-{n}"] for n in compared],
        "mixture_pictures": [drawn[f"mixture-{n}"] for n in range(len(snapshot.get(MIXTURE)))],
        "throttle_pictures": [found for name, found in drawn.items() if name.startswith("throttle-")],
    }


def measure_positions(
    first: FirstPage, snapshot: Snapshot, files: dict[str, tuple[bytes, str]]
) -> dict[str, float]:
    """Return where the texts end on a trial of the first page, with an empty picture as curves."""
    drawn = summary_pictures(snapshot, first.panel_in, blank=True)
    context = {**first_page_context(snapshot, first, drawn), "trial": True}
    html = render_to_string("reports/handover/sheet/trial.html", context)
    paper = PAPERS[snapshot.shop.paper]
    return element_positions(
        DocumentSource(html, files | by_address({"summary": drawn}), paper), TRIAL_HEIGHT
    )


def by_address(drawn: Pictures) -> dict[str, tuple[bytes, str]]:
    """Return the pictures by the address that the page uses."""
    return {
        picture.address: (picture.svg.encode(), "image/svg+xml")
        for picture in chain.from_iterable(drawn.values())
    }


def sheet_sections(snapshot: Snapshot, first: FirstPage) -> list[SheetSection]:
    """Return the sections with content: those of the records in the printed order, then the sheet's own."""
    records = [
        SheetSection(printed.name, printed.heading, printed.template, snapshot.get(printed))
        for printed in printed_records()
        # The brief prints in full what the first page shortens.
        if printed.is_shown(snapshot.get(printed)) or (printed is BRIEF and first.is_shortened)
    ]
    untested = snapshot.not_tested
    own = {
        ("open_points", "Open when this sheet was issued"): snapshot.sheet.open_points
        or snapshot.sheet.not_told,
        ("not_tested", "What was not tested"): untested.note or untested.derived or snapshot.not_printed,
        ("not_inspected", "What was not inspected"): snapshot.not_inspected,
        ("next_service", "Next service and what to watch"): has_next_service(snapshot),
        ("road_use", "Use on public roads"): True,
        ("safety", "Safety"): True,
        ("acknowledgement", "Acknowledgement"): True,
    }
    return records + [
        SheetSection(key, title, f"reports/handover/sheet/{key}.html")
        for (key, title), shown in own.items()
        if shown
    ]


def has_next_service(snapshot: Snapshot) -> bool:
    service, clearances = snapshot.next_service, snapshot.get(CLEARANCES)
    return bool(service.note or service.derived or (clearances and clearances.courses))


def page_stamps(snapshot: Snapshot) -> list[str]:
    """Return the stamps printed on every page."""
    draft = ["Draft, not issued"] if snapshot.sheet.draft else []
    return [*draft, TRACK_ONLY] if snapshot.notices.track_only else draft


def summary_pictures(snapshot: Snapshot, panel_in: float, *, blank: bool = False) -> list[draw.Picture]:
    """Draw the curves of the first comparison, or the clearances if there are few valves."""
    units = snapshot.shop.units
    for order, compared in enumerate(snapshot.get(COMPARISONS)):
        if compared.curves:
            return [draw.curves_picture(compared, compared.curves, order, units, panel_in, blank=blank)]
    if len(valves(snapshot)) > MAX_MARKS_ON_FIRST_PAGE:
        return []
    return draw.clearance_pictures(snapshot.get(CLEARANCES), units.length_unit)


def valves(snapshot: Snapshot) -> list[ValveFacts]:
    clearances = snapshot.get(CLEARANCES)
    return clearances.rows if clearances else []


def first_with_curves(snapshot: Snapshot) -> int | None:
    return next((n for n, compared in enumerate(snapshot.get(COMPARISONS)) if compared.curves), None)


def draw_pictures(
    snapshot: Snapshot, panel_in: float, report_progress: ProgressCallback = ignore_progress
) -> Pictures:
    """Draw the pictures of every section; those of the first page are not repeated."""
    sections = picture_builders(snapshot, panel_in)
    drawn: Pictures = {}
    report_progress("pictures", 0, len(sections))
    for done, (name, build) in enumerate(sections.items(), 1):
        drawn[name] = build()
        report_progress("pictures", done, len(sections))
    return drawn


def picture_builders(snapshot: Snapshot, panel_in: float) -> dict[str, Callable[[], list[draw.Picture]]]:
    """Return a function for each section that draws its pictures."""
    units, throttle = snapshot.shop.units, snapshot.get(THROTTLE)
    first = first_with_curves(snapshot)
    builders: dict[str, Callable[[], list[draw.Picture]]] = {}
    builders["summary"] = partial(summary_pictures, snapshot, panel_in)
    for order, comparison in enumerate(snapshot.get(COMPARISONS)):
        builders[f"comparison-{order}"] = (
            partial(draw_optional, draw.details_picture, comparison, comparison.curves, order, units)
            if order == first
            else partial(draw.comparison_pictures, comparison, order, units, CURVES_IN)
        )
        builders[f"drive-{order}"] = partial(draw_optional, draw.drive_picture, comparison, order)
    shown_first = first is None and len(valves(snapshot)) <= MAX_MARKS_ON_FIRST_PAGE
    builders["clearances"] = (
        list if shown_first else partial(draw.clearance_pictures, snapshot.get(CLEARANCES), units.length_unit)
    )
    for order, mode in enumerate(throttle.modes if throttle else []):
        builders[f"throttle-{order}"] = partial(draw_optional, draw.throttle_picture, mode, order)
    builders["torque"] = partial(draw_optional, draw.torque_picture, throttle.torque if throttle else None)
    builders["braking"] = partial(draw_optional, draw.braking_picture, throttle.braking if throttle else None)
    for order, study in enumerate(snapshot.get(MIXTURE)):
        builders[f"mixture-{order}"] = partial(draw_optional, draw.mixture_picture, study, order)
    if snapshot.sheet.link:
        builders["link"] = partial(draw_optional, address_picture, "link", snapshot.sheet.link.address)
    if snapshot.sheet.check_address:
        builders["check"] = partial(draw_optional, address_picture, "check", snapshot.sheet.check_address)
    return builders


def draw_optional(build: Callable[..., draw.Picture | None], *args: Any) -> list[draw.Picture]:
    picture = build(*args)
    return [picture] if picture else []


def address_picture(name: str, address: str) -> draw.Picture:
    return draw.Picture(name, qr_svg(address), "", f"QR code of the address {address}")


def summary_picture(snapshot: Snapshot, sha256: str) -> dict[str, str] | None:
    """Return the first page's curves for the customer's page, or None; cached by snapshot."""
    key = f"summary-picture:{sha256}"
    cached: dict[str, str] | None = cache.get(key)
    if cached is not None:
        return cached
    order = first_with_curves(snapshot)
    if order is None:
        return None
    compared = snapshot.get(COMPARISONS)[order]
    with printing_lock():
        picture = draw.comparison_pictures(compared, 0, snapshot.shop.units, CURVES_IN)[0]
    drawn = {"address": data_uri(picture.svg), "alt": picture.alt, "caption": picture.caption}
    cache.set(key, drawn, PICTURE_CACHE_S)
    return drawn


def photos(snapshot: Snapshot) -> dict[str, tuple[bytes, str]]:
    """Return photos and logo by the address that the page uses."""
    found = {
        f"sheet:photo-{order}.jpg": (b64decode(photo.jpeg_base64), "image/jpeg")
        for order, photo in enumerate(snapshot.get(BRIEF).photos)
        if photo.jpeg_base64
    }
    logo = snapshot.shop.logo
    if logo:
        found["sheet:logo"] = (b64decode(logo.base64), logo.type)
    return found


def write_pdf(source: DocumentSource, snapshot: Snapshot, stored: dict[str, Any]) -> bytes:
    """Typeset the sheet with its attachments."""
    at = datetime.fromisoformat(snapshot.sheet.issued_at)
    return typeset(source, attached=attachments(snapshot, stored), at=at)


def attachments(snapshot: Snapshot, stored: dict[str, Any]) -> dict[str, AttachedText]:
    """Return the values behind the sheet as text files by name."""
    whole = json.dumps(stored, ensure_ascii=False, sort_keys=True, indent=1)
    return {
        "curves.csv": AttachedText(curves_csv(snapshot), "Mean curves of comparisons, with 95 % bands"),
        "clearances.csv": AttachedText(clearances_csv(snapshot), "Every clearance that was measured"),
        "runs.csv": AttachedText(runs_csv(snapshot.get(RUNS)), RUNS_DESCRIPTION),
        **fuel_tables(snapshot.get(MIXTURE)),
        "sheet.json": AttachedText(whole, "Everything that this sheet was made from"),
    }
