"""The customer's page of a sheet: what it shows, from the sheet's snapshot and what happened since."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.clearances.facts import CLEARANCES
from jobs.handing_over.facts import handover_facts
from jobs.job_page.facts import BRIEF, PhotoFacts
from jobs.throttle.facts import THROTTLE
from jobs.wishes.facts import WISHES
from reports.customer.pictures import Chart, clearance_charts, comparison_charts, mode_charts
from reports.customer.sentences import (
    describe_mode,
    describe_regions,
    describe_result,
    describe_runs,
    describe_source,
    describe_value,
    describe_valves,
)
from reports.handover.snapshot.schema import NoticeFacts, Snapshot
from reports.models import HandoverSheet, SheetLink

CHECK_IN = timedelta(hours=12)  # photos up to then show the bike as it came in


@dataclass(frozen=True)
class WishAnswer:
    """A wish, or the whole request if it was not split, and what became of it."""

    wish: str
    result: str
    label: str
    text: str
    source: str


@dataclass(frozen=True)
class Compared:
    """A comparison in the customer's words: its chart, where it differs, how sure that is."""

    chart: Chart
    sentences: list[str]
    values: list[str]


def answers(snapshot: Snapshot) -> list[WishAnswer]:
    wishes = snapshot.get(WISHES)
    if not wishes:
        return [WishAnswer(snapshot.get(BRIEF).asked, "", "", "", "")]
    return [
        WishAnswer(wish.text, wish.result, describe_result(wish.result), wish.answer, describe_source(wish))
        for wish in wishes
    ]


def compared(snapshot: Snapshot) -> Compared | None:
    """Return the comparison between the bike as it came in and as it is now, as the customer reads it."""
    comparison = snapshot.overall
    if comparison is None:
        return None
    charts = comparison_charts(comparison, snapshot.shop.units)
    if not charts or comparison.curves is None:
        return None
    values = comparison.bands[0].figures if comparison.bands else []
    return Compared(
        charts[0],
        [describe_regions(comparison.curves, "torque"), describe_runs(comparison)],
        [describe_value(value, snapshot.shop.units) for value in values],
    )


def road_heading(notices: NoticeFacts) -> str:
    """Return the road-use notice in one line; it may be no stronger or weaker than the notice itself."""
    return {
        "track": _("This bike was prepared for track use only."),
        "causes": _("This bike may not be road legal."),
        "clear": _("Nothing that we recorded is marked as affecting road use."),
    }[notices.state]


def road_advice(notices: NoticeFacts) -> str:
    return {
        "track": _(
            "On public roads it may not be road legal and may not be insured. Do not ride it there, and ask "
            "the local authority how it may be moved."
        ),
        "causes": _(
            "Before you ride on the road, ask your local authority, the inspection body and your insurer, "
            "and show them this page."
        ),
        "clear": _("That is a record, not an approval."),
    }[notices.state]


def split_photos(snapshot: Snapshot) -> list[tuple[str, list[PhotoFacts]]]:
    """Return the photos of the bike as it came in, and those of the work."""
    brief = snapshot.get(BRIEF)
    photos = [photo for photo in brief.photos if photo.jpeg_base64]
    if not brief.received_at:
        return [("", photos)] if photos else []
    until = datetime.fromisoformat(brief.received_at) + CHECK_IN
    came_in = [p for p in photos if p.taken_at and datetime.fromisoformat(p.taken_at) <= until]
    later = [photo for photo in photos if photo not in came_in]
    groups = [(_("As it came in"), came_in), (_("During and after the work"), later)]
    return [(title, found) for title, found in groups if found]


def page_context(link: SheetLink, snapshot: Snapshot) -> dict[str, Any]:
    """Return what the template shows of a sheet."""
    sheet = link.sheet
    newer = HandoverSheet.objects.filter(job=sheet.job, issue_number__gt=sheet.issue_number).exists()
    later_links = SheetLink.objects.filter(
        sheet__job=sheet.job, sheet__issue_number__gt=sheet.issue_number, revoked_at=None
    )
    clearances, throttle = snapshot.get(CLEARANCES), snapshot.get(THROTTLE)
    modes = throttle.modes if throttle else []
    return {
        "s": snapshot,
        "brief": snapshot.get(BRIEF),
        "token": link.token,
        "with_talk_through": link.with_talk_through,
        "newer": newer,
        # The shop has released it by a link of its own; without one it is the shop's to hand out.
        "newer_link": later_links.filter(expires_at__gt=timezone.now()).order_by("sheet__issue_number").last()
        if newer
        else None,
        "road_heading": road_heading(snapshot.notices),
        "road_advice": road_advice(snapshot.notices),
        "answers": answers(snapshot),
        "compared": compared(snapshot),
        "valve_charts": clearance_charts(clearances, snapshot.shop.units.length_unit),
        "valves": describe_valves(clearances) if clearances else "",
        "mode_charts": mode_charts(modes),
        "modes": [sentence for sentence in map(describe_mode, modes) if sentence],
        "photo_groups": split_photos(snapshot),
        "acknowledged": sheet.acknowledgements.first(),
        "handovers": [handover_facts(handover) for handover in sheet.job.handovers.select_related("by")],
    }
