"""From a snapshot to the handover sheet: HTML, pictures, PDF. It asks no record and no clock.

The PDF declares PDF/A-3a; that is a claim by its maker, not the finding of a validator.
"""

import json
from base64 import b64decode
from dataclasses import dataclass
from datetime import datetime
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

from django.core.cache import cache
from django.template.loader import render_to_string
from django.utils import timezone

from reports import pictures as draw
from reports.alone import alone
from reports.attached import clearances_csv, curves_csv, fuel_tables, runs_csv
from reports.notices import TRACK_ONLY
from reports.typesetting import PAPERS, Ready, data_uri, qr_svg, typeset

TAKEN_BACK = "The file's figures came corrected and were taken back to the observed ones first."
PICTURE_KEPT_S = 3600
CURVES_IN = 1.2
BRIEF_ON_FIRST_PAGE = 320
LETTERS_A_LINE = 92
LINES_ON_FIRST_PAGE = {"A4": 19, "Letter": 16}  # with curves of ordinary height
HALF_A_LINE_IN = 0.09
DONE_ON_FIRST_PAGE = 8


@dataclass(frozen=True)
class Part:
    """A section of the sheet; its template is named as its key."""

    key: str
    title: str

    @property
    def template(self) -> str:
        return f"reports/sheet/{self.key}.html"


def sheet_pdf(snapshot: dict[str, Any]) -> bytes:
    """The sheet as PDF: the same bytes from the same snapshot."""
    with alone():
        return write_pdf(prepare(snapshot), snapshot)


def prepare(snapshot: dict[str, Any]) -> Ready:
    """Draw the pictures and fill in the page."""
    drawn = draw_pictures(snapshot)
    files = {
        picture.address: (picture.svg.encode(), "image/svg+xml")
        for each in drawn.values()
        for picture in each
    }
    files |= photos(snapshot)
    context = {
        "s": snapshot,
        "u": SimpleNamespace(**snapshot["shop"]["units"]),
        "parts": parts_of(snapshot),
        "pictures": drawn,
        "stamps": stamps(snapshot),
        "brief": shortened(snapshot["brief"]["asked"], BRIEF_ON_FIRST_PAGE),
        "done": snapshot["done"][:DONE_ON_FIRST_PAGE],
        "done_more": len(snapshot["done"]) - DONE_ON_FIRST_PAGE,
        "run_remarks": run_remarks(snapshot["runs"]),
        "runs_corrected": any(run["factor"] for run in snapshot["runs"]),
        "comparison_pictures": [drawn[f"comparison-{n}"] for n in range(len(snapshot["comparisons"]))],
        "mixture_pictures": [drawn[f"mixture-{n}"] for n in range(len(snapshot["mixture"]))],
        "throttle_pictures": [each for name, each in drawn.items() if name.startswith("throttle-")],
    }
    with timezone.override(ZoneInfo(snapshot["shop"]["time_zone"])):
        html = render_to_string("reports/sheet.html", context)
    return Ready(html, files, PAPERS[snapshot["shop"]["paper"]])


def parts_of(snapshot: dict[str, Any]) -> list[Part]:
    """The sections that have something to say, in the order of the job page."""
    brief, notice, untested = snapshot["brief"], snapshot["notices"], snapshot["not_tested"]
    received = ("condition", "odometer_km", "engine_hours", "fuel", "keys", "work", "photos", "received_at")
    more = len(brief["asked"]) > BRIEF_ON_FIRST_PAGE or len(snapshot["done"]) > DONE_ON_FIRST_PAGE
    has = {
        ("brief", "Brief and receipt"): more or any(brief[name] not in (None, "", []) for name in received),
        ("clearances", "Valve clearances"): snapshot["clearances"],
        ("parts", "Parts fitted"): snapshot["parts"],
        ("tune", "Tune"): snapshot["tune"],
        ("runs", "Runs"): snapshot["runs"],
        ("comparisons", "Comparisons"): snapshot["comparisons"],
        ("mixture", "Mixture"): snapshot["mixture"],
        ("throttle", "Throttle and idle"): snapshot["throttle"],
        ("suspension", "Suspension and settings"): snapshot["suspension"],
        ("bike_changes", "Other changes of the bike"): snapshot["bike_changes"],
        ("checks", "Checks"): snapshot["checks"],
        ("not_tested", "What was not tested"): any(untested.values()) or snapshot["not_printed"],
        ("next_service", "Next service and what to watch"): next_words(snapshot),
        ("road_use", "Use on public roads"): notice,
        ("safety", "Safety"): notice,
        ("acknowledgement", "Acknowledgement"): True,
    }
    return [Part(*names) for names, says in has.items() if says]


def next_words(snapshot: dict[str, Any]) -> bool:
    courses = (snapshot["clearances"] or {}).get("courses")
    return bool(any(snapshot["next_service"].values()) or courses)


def stamps(snapshot: dict[str, Any]) -> list[str]:
    """What stands on every page."""
    said = ["Draft, not issued"] if snapshot["sheet"]["draft"] else []
    return [*said, TRACK_ONLY] if snapshot["notices"]["track_only"] else said


def shortened(text: str, longest: int) -> dict[str, Any]:
    """The text, or its beginning up to a whole word."""
    if len(text) <= longest:
        return {"text": text, "cut": False}
    return {"text": text[:longest].rsplit(None, 1)[0] + " …", "cut": True}


