"""From a snapshot to the handover sheet: HTML, pictures, PDF. Uses neither the database nor the clock."""

import json
from base64 import b64decode
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from itertools import chain
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.calc.units.numbers import format_digits
from jobs.clearances.facts import CLEARANCES
from jobs.comparisons.facts import COMPARISONS
from jobs.handing_over.facts import HANDOVERS
from jobs.job.printed import Printed
from jobs.job.registry import printed_records
from jobs.job.sentences import lower_first
from jobs.job_page.facts import BRIEF
from jobs.mixture.facts import MIXTURE
from jobs.mixture.tables import SHADES
from jobs.parts.facts import PARTS
from jobs.runs.facts import RUNS
from jobs.suspension.facts import SUSPENSION
from jobs.templatetags.facts import measured, quantity
from jobs.throttle.facts import THROTTLE
from jobs.tunes.facts import TUNE
from reports.drawing import pictures as draw
from reports.drawing.signs import SIGNS
from reports.handover import story
from reports.handover.attachments import attached_tables
from reports.handover.evidence import Evidence, build_evidence, measured_map
from reports.handover.first_page import FirstPage, first_page
from reports.handover.notices import TRACK_ONLY
from reports.handover.snapshot.codec import from_json, snapshot_sha256
from reports.handover.snapshot.schema import Snapshot
from reports.typesetting.pdf import (
    PAPERS,
    AttachedText,
    DocumentSource,
    qr_svg,
    trial_room_mm,
    typeset,
)
from reports.typesetting.printing_lock import printing_lock
from workshop.languages import format_day_time

MAX_MARKS_ON_FIRST_PAGE = 12  # valves of a picture on the first page
MAX_PARTS_IN_SHORT = 8
MAX_ADDRESS_LINES = 3
MAX_NOTICE_LENGTH = 2600  # of both notices, side by side in boxes that do not break
SHORT_ANNEX = 2  # parts; it leaves room for the words and the files on its page
SETTINGS_IN_SHORT = (
    "preload",
    "rebound",
    "compression",
    "sag with rider",
    "sag of the travel",
    "tyre pressure, cold",
)
RECORD = "sheet.json"
RECORD_DESCRIPTION = gettext_noop("Everything that this sheet was made from")
INTERVAL_MEANING = gettext_noop(
    "the range that the true difference most likely lies in: about 19 in 20 ranges made this way contain it, "
    "if what they leave out is negligible"
)
# Printed on the customer's pages, so not in the annex too.
NOT_IN_ANNEX: tuple[Printed[Any], ...] = (BRIEF, HANDOVERS)

Pictures = dict[str, list[draw.Picture]]


@dataclass(frozen=True)
class SheetSection:
    """A section of the annex."""

    key: str
    title: str
    template: str
    facts: Any = None


class ProgressCallback(Protocol):
    """Called with the current step, and with the items done of a total if known."""

    def __call__(self, step: str, done: int = 0, of: int = 0) -> None: ...


def ignore_progress(step: str, done: int = 0, of: int = 0) -> None:
    pass


def sheet_pdf(
    stored: dict[str, Any],
    report_progress: ProgressCallback = ignore_progress,
    show_first: Callable[[DocumentSource], None] | None = None,
) -> bytes:
    """Return the sheet of a stored snapshot as PDF: the same bytes from the same snapshot.

    Parameters
    ----------
    show_first : callable, optional
        Gets the first page as a document of its own, as soon as its texts are chosen.
    """
    snapshot = from_json(stored)
    with printing_lock(), translation.override(snapshot.language):
        source = prepare(
            snapshot, report_progress, record_sha256=snapshot_sha256(stored), show_first=show_first
        )
        report_progress("pages")
        return write_pdf(source, snapshot, stored)


