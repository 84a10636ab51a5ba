"""Everything an issued sheet says, read once from the records; the only place in reports that queries them.

A snapshot is plain JSON: SI units in names, times in UTC, the same from the same records. Sheet, links and
attachments are made from it alone.
"""

import hashlib
import json
from datetime import datetime
from typing import Any

from jobs.comparisons.compare import compare_runs
from jobs.job.page import JobPage, get_job, load_page
from jobs.models import Job
from jobs.runs.results import figures_of
from jobs.timeline.events import events
from jobs.tunes.revisions import in_the_bike
from reports.handover import notices
from reports.handover.snapshot import summary_sentences as words
from reports.handover.snapshot import work
from reports.handover.snapshot.clearances import clearance_facts
from reports.handover.snapshot.json_values import moment, tidied
from reports.handover.snapshot.mixture import mixture_facts, throttle_facts
from reports.handover.snapshot.people import bike_facts, brief_facts, customer_facts, engine_facts, shop_facts
from reports.handover.snapshot.runs import comparison_facts, run_facts
from reports.models import HandoverSheet
from workshop.models import ShopProfile, StaffMember

FORMAT = 1
# What a later issue names where it differs; the rest follows from these.
SECTIONS = {
    "brief": "brief and receipt",
    "clearances": "valve clearances",
    "parts": "parts",
    "tune": "tune",
    "runs": "runs",
    "comparisons": "comparisons",
    "mixture": "mixture",
    "throttle": "throttle",
    "suspension": "suspension and settings",
    "bike_changes": "other changes",
    "checks": "checks",
    "not_tested": "what was not tested",
    "next_service": "next service",
    "notices": "notices",
}


def make_snapshot(
    job: Job,
    *,
    issue_number: int,
    issued_by: StaffMember,
    at: datetime,
    override_reason: str = "",
    told: str = "",
    link: dict[str, str] | None = None,
    draft: bool = False,
) -> dict[str, Any]:
    """Everything the sheet of a job says.

    Parameters
    ----------
    told : str
        Name of the customer who was told that the bike may no longer meet what the road requires.
    link : dict, optional
        Address of the customer's page and when it ends, printed as a QR code.
    draft : bool
        Whether the sheet is only looked at, which every page then says.
    """
    page = load_page(get_job(job.number))
    shop = ShopProfile.current()
    found = events(page.job, shop)
    in_bike = in_the_bike(page.revisions, page.runs)
    compared = {each: compare_runs(each, members, shop, found) for each, members in page.comparisons.items()}
    printed = [each for each in compared.values() if each.comparison.on_sheet]
    snapshot: dict[str, Any] = {
        "format": FORMAT,
        "shop": shop_facts(shop),
        "customer": customer_facts(page.job.customer),
        "bike": bike_facts(page.job.bike),
        "engine": engine_facts(page.job.bike.engine_spec),
        "brief": brief_facts(page),
        "clearances": clearance_facts(page, shop),
        "parts": [work.part_facts(part) for part in page.parts],
        "tune": work.tune_facts(page, in_bike),
        "runs": [run_facts(figures_of(run, shop)) for run in page.runs],
        "comparisons": [comparison_facts(each, shop) for each in printed],
        "mixture": [mixture_facts(study) for study in page.mixture_studies if study.on_sheet],
        "throttle": throttle_facts(page, in_bike, shop),
        "suspension": work.suspension_facts(page.suspension, page.job, shop),
        "bike_changes": [work.bike_change_facts(change) for change in page.bike_changes],
        "checks": work.check_facts(page),
        "not_tested": {
            "said": page.job.not_tested,
            "derived": words.not_tested(found, printed, page.runs),
        },
        "next_service": {"said": page.job.next_service, "derived": words.next_service(page, shop)},
        "not_printed": not_printed(page),
    }
    snapshot["notices"] = notices.notices_for(page, shop, told)
    snapshot["done"] = words.work_done(page, snapshot, shop)
    snapshot["changed"] = words.what_changed(snapshot["comparisons"], snapshot)
    snapshot = tidied(snapshot)
    snapshot["sheet"] = {
        "job": page.job.number,
        "number": f"{page.job.number}/{issue_number}",
        "issue_number": issue_number,
        "issued_at": moment(at),
        "issued_by": str(issued_by),
        "override_reason": tidied(override_reason),
        "draft": draft,
        "supersedes": supersedes(page.job, issue_number, snapshot),
        "link": link,
    }
    return snapshot


def not_printed(page: JobPage) -> list[str]:
    """Comparisons and mixture studies that the shop chose not to print, by title."""
    chosen_away = [each.title for each in page.comparisons if not each.on_sheet]
    return chosen_away + [study.title for study in page.mixture_studies if not study.on_sheet]


def supersedes(job: Job, issue_number: int, snapshot: dict[str, Any]) -> dict[str, Any] | None:
    """The issue before this one and the sections in which this one differs; None for the first."""
    before = (
        HandoverSheet.objects.filter(job=job, issue_number__lt=issue_number).order_by("issue_number").last()
    )
    if before is None:
        return None
    stored = before.snapshot
    differs = [title for key, title in SECTIONS.items() if stored.get(key) != plain_json(snapshot[key])]
    return {"number": before.number, "issued_at": moment(before.issued_at), "changed": differs}


def plain_json(value: Any) -> Any:
    """A value as it comes back from JSON."""
    return json.loads(json.dumps(value))


def canonical(snapshot: dict[str, Any]) -> str:
    """One and the same text for the same snapshot, whatever order a database keeps its keys in."""
    return json.dumps(snapshot, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def snapshot_sha256(snapshot: dict[str, Any]) -> str:
    return hashlib.sha256(canonical(snapshot).encode()).hexdigest()