def run_remarks(runs: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What has to be said of single runs, below their table; the same of several is said once."""
    remarks: dict[str, list[str]] = {}
    for run in runs:
        aside = f"set aside, {run['set_aside']}." if run["set_aside"] else ""
        taken_back = TAKEN_BACK if run["came_corrected"] else ""
        said = [aside, run["without_curve"], taken_back, *run["limits_passed"], *run["flags"], run["note"]]
        text = " ".join(sentence for sentence in said if sentence)
        if text:
            remarks.setdefault(text[0].upper() + text[1:], []).append(run["name"])
    return [{"text": text, "runs": names} for text, names in remarks.items()]


def panel_height_in(snapshot: dict[str, Any]) -> float:
    """How high the first page's curves may be, so that the page holds all that belongs on it."""
    brief, notice, sheet = snapshot["brief"], snapshot["notices"], snapshot["sheet"]
    texts = [
        brief["asked"][:BRIEF_ON_FIRST_PAGE],
        *snapshot["done"][:DONE_ON_FIRST_PAGE],
        *snapshot["changed"],
    ]
    texts += [notice["lead"], " ".join(notice["causes"][:4]), sheet["override_reason"]]
    lines = sum(len(text) // LETTERS_A_LINE + 1 for text in texts if text)
    lines += (
        2 * bool(sheet["override_reason"])
        + 3 * bool(sheet["supersedes"])
        + 4 * bool(snapshot["shop"]["logo"])
    )
    lines += brief["asked"].count("\n") + (len(brief["asked"]) > BRIEF_ON_FIRST_PAGE)
    room = LINES_ON_FIRST_PAGE[snapshot["shop"]["paper"]]
    return min(max(1.2 + HALF_A_LINE_IN * (room - lines), 0.7), 1.3)


def draw_pictures(snapshot: dict[str, Any]) -> dict[str, list[draw.Picture]]:
    """All pictures by section; the first comparison's curves stand on the first page."""
    units = snapshot["shop"]["units"]
    drawn: dict[str, list[draw.Picture]] = {"summary": []}
    for order, comparison in enumerate(snapshot["comparisons"]):
        height_in = CURVES_IN if drawn["summary"] else panel_height_in(snapshot)
        pictures = draw.comparison_pictures(comparison, order, units, height_in)
        if pictures and not drawn["summary"]:
            drawn["summary"], pictures = pictures[:1], pictures[1:]
        drawn[f"comparison-{order}"] = pictures
    drawn["clearances"] = draw.clearance_pictures(snapshot["clearances"], units["length_unit"])
    for order, mode in enumerate((snapshot["throttle"] or {}).get("modes", ())):
        curve = draw.throttle_picture(mode, order)
        drawn[f"throttle-{order}"] = [curve] if curve else []
    for order, study in enumerate(snapshot["mixture"]):
        picture = draw.mixture_picture(study, order)
        drawn[f"mixture-{order}"] = [picture] if picture else []
    if not drawn["summary"] and len(drawn["clearances"]) == 1:
        drawn["summary"], drawn["clearances"] = drawn["clearances"], []
    if snapshot["sheet"]["link"]:
        drawn["link"] = [link_picture(snapshot["sheet"]["link"]["address"])]
    return drawn


def link_picture(address: str) -> draw.Picture:
    return draw.Picture("link", qr_svg(address), "", f"QR code of the address {address}")


def summary_picture(snapshot: dict[str, Any], sha256: str) -> dict[str, str] | None:
    """The first page's curves for a page of the site, drawn once for a snapshot; None where it has none."""
    key = f"summary-picture:{sha256}"
    kept: dict[str, str] | None = cache.get(key)
    if kept is not None:
        return kept
    compared = next((each for each in snapshot["comparisons"] if each["curves"]), None)
    if compared is None:
        return None
    picture = draw.comparison_pictures(compared, 0, snapshot["shop"]["units"], CURVES_IN)[0]
    drawn = {"address": data_uri(picture.svg), "alt": picture.alt, "caption": picture.caption}
    cache.set(key, drawn, PICTURE_KEPT_S)
    return drawn


def photos(snapshot: dict[str, Any]) -> dict[str, tuple[bytes, str]]:
    """Photos and logo as the page asks for them."""
    found = {
        f"sheet:photo-{order}.jpg": (b64decode(photo["jpeg_base64"]), "image/jpeg")
        for order, photo in enumerate(snapshot["brief"]["photos"])
        if photo["jpeg_base64"]
    }
    logo = snapshot["shop"]["logo"]
    if logo:
        found["sheet:logo"] = (b64decode(logo["base64"]), logo["type"])
    return found


def write_pdf(ready: Ready, snapshot: dict[str, Any]) -> bytes:
    """Set the pages."""
    at = datetime.fromisoformat(snapshot["sheet"]["issued_at"])
    return typeset(ready, attached=attachments(snapshot), at=at)


def attachments(snapshot: dict[str, Any]) -> dict[str, str]:
    """The figures behind the sheet, for whoever wants to reckon with them, by name of file."""
    return {
        "curves.csv": curves_csv(snapshot),
        "clearances.csv": clearances_csv(snapshot),
        "runs.csv": runs_csv(snapshot),
        **fuel_tables(snapshot),
        "sheet.json": json.dumps(snapshot, ensure_ascii=False, sort_keys=True, indent=1),
    }
