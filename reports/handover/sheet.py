"""From a snapshot to the handover sheet: HTML, pictures, PDF. It asks no record and no clock.

The PDF declares PDF/A-3a; that is a claim by its maker, not the finding of a validator.
"""

import json
from base64 import b64decode
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
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
from reports.handover.attachments import clearances_csv, curves_csv, fuel_tables, runs_csv
from reports.handover.first_page import FirstPage, first_page
from reports.handover.notices import TRACK_ONLY
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.schema import Snapshot
from reports.typesetting.pdf import PAPERS, Ready, data_uri, places, qr_svg, typeset
from reports.typesetting.printing_lock import alone

PICTURE_KEPT_S = 3600
CURVES_IN = 1.2
MOST_MARKS_FIRST = 12  # valves of a picture on the first page
ADDRESS_LINES = 4
TRIAL_HEIGHT = "4000mm"

Pictures = dict[str, list[draw.Picture]]


@dataclass(frozen=True)
class Part:
    """A section of the sheet."""

    key: str
    title: str
    template: str
    facts: Any = None


class Tell(Protocol):
    """Hears how far a sheet is: the step, and how much of it where it is counted."""

    def __call__(self, step: str, done: int = 0, of: int = 0) -> None: ...


def unheard(step: str, done: int = 0, of: int = 0) -> None:
    pass


def sheet_pdf(stored: dict[str, Any], tell: Tell = unheard) -> bytes:
    """Return the sheet of a stored snapshot as PDF: the same bytes from the same snapshot."""
    snapshot = from_json(stored)
    with alone():
        ready = prepare(snapshot, tell)
        tell("pages")
        return write_pdf(ready, snapshot, stored)


def prepare(snapshot: Snapshot, tell: Tell = unheard) -> Ready:
    """Draw the pictures and fill in the page."""
    files = photos(snapshot)
    with timezone.override(ZoneInfo(snapshot.shop.time_zone)):
        first = first_page(snapshot, lambda page: measured(page, snapshot, files))
        drawn = draw_pictures(snapshot, first.panel_in, tell)
        context = {**context_of(snapshot, first, drawn["summary"]), **sections_of(snapshot, first, drawn)}
        html = render_to_string("reports/handover/sheet.html", context)
    return Ready(html, files | by_address(drawn), PAPERS[snapshot.shop.paper])


def context_of(snapshot: Snapshot, first: FirstPage, summary: list[draw.Picture]) -> dict[str, Any]:
    """What the first page is filled with."""
    address = snapshot.shop.address.splitlines()
    return {
        "s": snapshot,
        "u": snapshot.shop.units,
        "first": first,
        "address": "\n".join(address) if len(address) <= ADDRESS_LINES else ", ".join(address),
        "pictures": {"summary": summary},
    }


def sections_of(snapshot: Snapshot, first: FirstPage, drawn: Pictures) -> dict[str, Any]:
    """What the pages after the first are filled with."""
    compared = range(len(snapshot.get(COMPARISONS)))
    return {
        "parts": parts_of(snapshot, first),
        "pictures": drawn,
        "stamps": stamps(snapshot),
        "comparison_pictures": [drawn[f"comparison-{n}"] for n in compared],
        "drive_pictures": [drawn[f"drive-{n}"] for n in compared],
        "mixture_pictures": [drawn[f"mixture-{n}"] for n in range(len(snapshot.get(MIXTURE)))],
        "throttle_pictures": [each for name, each in drawn.items() if name.startswith("throttle-")],
    }


def measured(first: FirstPage, snapshot: Snapshot, files: dict[str, tuple[bytes, str]]) -> dict[str, float]:
    """Where the texts of the first page end; for the curves a blank of their size stands in."""
    drawn = summary_pictures(snapshot, first.panel_in, blank=True)
    context = {**context_of(snapshot, first, drawn), "trial": True}
    html = render_to_string("reports/handover/sheet/trial.html", context)
    paper = PAPERS[snapshot.shop.paper]
    return places(Ready(html, files | by_address({"summary": drawn}), paper), TRIAL_HEIGHT)


def by_address(drawn: Pictures) -> dict[str, tuple[bytes, str]]:
    """The pictures as the page asks for them."""
    return {
        picture.address: (picture.svg.encode(), "image/svg+xml")
        for each in drawn.values()
        for picture in each
    }


def parts_of(snapshot: Snapshot, first: FirstPage) -> list[Part]:
    """Return the sections with content: those of the records in the printed order, then the sheet's own."""
    records = [
        Part(printed.name, printed.heading, printed.template, snapshot.get(printed))
        for printed in printed_records()
        # What the first page shortens is printed whole in the brief.
        if printed.is_shown(snapshot.get(printed)) or (printed is BRIEF and first.is_short)
    ]
    untested = snapshot.not_tested
    own = {
        ("not_tested", "What was not tested"): untested.said or untested.derived or snapshot.not_printed,
        ("next_service", "Next service and what to watch"): has_next_service(snapshot),
        ("road_use", "Use on public roads"): True,
        ("safety", "Safety"): True,
        ("acknowledgement", "Acknowledgement"): True,
    }
    return records + [
        Part(key, title, f"reports/handover/sheet/{key}.html") for (key, title), shown in own.items() if shown
    ]


def has_next_service(snapshot: Snapshot) -> bool:
    service, clearances = snapshot.next_service, snapshot.get(CLEARANCES)
    return bool(service.said or service.derived or (clearances and clearances.courses))


