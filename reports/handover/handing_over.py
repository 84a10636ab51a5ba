"""Hand the bike over with its sheet: what is open before it leaves, and the handover itself."""

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from jobs.handing_over.hand_over import hand_over
from jobs.job import open_points
from jobs.job.page import get_job
from jobs.job.registry import JobRecord, all_rows, records
from jobs.job.results import JobResults, load_job_results
from jobs.job_page.stored import stored
from jobs.models import Handover, Job
from reports.handover.issuing import (
    Blocker,
    NotReady,
    needs_informed_person,
    receipt_blockers,
    road_use_blockers,
    work_blockers,
)
from reports.handover.notices import current_wording
from reports.handover.snapshot import make_snapshot
from reports.models import HandoverSheet
from workshop.models import ShopProfile, StaffMember
from workshop.people.names import is_person_name


def last_sheet(results: JobResults) -> HandoverSheet | None:
    """Return the last issued sheet of a job, without its snapshot."""
    return max(results.rows(HandoverSheet), key=lambda sheet: sheet.issue_number, default=None)


def informed_and_language(results: JobResults) -> tuple[str, str]:
    """Return who was informed about road use when the last sheet was issued, and its language; "" if none."""
    sheet = last_sheet(results)
    if sheet is None:
        return "", ""
    stored_in = ("snapshot__notices__told", "snapshot__sheet__language")
    informed, language = HandoverSheet.objects.filter(pk=sheet.pk).values_list(*stored_in).get()
    return str(informed or ""), str(language or settings.LANGUAGE_CODE)


def informed_on_sheet(results: JobResults) -> str:
    return results.get(informed_and_language)[0]


def handover_blockers(results: JobResults, *, informed_person: str = "") -> list[Blocker]:
    """Return what is open before the bike leaves.

    Parameters
    ----------
    informed_person : str
        Name of the customer who is told at the handover, if nobody was told with the sheet.
    """
    is_told = is_person_name(informed_person) or is_person_name(results.get(informed_on_sheet))
    return [
        *receipt_blockers(results.job),
        *sheet_blockers(results),
        *work_blockers(results),
        *([] if is_told else road_use_blockers(results)),
    ]


def sheet_blockers(results: JobResults) -> list[Blocker]:
    sheet, url = last_sheet(results), reverse("handover", args=[results.job.number])
    if sheet is None:
        return [Blocker(open_points.NO_SHEET, f"{url}#issue")]
    if not sheet.is_printed:
        return [Blocker(open_points.NOT_PRINTED % {"number": sheet.number}, f"{url}#sheet-{sheet.pk}")]
    # Making the next sheet takes a second: it is made again only if a row has changed.
    made_from = (sheet.pk, results.get(informed_on_sheet), current_wording().pk)
    changed = stored(every_row(), results, made_from, lambda: changed_since_issue(results, sheet))
    if not changed:
        return []
    text = open_points.SHEET_OUTDATED % {"number": sheet.number, "sections": ", ".join(changed)}
    return [Blocker(text, f"{url}#issue", "Issue the next sheet.")]


def every_row() -> JobRecord:
    """Return the models of everything that a sheet is made from."""
    shared = [rows for record in records() for rows in record.shared]
    return JobRecord("the next sheet", reads=tuple(rows.model for rows in [*all_rows(), *shared]))


def changed_since_issue(results: JobResults, sheet: HandoverSheet) -> list[str]:
    """Return the sections that the next sheet would print differently from the last one."""
    # Made like the next issue, so that both compare the same sections.
    snapshot = make_snapshot(
        results,
        issue_number=sheet.issue_number + 1,
        issued_by=sheet.issued_by,
        at=timezone.now(),
        informed_person=results.get(informed_on_sheet),
        language=results.get(informed_and_language)[1],
    )
    before = snapshot.sheet.supersedes
    return before.changed if before else []


def hand_over_job(
    *, job: Job, by: StaffMember, handed_to: str, informed_person: str = "", override_reason: str = ""
) -> Handover:
    """Hand the bike of a job over, from one reading of its records.

    Parameters
    ----------
    informed_person : str
        Name of the customer who is told now; the one told with the sheet counts too.
    override_reason : str
        Why the owner hands it over despite open points, which are stored by name.

    Raises
    ------
    NotReady
        There are open points, and no reason from the owner.
    ValueError
        The job is closed already, or a name is missing.
    StaleRecord
        Somebody saved the job at the same moment.
    """
    with transaction.atomic():
        results = load_job_results(get_job(job.number), ShopProfile.current())
        if not results.job.is_open:
            raise ValueError(f"Job {job} is already {results.job.get_stage_display()}.")
        results.page.read_all()
        found = handover_blockers(results, informed_person=informed_person)
        if found and not (by.is_owner and override_reason):
            raise NotReady(found)
        told = informed_person or results.get(informed_on_sheet)
        return hand_over(
            job=results.job,
            by=by,
            handed_to=handed_to,
            informed=informed_state(results, told),
            informed_person=told,
            open_points=[blocker.text for blocker in found],
            override_reason=override_reason,
        )


def informed_state(results: JobResults, told: str) -> Handover.Informed:
    """Return whether the customer was told about road use, if there was something to tell."""
    if not needs_informed_person(results):
        return Handover.Informed.NOT_DUE
    return Handover.Informed.TOLD if is_person_name(told) else Handover.Informed.NOT_TOLD
