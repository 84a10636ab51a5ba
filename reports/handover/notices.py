"""Road-use and safety notices from parts, tune changes and intended use, in a stored wording.

They say "may", name the causes, and refer the reader to those who decide.
"""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.job.registry import collect
from jobs.job.results import JobResults
from jobs.job.road_use import describe_causes, describe_search, road_causes, to_report
from jobs.models import Job
from reports.handover.snapshot.schema import NoticeFacts
from reports.models import NoticeWording

VERSION = 3
# Common practice, no source: that insurer, warranty, tampering rules and noise limits of circuits may matter.
ROAD_USE = gettext_noop(
    "The local authority, the inspection body and your insurer decide whether this bike may be used on "
    "public roads. This sheet and the shop's software do not. Ask them before you ride on the road, and "
    "show them this sheet. Approval rules, emission and noise limits and insurance terms differ from place "
    "to place and change over time.\n"
    "Your insurer may have to be told of changes to the bike: cover may depend on it. The manufacturer's "
    "warranty may be affected too.\n"
    "In many countries it may be unlawful to remove or disable emission or noise controls of a vehicle that "
    "is used on the road (tampering). The local authority can say what applies.\n"
    "On track days the circuit may have a noise limit and other rules: ask the organiser before the day."
)
SAFETY = gettext_noop(
    "Ride gently at first and away from traffic: the engine and throttle may respond differently. Before you "
    "ride off, check three things: the throttle returns to closed by itself with the bars turned fully left "
    "and fully right; the brakes bite; nothing leaks. If anything feels wrong, stop and call the shop. Tell "
    "anyone else who rides this bike what was changed and what was not tested."
)
RECORD = gettext_noop(
    "This sheet records what the shop measured and did. It does not replace the decisions of a licensed "
    "workshop, the manufacturer's service manual or the local authority."
)
TRACK_ONLY = gettext_noop("Track use only")

LEADS = {
    "track": gettext_noop(
        "This bike was prepared for track use only. On public roads it may not be road legal and may not be "
        "insured, and the shop does not hand it over for use on them. Moving it on public roads under its "
        "own power, even to a track, is not covered: ask the local authority how it may be moved."
    ),
    "causes": gettext_noop("This bike may no longer be road legal."),
    "clear": gettext_noop(
        "We recorded no change on this job that affects road approval. Earlier changes and the bike's "
        "condition were not assessed. This is a record, not an approval."
    ),
}


def current_wording() -> NoticeWording:
    """Return the wording in force; store this version's own if no later one is stored."""
    newest = NoticeWording.objects.order_by("version").last()
    if newest is not None and newest.version >= VERSION:
        return newest
    texts = {"road_use": ROAD_USE, "safety": SAFETY}
    return NoticeWording.objects.get_or_create(version=VERSION, defaults=texts)[0]


def cautions(results: JobResults) -> list[str]:
    """Return what the rider has to watch because of what was changed."""
    return list(dict.fromkeys(collect(results, "cautions")))


def notices_for(results: JobResults, informed_person: str) -> NoticeFacts:
    """Return the notices of a sheet, as printed and acknowledged."""
    wording = current_wording()
    causes = results.get(describe_causes)
    track_only = results.job.intended_use == Job.IntendedUse.TRACK_ONLY
    state = "track" if track_only else "causes" if causes else "clear"
    return NoticeFacts(
        wording=wording.version,
        track_only=track_only,
        state=state,
        lead=_(LEADS[state]),
        causes=causes,
        informed_person=informed_person,
        road_use=_(wording.road_use),
        safety=_(wording.safety),
        cautions=cautions(results),
        shop=results.shop.notice_text,
        record=_(RECORD),
        looked_at=describe_search(results),
        to_report=to_report(results.get(road_causes)),
    )


def as_text(notice: NoticeFacts) -> str:
    """Return the notices as the text that a customer acknowledges."""
    informed = ""
    if notice.informed_person:
        informed = _("%(person)s was told this by the shop.") % {"person": notice.informed_person}
    parts = [
        _("Use on public roads"),
        notice.lead,
        *(f"- {cause}" for cause in notice.causes),
        notice.looked_at,
        notice.report_sentence,
        informed,
        notice.road_use,
        _("Safety"),
        notice.safety,
        *(f"- {caution}" for caution in notice.cautions),
        notice.shop,
        notice.record,
        _("Notice text version %(version)s") % {"version": notice.wording},
    ]
    return "\n".join(part for part in parts if part)