def prepare(
    snapshot: Snapshot,
    report_progress: ProgressCallback = ignore_progress,
    *,
    record_sha256: str = "",
    show_first: Callable[[DocumentSource], None] | None = None,
) -> DocumentSource:
    """Return the HTML of a sheet with its pictures."""
    with translation.override(snapshot.language), timezone.override(ZoneInfo(snapshot.shop.time_zone)):
        common = common_context(snapshot, record_sha256)
        marks = address_pictures(snapshot)
        files = fixed_files(snapshot) | by_address(marks)
        first = first_page(snapshot, lambda page: room_left(page, snapshot, common, files))
        on_first = first_pictures(snapshot, first)
        if show_first:
            show_first(first_page_source(first, on_first, snapshot, common, files))
        drawn = {"first": on_first} | draw_pictures(snapshot, first, report_progress)
        evidence = build_evidence(snapshot, clearances_on_first=has_clearances_on_first(snapshot))
        context = {
            **common,
            **first_page_context(snapshot, first),
            **later_context(snapshot, evidence, drawn),
            "pictures": marks | drawn,
        }
        html = render_to_string("reports/handover/sheet.html", context)
    shown = [*evidence_pictures(evidence)]
    return DocumentSource(html, files | by_address(drawn | {"evidence": shown}), PAPERS[snapshot.shop.paper])


# --- the first page


def common_context(snapshot: Snapshot, record_sha256: str) -> dict[str, Any]:
    """Return what all pages need."""
    sheet, shop = snapshot.sheet, snapshot.shop
    at = format_day_time(datetime.fromisoformat(sheet.issued_at))
    lines = [line.strip() for line in shop.address.splitlines() if line.strip()]
    code = record_sha256[:16]
    return {
        "s": snapshot,
        "u": shop.units,
        "issued": (_("Draft of %(at)s") if sheet.draft else _("Issued %(at)s")) % {"at": at},
        "stamps": page_stamps(snapshot),
        "address": lines if len(lines) <= MAX_ADDRESS_LINES else [", ".join(lines)],
        "now_label": now_label(snapshot),
        "now_inline": lower_first(now_label(snapshot)),
        "overall": snapshot.overall,
        "codes": {part.key: f"A{number}" for number, part in enumerate(annex_sections(snapshot), 1)},
        "road_answer": story.road_answer(snapshot),
        "record_code": " ".join(code[at : at + 4] for at in range(0, len(code), 4)),
    }


def first_page_context(snapshot: Snapshot, first: FirstPage) -> dict[str, Any]:
    is_torque = snapshot.overall is not None
    title = _("Torque before and now") if is_torque else _("Valve clearances against their limits")
    return {
        "first": first,
        "picture_title": title,
        "picture_anchor": "torque" if is_torque else "clearances",
        "picture_note": how_sure(snapshot) if is_torque else "",
    }


def how_sure(snapshot: Snapshot) -> str:
    """Return what the interval in the picture holds, in short."""
    overall = snapshot.overall
    curves = overall.curves if overall else None
    if overall is None or curves is None:
        return ""
    runs = {"before": curves.before.runs, "after": curves.after.runs}
    sentences = [
        _("Mean of the dyno runs, %(before)s before and %(after)s after.") % runs,
        _("The shaded band is the 95 % band of the difference.")
        if curves.holds_everywhere
        else _("The shaded interval is the 95 % interval of the difference."),
    ]
    if overall.assumed_pct:
        assumed = _("A scatter of %(share)s %% is assumed: too few runs.")
        sentences.append(assumed % {"share": format_digits(overall.assumed_pct)})
    if len(overall.changes) > 1:
        sentences.append(
            _("Several things changed together, so the difference cannot be credited to any one of them.")
        )
    return " ".join(sentences)


def now_label(snapshot: Snapshot) -> str:
    """Return what the last measured state is called: now, unless something was changed after it."""
    return _("At the last run") if snapshot.present and snapshot.present.since else _("Now")


def room_left(
    first: FirstPage, snapshot: Snapshot, common: dict[str, Any], files: dict[str, tuple[bytes, str]]
) -> float:
    """Return the height left on a trial of the first page [mm]; below zero if it is too high."""
    boxes = first_pictures(snapshot, first, blank=True)
    return trial_room_mm(first_page_source(first, boxes, snapshot, common, files), "page-end")


