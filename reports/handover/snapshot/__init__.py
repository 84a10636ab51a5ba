"""Everything an issued sheet says, read once from the records.

A snapshot is stored as JSON: SI units in names, times in UTC, the same from the same records. Sheet, links
and attachments are made from it alone.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.comparisons.compare import comparison_results
from jobs.job.json_values import moment, strip_control_characters
from jobs.job.open_points import translate_open_point
from jobs.job.registry import collect, printed_records
from jobs.job.results import JobResults
from jobs.job_page.facts import agreed_done
from jobs.models import Comparison, Job, MixtureStudy, Run
from jobs.timeline.events import timeline
from reports.handover import notices
from reports.handover.scope import CONFIRMATION, NOT_INSPECTED
from reports.handover.snapshot import summary_sentences
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.instruments import instrument_facts
from reports.handover.snapshot.people import bike_facts, customer_facts, engine_facts, shop_facts
from reports.handover.snapshot.present import present_facts
from reports.handover.snapshot.schema import (
    IssueFacts,
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
LANGUAGE = gettext_noop("language")


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
    language: str = "",
) -> Snapshot:
    """Return everything that the sheet of a job says, in the language of the customer or another.

    Parameters
    ----------
    open_points : sequence of str
        What was open when the owner had it issued all the same, in English.
    informed_person : str
        Name of the customer who was told that the bike may no longer meet what the road requires.
    not_told : bool
        The customer was to be told so, and was not.
    link : LinkFacts, optional
        Address of the customer's page and when it ends, printed as a QR code.
    draft : bool
        Mark every page as a draft.
    language : str
        Of the sheet; by default the one that the customer chose.
    """
    language = language or results.job.customer.language

    def write(language: str) -> Snapshot:
        with translation.override(language):
            return write_snapshot(
                # What staff have derived so far is in English.
                results if language == settings.LANGUAGE_CODE else results.fresh(),
                issue_number=issue_number,
                issued_by=issued_by,
                at=at,
                override_reason=override_reason,
                open_points=open_points,
                informed_person=informed_person,
                not_told=not_told,
                link=link,
                check_address=check_address,
                draft=draft,
                language=language,
            )

    snapshot = write(language)
    before = HandoverSheet.objects.filter(job=results.job, issue_number__lt=issue_number)
    last = before.order_by("issue_number").last()
    if last is None:
        return snapshot
    stored = from_json(last.snapshot)
    same = snapshot if stored.language == language else write(stored.language)
    superseded = SupersededFacts(
        last.number, moment(last.issued_at), sections_changed(stored, same, language)
    )
    return replace(snapshot, sheet=replace(snapshot.sheet, supersedes=superseded))


def write_snapshot(
    results: JobResults,
    *,
    issue_number: int,
    issued_by: StaffMember,
    at: datetime,
    override_reason: str,
    open_points: Sequence[str],
    informed_person: str,
    not_told: bool,
    link: LinkFacts | None,
    check_address: str,
    draft: bool,
    language: str,
) -> Snapshot:
    """Return the snapshot in the language in use, without the sheet that it replaces."""
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
            open_points=[translate_open_point(point) for point in open_points],
            not_told=not_told,
            check_address=check_address,
            language=language,
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
        not_inspected=_(NOT_INSPECTED),
        confirmation=_(CONFIRMATION),
        notices=notices.notices_for(results, informed_person),
        present=present_facts(results),
        instruments=instrument_facts(results),
        issues=earlier_issues(job, issue_number),
    )
    done = [*collect(results, "done")] or agreed_done(results)
    whole: Snapshot = strip_control_characters(
        replace(
            snapshot,
            done=[summary_sentences.as_sentence(text) for text in done],
            changed=summary_sentences.what_changed(snapshot),
        )
    )
    return whole


def not_printed(results: JobResults) -> list[str]:
    """Return comparisons and mixture studies that the shop chose not to print, by title."""
    hidden = [comparison.title for comparison in results.rows(Comparison) if not comparison.on_sheet]
    return hidden + [study.title for study in results.rows(MixtureStudy) if not study.on_sheet]


def earlier_issues(job: Job, issue_number: int) -> list[IssueFacts]:
    """Return every issue before this one, oldest first, with what was new in it."""
    sheets = HandoverSheet.objects.filter(job=job, issue_number__lt=issue_number).order_by("issue_number")
    rows = sheets.values_list("issue_number", "issued_at", "snapshot__sheet__supersedes__changed")
    return [IssueFacts(f"{job.number}/{number}", moment(at), list(new or [])) for number, at, new in rows]


def sections_changed(stored: Snapshot, present: Snapshot, language: str) -> list[str]:
    """Return which sections differ between two snapshots in one language, and that the language will."""
    differs = [printed.title for printed in printed_records() if stored.get(printed) != present.get(printed)]
    differs += [title for name, title in TITLES.items() if getattr(stored, name) != getattr(present, name)]
    return [*differs, *([LANGUAGE] if stored.language != language else [])]
