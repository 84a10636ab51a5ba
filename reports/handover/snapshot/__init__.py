"""Everything an issued sheet says, read once from the records.

A snapshot is stored as JSON: SI units in names, times in UTC, the same from the same records. Sheet, links
and attachments are made from it alone.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from jobs.comparisons.compare import comparison_results
from jobs.job.json_values import moment, strip_control_characters
from jobs.job.registry import collect, printed_records
from jobs.job.results import JobResults
from jobs.job_page.facts import agreed_done
from jobs.models import Comparison, Job, MixtureStudy, Run
from jobs.timeline.events import timeline
from reports.handover import notices
from reports.handover.scope import CONFIRMATION, NOT_INSPECTED
from reports.handover.snapshot import summary_sentences
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.people import bike_facts, customer_facts, engine_facts, shop_facts
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

# What a later issue calls the sections of the sheet's own if they differ.
TITLES = {
    "not_tested": "what was not tested",
    "not_inspected": "what was not inspected",
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
    open_points: Sequence[str] = (),
    informed_person: str = "",
    not_told: bool = False,
    link: LinkFacts | None = None,
    check_address: str = "",
    draft: bool = False,
) -> Snapshot:
    """Return everything that the sheet of a job says.

    Parameters
    ----------
    open_points : sequence of str
        What was open when the owner had it issued all the same.
    informed_person : str
        Name of the customer who was told that the bike may no longer meet what the road requires.
    not_told : bool
        The customer was to be told so, and was not.
    link : LinkFacts, optional
        Address of the customer's page and when it ends, printed as a QR code.
    draft : bool
        Mark every page as a draft.
    """
    job = results.job
    compared = results.get(comparison_results).values()
    printed = [result for result in compared if result.comparison.on_sheet]
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
            open_points=list(open_points),
            not_told=not_told,
            check_address=check_address,
        ),
        shop=shop_facts(results.shop),
        customer=customer_facts(job.customer),
        bike=bike_facts(job.bike),
        engine=engine_facts(job.bike.engine_spec),
        records={record.name: results.get(record.facts) for record in printed_records()},
        not_tested=NotTestedFacts(
            note=job.not_tested,
            derived=summary_sentences.not_tested(results.get(timeline), printed, results.rows(Run)),
        ),
        next_service=NextServiceFacts(note=job.next_service, derived=summary_sentences.next_service(results)),
        not_printed=not_printed(results),
        not_inspected=NOT_INSPECTED,
        confirmation=CONFIRMATION,
        notices=notices.notices_for(results, informed_person),
    )
    done = [*collect(results, "done")] or agreed_done(results)
    whole: Snapshot = strip_control_characters(
        replace(
            snapshot,
            done=[summary_sentences.as_sentence(text) for text in done],
            changed=summary_sentences.what_changed(snapshot),
        )
    )
    return replace(whole, sheet=replace(whole.sheet, supersedes=supersedes(job, issue_number, whole)))


def not_printed(results: JobResults) -> list[str]:
    """Return comparisons and mixture studies that the shop chose not to print, by title."""
    hidden = [comparison.title for comparison in results.rows(Comparison) if not comparison.on_sheet]
    return hidden + [study.title for study in results.rows(MixtureStudy) if not study.on_sheet]


def supersedes(job: Job, issue_number: int, snapshot: Snapshot) -> SupersededFacts | None:
    """Return the issue before this one and the sections that differ; None for the first."""
    before = (
        HandoverSheet.objects.filter(job=job, issue_number__lt=issue_number).order_by("issue_number").last()
    )
    if before is None:
        return None
    stored = from_json(before.snapshot)
    differs = [printed.title for printed in printed_records() if stored.get(printed) != snapshot.get(printed)]
    differs += [title for name, title in TITLES.items() if getattr(stored, name) != getattr(snapshot, name)]
    return SupersededFacts(before.number, moment(before.issued_at), differs)