def first_page_source(
    first: FirstPage,
    pictures: list[draw.Picture],
    snapshot: Snapshot,
    common: dict[str, Any],
    files: dict[str, tuple[bytes, str]],
) -> DocumentSource:
    """Return the first page as a document of its own."""
    context = {
        **common,
        **first_page_context(snapshot, first),
        "pictures": {"first": pictures, "check": address_pictures(snapshot)["check"]},
        "only_first": True,
    }
    html = render_to_string("reports/handover/sheet.html", context)
    return DocumentSource(html, files | by_address({"": pictures}), PAPERS[snapshot.shop.paper])


def first_pictures(snapshot: Snapshot, first: FirstPage, *, blank: bool = False) -> list[draw.Picture]:
    """Return the picture of the first page: torque before and now, else the clearances if few."""
    height, order = first.picture_mm, snapshot.overall_index
    if not height:
        return []
    if order is not None:
        return [draw.blank_picture(height)] if blank else [overall_picture(snapshot, height)]
    if not has_clearances_on_first(snapshot):
        return []
    return draw.clearance_pictures(snapshot.get(CLEARANCES), snapshot.shop.units.length_unit)


def overall_picture(snapshot: Snapshot, height_mm: float) -> draw.Picture:
    """Draw torque of the bike before the first change and now, with the band of the clearest difference."""
    overall, order = snapshot.overall, snapshot.overall_index
    assert overall is not None and overall.curves is not None and order is not None
    units, shown = snapshot.shop.units, story.clearest(snapshot)
    band = None
    if shown and overall.bands and shown[0] is not overall.bands[0]:
        value = measured(shown[1], units)
        band = (shown[0].from_rpm, shown[0].to_rpm,
                _("%(difference)s %(unit)s on average (%(interval)s)") % value)  # fmt: skip
    return draw.torque_picture(
        overall, overall.curves, order, units, height_mm, now=now_label(snapshot), shown=band
    )


def has_clearances_on_first(snapshot: Snapshot) -> bool:
    clearances = snapshot.get(CLEARANCES)
    rows = clearances.rows if clearances else []
    return snapshot.overall is None and 0 < len(rows) <= MAX_MARKS_ON_FIRST_PAGE


# --- the pages after it


def later_context(snapshot: Snapshot, evidence: Evidence, drawn: Pictures) -> dict[str, Any]:
    """Return the template context of the pages after the first."""
    notices = snapshot.notices
    length = len(
        notices.road_use + notices.safety + notices.shop + "".join([*notices.causes, *notices.cautions])
    )
    compared, annex = range(len(snapshot.comparisons)), annex_sections(snapshot)
    return {
        "now": bike_now(snapshot),
        "evidence": evidence,
        "key": {
            name: f"{format_digits(100 * share)} %"
            for name, share in zip(("on", "first", "second"), SHADES, strict=False)
        },
        "notices_are_short": length <= MAX_NOTICE_LENGTH,
        "not_compared": not_compared(snapshot),
        "deviations": deviations(snapshot),
        "glossary": glossary(snapshot),
        "attached": attached_names(snapshot),
        "annex": annex,
        "annex_is_short": 0 < len(annex) <= SHORT_ANNEX,
        "comparison_pictures": [drawn[f"comparison-{n}"] for n in compared],
        "drive_pictures": [drawn[f"drive-{n}"] for n in compared],
        "mixture_before": story.mixture_before_and_now(snapshot)[0],
        "measured_maps": [measured_map(study) for study in snapshot.get(MIXTURE)],
        "overall_index": snapshot.overall_index,
        "changed": changed_more(snapshot),
    }


def changed_more(snapshot: Snapshot) -> list[str]:
    """Return the sentences on what has changed that what was done does not say already."""
    return [text for text in snapshot.changed if not any(text.rstrip(".") in done for done in snapshot.done)]


def bike_now(snapshot: Snapshot) -> dict[str, Any]:
    """Return the settings and parts of the bike as it leaves, in short; the annex has every reading."""
    throttle, parts = snapshot.get(THROTTLE), snapshot.get(PARTS)
    shown = {
        "settings": story.net_settings(snapshot),
        "modes": throttle.modes if throttle else [],
        "suspension": suspension_in_short(snapshot),
        "parts": parts[:MAX_PARTS_IN_SHORT],
    }
    more = max(0, len(parts) - MAX_PARTS_IN_SHORT)
    return {**shown, "parts_more": more, "is_shown": any(shown.values())}


