"""Everything an issued sheet says, read once from the records; the only place in reports that queries them.

A snapshot is made of the classes in ``schema`` and stored as JSON by ``codec``: SI units in names, times in
UTC, the same from the same records. Sheet, links and attachments are made from it alone.
"""

from dataclasses import replace
from datetime import datetime

from jobs.comparisons.compare import comparison_results
from jobs.job.results import JobResults
from jobs.mixture.study import runs_by_study
from jobs.models import BikeChange, Comparison, Job, MixtureStudy, Part, Run, SuspensionSetting
from jobs.runs.results import run_results
from jobs.timeline.events import timeline
from jobs.tunes.revisions import tune_in_bike
from reports.handover import notices
from reports.handover.snapshot import summary_sentences, work
from reports.handover.snapshot.clearances import clearance_facts
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.json_values import moment, tidied
from reports.handover.snapshot.mixture import mixture_facts, throttle_facts
from reports.handover.snapshot.people import bike_facts, brief_facts, customer_facts, engine_facts, shop_facts
from reports.handover.snapshot.runs import comparison_facts, run_facts
from reports.handover.snapshot.schema import (
    LinkFacts,
    NextServiceFacts,
    NotTestedFacts,
    SheetFacts,
    Snapshot,
    SupersededFacts,
)
from reports.models import HandoverSheet
from workshop.models import StaffMember

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
    results: JobResults,
    *,
    issue_number: int,
    issued_by: StaffMember,
    at: datetime,
    override_reason: str = "",
    told: str = "",
    link: LinkFacts | None = None,
    draft: bool = False,
) -> Snapshot:
    """Everything the sheet of a job says.

    Parameters
    ----------
    told : str
        Name of the customer who was told that the bike may no longer meet what the road requires.
    link : LinkFacts, optional
        Address of the customer's page and when it ends, printed as a QR code.
    draft : bool
        Whether the sheet is only looked at, which every page then says.
    """
    job, shop, in_bike = results.job, results.shop, results.get(tune_in_bike)
    compared = list(results.get(comparison_results).values())
    printed = [each for each in compared if each.comparison.on_sheet]
    snapshot = Snapshot(
        sheet=SheetFacts(
            job=job.number,
            number=f"{job.number}/{issue_number}",
            issue_number=issue_number,
            issued_at=moment(at),
            issued_by=str(issued_by),
            override_reason=override_reason,
            draft=draft,
            supersedes=None,
            link=link,
        ),
        shop=shop_facts(shop),
        customer=customer_facts(job.customer),
        bike=bike_facts(job.bike),
        engine=engine_facts(job.bike.engine_spec),
        brief=brief_facts(results),
        clearances=clearance_facts(results),
        parts=[work.part_facts(part) for part in results.rows(Part)],
        tune=work.tune_facts(results, in_bike),
        runs=[run_facts(each) for each in results.get(run_results).values()],
        comparisons=[comparison_facts(each, shop) for each in printed],
        mixture=[
            mixture_facts(study, runs) for study, runs in results.get(runs_by_study).items() if study.on_sheet
        ],
        throttle=throttle_facts(results),
        suspension=work.suspension_facts(results.rows(SuspensionSetting), job, shop),
        bike_changes=[work.bike_change_facts(change) for change in results.rows(BikeChange)],
        checks=work.check_facts(results),
        not_tested=NotTestedFacts(
            said=job.not_tested,
            derived=summary_sentences.not_tested(results.get(timeline), printed, results.rows(Run)),
        ),
        next_service=NextServiceFacts(said=job.next_service, derived=summary_sentences.next_service(results)),
        not_printed=not_printed(results),
        notices=notices.notices_for(results, told),
    )
    done = summary_sentences.work_done(results, snapshot)
    whole: Snapshot = tidied(replace(snapshot, done=done, changed=summary_sentences.what_changed(snapshot)))
    return replace(whole, sheet=replace(whole.sheet, supersedes=supersedes(job, issue_number, whole)))


def not_printed(results: JobResults) -> list[str]:
    """Comparisons and mixture studies that the shop chose not to print, by title."""
    chosen_away = [each.title for each in results.rows(Comparison) if not each.on_sheet]
    return chosen_away + [study.title for study in results.rows(MixtureStudy) if not study.on_sheet]


def supersedes(job: Job, issue_number: int, snapshot: Snapshot) -> SupersededFacts | None:
    """The issue before this one and the sections in which this one differs; None for the first."""
    before = (
        HandoverSheet.objects.filter(job=job, issue_number__lt=issue_number).order_by("issue_number").last()
    )
    if before is None:
        return None
    stored = from_json(before.snapshot)
    differs = [title for name, title in SECTIONS.items() if getattr(stored, name) != getattr(snapshot, name)]
    return SupersededFacts(before.number, moment(before.issued_at), differs)
