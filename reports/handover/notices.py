"""Road-use and safety notices from parts, tune changes and intended use, in a stored wording.

They say "may", name the causes, and refer the reader to those who decide.
"""

from jobs.job.registry import collect
from jobs.job.results import JobResults
from jobs.job.road_use import describe_causes, describe_search, road_causes, to_report
from jobs.models import Job
from reports.handover.snapshot.schema import NoticeFacts
from reports.models import NoticeWording

VERSION = 2
# Common practice, no source: that insurer, warranty, tampering rules and noise limits of circuits may matter.
ROAD_USE = (
    "Whether a bike may be used on public roads is decided by the local authority, the inspection body and "
    "the insurer, not by this sheet and not by the shop's program, which decides nothing. Ask them before "
    "riding on the road, and show them this sheet. Approval, limits of emissions and noise, and terms of "
    "insurance differ from place to place and change with time.\n"
    "The insurer may have to be told of changes to the bike: cover may depend on it. The manufacturer's "
    "warranty may be affected too.\n"
    "In many countries it may be unlawful to remove or disable emission or noise controls of a vehicle that "
    "is used on the road (tampering). The local authority can say what applies.\n"
    "On track days the circuit may have a noise limit and other rules: ask the organiser before the day."
)
SAFETY = (
    "Ride gently at first and away from traffic: engine and throttle may answer otherwise than before. "
    "Before riding off, see that the throttle returns to closed by itself with the bars at either "
    "lock, that the brakes bite, and that nothing leaks. If anything feels wrong, stop and call the shop. "
    "Whoever rides this bike next must know what was changed and what was not tested."
)
RECORD = (
    "This sheet is a record of what the shop measured and did. It decides nothing that belongs to a licensed "
    "workshop, the maker's manual or the local authority."
)
TRACK_ONLY = "Track use only"

LEADS = {
    "track": (
        "This bike was prepared for track use only. On public roads it may not meet what they require and "
        "may not be insured, and the shop does not hand it over for use on them. Moving it on public roads "
        "under its own power, to a track too, is not covered: ask the local authority how it may be moved."
    ),
    "causes": "This bike may no longer meet what public roads require.",
    "clear": (
        "In its records of this bike the shop found nothing that is marked as affecting road use. "
        "That is a record, not an approval."
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
        lead=LEADS[state],
        causes=causes,
        informed_person=informed_person,
        road_use=wording.road_use,
        safety=wording.safety,
        cautions=cautions(results),
        shop=results.shop.notice_text,
        record=RECORD,
        looked_at=describe_search(results),
        to_report=to_report(results.get(road_causes)),
    )


def as_text(notice: NoticeFacts) -> str:
    """Return the notices as the text that a customer acknowledges."""
    informed = f"{notice.informed_person} was told so by the shop." if notice.informed_person else ""
    parts = [
        "Use on public roads",
        notice.lead,
        *(f"- {cause}" for cause in notice.causes),
        notice.looked_at,
        notice.report_sentence,
        informed,
        notice.road_use,
        "Safety",
        notice.safety,
        *(f"- {caution}" for caution in notice.cautions),
        notice.shop,
        notice.record,
        f"Wording {notice.wording}",
    ]
    return "\n".join(part for part in parts if part)