def suspension_in_short(snapshot: Snapshot) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return each setting at the front and at the rear: now, and before if that was another value."""
    suspension = snapshot.get(SUSPENSION)
    ends = {group.title: group.rows for group in (suspension.groups if suspension else [])}
    rows = []
    for name in SETTINGS_IN_SHORT:
        found = [
            next((row for row in ends.get(end, []) if row.name == name), None) for end in ("front", "rear")
        ]
        if any(found):
            values = [
                [quantity(row.figures[at], snapshot.shop.units) for at in (-1, 0)] if row else ["–", "–"]
                for row in found
            ]
            rows.append((name, [(now, before if before != now else "") for now, before in values]))
    return rows


def not_compared(snapshot: Snapshot) -> str:
    """Return why there is no interval on this sheet."""
    if snapshot.present and snapshot.present.reason:
        return snapshot.present.reason
    if snapshot.get(RUNS):
        return _("The dyno runs of this job are not compared with each other.")
    return _("No dyno runs were made, so this sheet says nothing about power, torque or mixture.")


def deviations(snapshot: Snapshot) -> list[str]:
    """Return where runs left the limits of their correction standard, with the runs."""
    runs: dict[str, list[str]] = {}
    for run in snapshot.get(RUNS):
        for text in run.limits_passed:
            runs.setdefault(text, []).append(run.name)
    return [
        f"{text} ({ngettext('%(count)s run', '%(count)s runs', len(names)) % {'count': len(names)}})"
        for text, names in runs.items()
    ]


def glossary(snapshot: Snapshot) -> list[tuple[str, str]]:
    """Return the words that this sheet uses, with their meaning."""
    throttle, mixture, tune = snapshot.get(THROTTLE), snapshot.get(MIXTURE), snapshot.get(TUNE)
    clearances = snapshot.get(CLEARANCES)
    words = [
        (clearances, _("Clearance"), _("the gap in the valve drive, measured with the engine cold")),
        (clearances, _("Shim"), _("the small disc that sets the clearance")),
        (snapshot.comparisons, _("95 % interval"), _(INTERVAL_MEANING)),
        (throttle or tune, _("Grip"), _("how far the twist grip is turned, 0 to 100 %")),
        (throttle, _("Throttle plate"), _("the valve in the throttle body: how far it opens, 0 to 100 %")),
        (tune or throttle, _("Tune"), _("the numbered set of all settings in the engine's control unit")),
        (mixture, _("Lean, rich"), _("less or more fuel than the target mixture")),
        (
            mixture,
            _("Lambda (λ)"),
            _("air to fuel: at 1 all of both burns, above 1 there is less fuel (lean)"),
        ),
        (snapshot.get(SUSPENSION), _("Sag"), _("how far the suspension sinks under load")),
        (snapshot.get(SUSPENSION), _("Rebound"), _("damping as the suspension extends again")),
        (True, _("Road legal"), _("allowed on public roads; others decide this, not the shop")),
    ]  # fmt: skip
    return [(word, meaning) for shown, word, meaning in words if shown]


def attached_names(snapshot: Snapshot) -> list[tuple[str, str]]:
    """Return the attached files with what they hold."""
    tables = [(name, file.description) for name, file in attached_tables(snapshot).items() if file.text]
    return [*tables, (RECORD, _(RECORD_DESCRIPTION))]


def annex_sections(snapshot: Snapshot) -> list[SheetSection]:
    """Return the sections of the annex: the records with content, in the printed order."""
    facts = {printed: snapshot.get(printed) for printed in printed_records() if printed not in NOT_IN_ANNEX}
    facts[COMPARISONS] = snapshot.comparisons
    return [
        SheetSection(printed.name, printed.heading, printed.template, found)
        for printed, found in facts.items()
        if printed.is_shown(found)
    ]


def page_stamps(snapshot: Snapshot) -> list[str]:
    """Return the stamps printed on every page."""
    draft = [_("Draft, not issued")] if snapshot.sheet.draft else []
    return [*draft, _(TRACK_ONLY)] if snapshot.notices.track_only else draft


# --- pictures and files


def draw_pictures(
    snapshot: Snapshot, first: FirstPage, report_progress: ProgressCallback = ignore_progress
) -> Pictures:
    """Draw the pictures of every section but the first page, and report each."""
    sections = picture_builders(snapshot, first)
    drawn: Pictures = {}
    report_progress("pictures", 0, len(sections))
    for done, (name, build) in enumerate(sections.items(), 1):
        drawn[name] = build()
        report_progress("pictures", done, len(sections))
    return drawn


def picture_builders(snapshot: Snapshot, first: FirstPage) -> dict[str, Callable[[], list[draw.Picture]]]:
    """Return a function for each section that draws its pictures."""
    units, throttle = snapshot.shop.units, snapshot.get(THROTTLE)
    builders: dict[str, Callable[[], list[draw.Picture]]] = {}
    for order, comparison in enumerate(snapshot.comparisons):
        on_first = order == snapshot.overall_index and bool(first.picture_mm)
        builders[f"comparison-{order}"] = partial(
            draw.comparison_pictures, comparison, order, units, with_torque=not on_first
        )
        builders[f"drive-{order}"] = partial(draw_optional, draw.drive_picture, comparison, order)
    drawn_first = has_clearances_on_first(snapshot) and bool(first.picture_mm)
    builders["clearances"] = (
        list if drawn_first else partial(draw.clearance_pictures, snapshot.get(CLEARANCES), units.length_unit)
    )
    builders["modes"] = partial(draw_optional, draw.modes_picture, throttle.modes if throttle else [])
    builders["torque"] = partial(
        draw_optional, draw.torque_by_grip_picture, throttle.torque if throttle else None
    )
    builders["braking"] = partial(draw_optional, draw.braking_picture, throttle.braking if throttle else None)
    return builders


def draw_optional(build: Callable[..., draw.Picture | None], *args: Any) -> list[draw.Picture]:
    picture = build(*args)
    return [picture] if picture else []


def evidence_pictures(evidence: Evidence) -> Iterator[draw.Picture]:
    """Yield the marks in the table of the comparison."""
    if evidence.axis:
        yield evidence.axis
    for band in evidence.marks:
        yield from (row.mark for row in band.rows)


def address_pictures(snapshot: Snapshot) -> Pictures:
    """Return the QR codes of the addresses on the sheet."""
    addresses = {
        "link": snapshot.sheet.link.address if snapshot.sheet.link else "",
        "check": snapshot.sheet.check_address,
    }
    alt = _("QR code of the address %(address)s")
    return {
        name: [draw.Picture(name, qr_svg(address), "", alt % {"address": address})] if address else []
        for name, address in addresses.items()
    }


def by_address(drawn: Pictures) -> dict[str, tuple[bytes, str]]:
    """Return the pictures by the address that the page uses."""
    return {
        picture.address: (picture.svg.encode(), "image/svg+xml")
        for picture in chain.from_iterable(drawn.values())
    }


def fixed_files(snapshot: Snapshot) -> dict[str, tuple[bytes, str]]:
    """Return signs, photos and logo by the address that the page uses."""
    found = {
        f"sheet:photo-{order}.jpg": (b64decode(photo.jpeg_base64), "image/jpeg")
        for order, photo in enumerate(snapshot.get(BRIEF).photos)
        if photo.jpeg_base64
    }
    logo = snapshot.shop.logo
    if logo:
        found["sheet:logo"] = (b64decode(logo.base64), logo.type)
    return found | SIGNS


def write_pdf(source: DocumentSource, snapshot: Snapshot, stored: dict[str, Any]) -> bytes:
    """Typeset the sheet with its attachments."""
    at = datetime.fromisoformat(snapshot.sheet.issued_at)
    whole = json.dumps(stored, ensure_ascii=False, sort_keys=True, indent=1)
    record = AttachedText(whole, _(RECORD_DESCRIPTION))
    return typeset(source, attached={**attached_tables(snapshot), RECORD: record}, at=at)