def stamps(snapshot: Snapshot) -> list[str]:
    """What stands on every page."""
    said = ["Draft, not issued"] if snapshot.sheet.draft else []
    return [*said, TRACK_ONLY] if snapshot.notices.track_only else said


def summary_pictures(snapshot: Snapshot, panel_in: float, *, blank: bool = False) -> list[draw.Picture]:
    """The first page's picture: the first comparison's curves, else few valves' clearances; none without."""
    units = snapshot.shop.units
    for order, compared in enumerate(snapshot.get(COMPARISONS)):
        if compared.curves:
            return [draw.curves_picture(compared, compared.curves, order, units, panel_in, blank=blank)]
    if len(valves(snapshot)) > MOST_MARKS_FIRST:
        return []
    return draw.clearance_pictures(snapshot.get(CLEARANCES), units.length_unit)


def valves(snapshot: Snapshot) -> list[ValveFacts]:
    clearances = snapshot.get(CLEARANCES)
    return clearances.rows if clearances else []


def first_with_curves(snapshot: Snapshot) -> int | None:
    return next((n for n, each in enumerate(snapshot.get(COMPARISONS)) if each.curves), None)


def draw_pictures(snapshot: Snapshot, panel_in: float, tell: Tell = unheard) -> Pictures:
    """All pictures by section; what stands on the first page stands there alone."""
    sections = drawings(snapshot, panel_in)
    drawn: Pictures = {}
    tell("pictures", 0, len(sections))
    for done, (name, work) in enumerate(sections.items(), 1):
        drawn[name] = work()
        tell("pictures", done, len(sections))
    return drawn


def drawings(snapshot: Snapshot, panel_in: float) -> dict[str, Callable[[], list[draw.Picture]]]:
    """What draws the pictures of each section."""
    units, throttle = snapshot.shop.units, snapshot.get(THROTTLE)
    first = first_with_curves(snapshot)
    work: dict[str, Callable[[], list[draw.Picture]]] = {}
    work["summary"] = partial(summary_pictures, snapshot, panel_in)
    for order, comparison in enumerate(snapshot.get(COMPARISONS)):
        work[f"comparison-{order}"] = (
            partial(some, draw.details_picture, comparison, comparison.curves, order, units)
            if order == first
            else partial(draw.comparison_pictures, comparison, order, units, CURVES_IN)
        )
        work[f"drive-{order}"] = partial(some, draw.drive_picture, comparison, order)
    shown_first = first is None and len(valves(snapshot)) <= MOST_MARKS_FIRST
    work["clearances"] = (
        list if shown_first else partial(draw.clearance_pictures, snapshot.get(CLEARANCES), units.length_unit)
    )
    for order, mode in enumerate(throttle.modes if throttle else []):
        work[f"throttle-{order}"] = partial(some, draw.throttle_picture, mode, order)
    work["torque"] = partial(some, draw.torque_picture, throttle.torque if throttle else None)
    work["braking"] = partial(some, draw.braking_picture, throttle.braking if throttle else None)
    for order, study in enumerate(snapshot.get(MIXTURE)):
        work[f"mixture-{order}"] = partial(some, draw.mixture_picture, study, order)
    if snapshot.sheet.link:
        work["link"] = partial(some, link_picture, snapshot.sheet.link.address)
    return work


def some(drawing: Callable[..., draw.Picture | None], *about: Any) -> list[draw.Picture]:
    picture = drawing(*about)
    return [picture] if picture else []


def link_picture(address: str) -> draw.Picture:
    return draw.Picture("link", qr_svg(address), "", f"QR code of the address {address}")


def summary_picture(snapshot: Snapshot, sha256: str) -> dict[str, str] | None:
    """The first page's curves for a page of the site, drawn once for a snapshot; None where it has none."""
    key = f"summary-picture:{sha256}"
    kept: dict[str, str] | None = cache.get(key)
    if kept is not None:
        return kept
    compared = next((each for each in snapshot.get(COMPARISONS) if each.curves), None)
    if compared is None:
        return None
    with alone():
        picture = draw.comparison_pictures(compared, 0, snapshot.shop.units, CURVES_IN)[0]
    drawn = {"address": data_uri(picture.svg), "alt": picture.alt, "caption": picture.caption}
    cache.set(key, drawn, PICTURE_KEPT_S)
    return drawn


def photos(snapshot: Snapshot) -> dict[str, tuple[bytes, str]]:
    """Photos and logo as the page asks for them."""
    found = {
        f"sheet:photo-{order}.jpg": (b64decode(photo.jpeg_base64), "image/jpeg")
        for order, photo in enumerate(snapshot.get(BRIEF).photos)
        if photo.jpeg_base64
    }
    logo = snapshot.shop.logo
    if logo:
        found["sheet:logo"] = (b64decode(logo.base64), logo.type)
    return found


def write_pdf(ready: Ready, snapshot: Snapshot, stored: dict[str, Any]) -> bytes:
    """Set the pages."""
    at = datetime.fromisoformat(snapshot.sheet.issued_at)
    return typeset(ready, attached=attachments(snapshot, stored), at=at)


def attachments(snapshot: Snapshot, stored: dict[str, Any]) -> dict[str, str]:
    """The figures behind the sheet, for whoever wants to reckon with them, by name of file."""
    return {
        "curves.csv": curves_csv(snapshot),
        "clearances.csv": clearances_csv(snapshot),
        "runs.csv": runs_csv(snapshot.get(RUNS)),
        **fuel_tables(snapshot.get(MIXTURE)),
        "sheet.json": json.dumps(stored, ensure_ascii=False, sort_keys=True, indent=1),
    }
