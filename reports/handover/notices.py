"""Road-use and safety notices: from parts, tune changes and intended use, in a kept wording.

They say 'may', name what causes it, and send the reader to whoever decides.
"""

from typing import Any

from jobs.job.page import JobPage
from jobs.models import Job, TuneChange
from jobs.tunes.revisions import carried_changes, in_the_bike, road_effects
from reports.models import NoticeWording
from workshop.models import ShopProfile

ROAD_USE = (
    "Whether a bike may be used on public roads is decided by the local authority, the inspection body and "
    "the insurer, not by this sheet and not by the shop's program. Ask them before riding on the road, and "
    "show them this sheet. Approval, limits of emissions and noise, and terms of insurance differ from "
    "place to place and change with time."
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
        "This bike was prepared for track use only. It may not meet what public roads require, "
        "and the shop does not hand it over for use on them."
    ),
    "causes": "This bike may no longer meet what public roads require.",
    "clear": (
        "Nothing recorded on this job is known to the shop to change what the bike needs on public roads. "
        "That is a record, not an approval."
    ),
}


def current_wording() -> NoticeWording:
    """The wording in force; the first is made where none exists yet."""
    newest = NoticeWording.objects.order_by("version").last()
    return newest or NoticeWording.objects.create(version=1, road_use=ROAD_USE, safety=SAFETY)


def part_causes(page: JobPage) -> list[str]:
    causes = []
    for part in page.parts:
        if part.race_only:
            causes.append(f"{part.name} is marked for race use only.")
        elif part.changes_exhaust or part.changes_intake:
            changed = " and ".join(kind for kind in part.changes if kind in ("exhaust", "intake"))
            causes.append(
                f"{part.name} changes the {changed}: emissions and noise may no longer meet the law."
            )
    return causes


def carried(page: JobPage) -> list[TuneChange]:
    """The changes that the calibration in the bike carries."""
    return carried_changes(in_the_bike(page.revisions, page.runs), page.revisions, page.changes)


def road_causes(page: JobPage) -> list[str]:
    """What may affect use on public roads: the parts, then the changes of the calibration in the bike."""
    effects = road_effects(carried(page))
    tune = [f"Tune, {', '.join(kinds)}: {effect}" for effect, kinds in effects.items() if effect]
    return [*part_causes(page), *tune]


def cautions(page: JobPage) -> list[str]:
    """What the rider has to watch because of what was changed."""
    said = list(
        dict.fromkeys(
            change.kind.customer_caution for change in carried(page) if change.kind.customer_caution
        )
    )
    if any(part.changes_brakes for part in page.parts):
        said.append("Parts of the brakes were changed: brake gently until they have bedded in.")
    if any(part.changes_gearing for part in page.parts):
        said.append("The gearing was changed: the speedometer may show otherwise than before.")
    return said


def notices_for(page: JobPage, shop: ShopProfile, told: str) -> dict[str, Any]:
    """The notices of one sheet, as printed and as acknowledged."""
    wording = current_wording()
    causes = road_causes(page)
    track_only = page.job.intended_use == Job.IntendedUse.TRACK_ONLY
    state = "track" if track_only else "causes" if causes else "clear"
    return {
        "wording": wording.version,
        "track_only": track_only,
        "state": state,
        "lead": LEADS[state],
        "causes": causes,
        "told": told,
        "road_use": wording.road_use,
        "safety": wording.safety,
        "cautions": cautions(page),
        "shop": shop.notice_text,
        "record": RECORD,
    }


def as_text(notice: dict[str, Any]) -> str:
    """The notices as one text, which is what a customer acknowledges."""
    told = f"{notice['told']} was told so by the shop." if notice["told"] else ""
    parts = [
        "Use on public roads",
        notice["lead"],
        *(f"- {cause}" for cause in notice["causes"]),
        told,
        notice["road_use"],
        "Safety",
        notice["safety"],
        *(f"- {caution}" for caution in notice["cautions"]),
        notice["shop"],
        notice["record"],
        f"Wording {notice['wording']}",
    ]
    return "\n".join(part for part in parts if part)
