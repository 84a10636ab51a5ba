"""Issue a handover sheet: find what blocks it, store it, and read its PDF back."""

import hashlib
from collections.abc import Callable, Sequence
from datetime import timedelta

from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.checklists.ticks import job_checklists
from jobs.clearances.before_after import clearances_before_after
from jobs.job import open_points
from jobs.job.next_steps import Blocker
from jobs.job.page import get_job
from jobs.job.results import JobResults, load_job_results
from jobs.job.road_use import road_causes
from jobs.job.sentences import counted, listed
from jobs.mixture.fuel_change import fuel_changed_since
from jobs.models import Job, Run, Stage
from jobs.work_items.open_work import open_work
from reports.handover.notices import current_wording
from reports.handover.size import require_printable_size
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import snapshot_sha256, to_json
from reports.handover.snapshot.schema import LinkFacts
from reports.models import HandoverSheet, Printing, SheetLink
from reports.models.handover import make_check_code
from reports.tasks import start_printing
from workshop.models import ShopProfile, StaffMember
from workshop.people.names import is_person_name

FITTING_STAGES = (Stage.READY, Stage.HANDED_OVER)
MAX_VALVES_NAMED = 4


class NotReady(Exception):
    """The job has blockers, and the owner gave no reason to override them."""

    def __init__(self, blockers: Sequence[Blocker]) -> None:
        super().__init__(" ".join(map(str, blockers)))
        self.blockers = list(blockers)


class AlreadyIssued(Exception):
    """The number was issued by someone else first; nothing was stored."""


class PdfUnavailable(Exception):
    """The PDF as issued is not available; the message gives the reason."""


class PrintingInProgress(PdfUnavailable):
    """The PDF is being printed or waits for its turn."""


def blockers(results: JobResults, *, informed_person: str = "") -> list[Blocker]:
    """Return what blocks issuing the sheet of a job."""
    found = [*receipt_blockers(results.job), *work_blockers(results)]
    is_told = is_person_name(informed_person)
    return [*found, *([] if is_told else road_use_blockers(results))]


def work_blockers(results: JobResults) -> list[Blocker]:
    """Return what is open in the work itself."""
    return [
        *agreed_work_blockers(results),
        *clearance_blockers(results),
        *check_blockers(results),
        *run_blockers(results),
        *fuel_blockers(results),
    ]


def road_use_blockers(results: JobResults) -> list[Blocker]:
    if not needs_informed_person(results):
        return []
    job = results.job
    remedy = "Tell the customer, then enter the name of the person told."
    url = f"{reverse('handover', args=[job.number])}#issue"
    return [Blocker(open_points.NOT_TOLD, url, remedy, "Tell the customer: may no longer be road legal")]


def needs_informed_person(results: JobResults) -> bool:
    """Return True if the bike is meant for the road but may not be allowed on it."""
    if results.job.intended_use == Job.IntendedUse.TRACK_ONLY:
        return False
    return bool(results.get(road_causes))


def section_url(job: Job, section: str) -> str:
    return f"{reverse('job', args=[job.number])}?open={section}#{section}"


def receipt_blockers(job: Job) -> list[Blocker]:
    if job.stage == Stage.CANCELLED:
        return [Blocker(open_points.CANCELLED, stage_url(job), label="Job cancelled")]
    if job.received_at is None:
        url = section_url(job, "brief")  # not the form, which is open to the service desk alone
        return [Blocker(open_points.NOT_CHECKED_IN, url, label="Not checked in")]
    if job.stage not in FITTING_STAGES:
        text = open_points.AT_STAGE % {"stage": job.get_stage_display()}
        remedy = f"Move it to “{Stage.READY.label}” when the work is finished."
        return [Blocker(text, stage_url(job), remedy, "Not marked as ready")]
    return []


def stage_url(job: Job) -> str:
    return f"{reverse('job', args=[job.number])}#stage"


def agreed_work_blockers(results: JobResults) -> list[Blocker]:
    left = results.get(open_work)
    if not left:
        return []
    url = reverse("work-items", args=[results.job.number])
    label = f"Agreed work: {len(left)} not done"
    return [Blocker(open_points.WORK_OPEN % {"work": listed(left)}, url, label=label)]


def fuel_blockers(results: JobResults) -> list[Blocker]:
    return [
        Blocker(
            open_points.FUEL_CHANGED % {"study": study, "change": change.description},
            reverse("mixture", args=[study.pk]),
            "Measure again with this fuel, or leave the study off the sheet.",
            "Mixture measured with another fuel",
        )
        for study, change in results.get(fuel_changed_since)
    ]


def clearance_blockers(results: JobResults) -> list[Blocker]:
    history = results.get(clearances_before_after)
    labels = [row.valve_gap.label for row in history.unresolved] if history else []
    if not labels:
        return []
    more = len(labels) - MAX_VALVES_NAMED
    message = open_points.MORE_VALVES_OPEN if more > 0 else open_points.VALVES_OPEN
    text = message % {"valves": ", ".join(labels[:MAX_VALVES_NAMED]), "count": more}
    label = f"{counted(len(labels), 'valve')} out of range or not certain"
    return [Blocker(text, section_url(results.job, "clearances"), label=label)]


def check_blockers(results: JobResults) -> list[Blocker]:
    url, lists = reverse("checks", args=[results.job.number]), results.get(job_checklists)
    outdated = [
        Blocker(
            (open_points.TICK_OUTDATED if checklist.outdated == 1 else open_points.TICKS_OUTDATED)
            % {"list": checklist.title, "count": checklist.outdated},
            f"{url}#{checklist.key}-title",
            "Check again and tick again, or give the reason.",
            f"{checklist.short_title}: {counted(checklist.outdated, 'check')} to tick again",
        )
        for checklist in lists
        if checklist.needed and checklist.outdated
    ]
    return outdated + [
        Blocker(
            open_points.CHECKS_OPEN
            % {"list": checklist.title, "open": checklist.open, "all": len(checklist.items)},
            f"{url}#{checklist.key}-title",
            label=f"{checklist.short_title}: {counted(checklist.open, 'check')} open",
        )
        for checklist in lists
        if checklist.needed and checklist.open
    ]


def run_blockers(results: JobResults) -> list[Blocker]:
    return [
        Blocker(
            open_points.SETTINGS_OPEN % {"run": run},
            reverse("run", args=[run.pk]),
            label=f"Confirm run file {run}",
        )
        for run in results.rows(Run)
        if run.status == Run.Status.TO_NAME and not run.set_aside
    ]


def next_issue(job: Job) -> int:
    last = HandoverSheet.objects.filter(job=job).order_by("issue_number").last()
    return last.issue_number + 1 if last else 1


def issue_sheet(
    *,
    job: Job,
    by: StaffMember,
    override_reason: str = "",
    informed_person: str = "",
    build_customer_url: Callable[[str], str] | None = None,
    build_check_url: Callable[[str], str] | None = None,
    backend: str = "default",
) -> HandoverSheet:
    """Issue the next sheet of a job, with a number, a snapshot and its hash.

    The PDF is printed outside the request; ``Printing`` holds the progress.

    Parameters
    ----------
    override_reason : str
        Why the owner issues the sheet despite its blockers; printed on it.
    informed_person : str
        Name of the customer who was told that the bike may no longer meet what the road requires.
    build_customer_url : callable, optional
        Returns the address of the customer's page for a token. If given, a link is made and printed as a
        QR code.
    build_check_url : callable, optional
        Returns the address at which anyone can compare the sheet, for its code. If given, it is printed.
    backend : str
        Name in ``TASKS`` of the backend that prints it.

    Raises
    ------
    NotReady
        The job has blockers, and there is no reason from the owner.
    TooLarge
        The job has more records than a sheet can hold.
    AlreadyIssued
        The same number was issued in the meantime.
    """
    with transaction.atomic():
        sheet = issue_from_single_read(
            job, by, override_reason, informed_person, build_customer_url, build_check_url
        )
    start_printing(sheet, backend=backend)
    sheet.refresh_from_db(fields=sheet.PRINTED)
    return sheet


def issue_from_single_read(
    job: Job,
    by: StaffMember,
    override_reason: str,
    informed_person: str,
    build_customer_url: Callable[[str], str] | None,
    build_check_url: Callable[[str], str] | None,
) -> HandoverSheet:
    """Read the job once, so that the sheet prints exactly what was checked."""
    results = load_job_results(get_job(job.number), ShopProfile.current())
    results.page.read_all()
    require_printable_size(results)
    found = blockers(results, informed_person=informed_person)
    if found and not (by.is_owner and override_reason):
        raise NotReady(found)
    at, number, check_code = timezone.now(), next_issue(job), make_check_code()
    link = new_link(by, build_customer_url) if build_customer_url else None
    snapshot = make_snapshot(
        results,
        issue_number=number,
        issued_by=by,
        at=at,
        override_reason=override_reason if found else "",
        open_points=[blocker.text for blocker in found],
        informed_person=informed_person,
        not_told=needs_informed_person(results) and not is_person_name(informed_person),
        link=printed_link(link, build_customer_url),
        check_address=build_check_url(check_code) if build_check_url else "",
    )
    stored = to_json(snapshot)
    sheet = HandoverSheet(
        job=job,
        issue_number=number,
        snapshot=stored,
        snapshot_sha256=snapshot_sha256(stored),
        check_code=check_code,
        wording=current_wording(),
        issued_at=at,
        issued_by=by,
        open_points=[blocker.text for blocker in found],
        override_reason=snapshot.sheet.override_reason,
    )
    save_sheet(sheet, link)
    return sheet


def new_link(by: StaffMember, build_customer_url: Callable[[str], str]) -> SheetLink:
    until = timezone.now() + timedelta(days=ShopProfile.current().link_days)
    return SheetLink(expires_at=until, made_by=by)


def printed_link(link: SheetLink | None, build_customer_url: Callable[[str], str] | None) -> LinkFacts | None:
    if link is None or build_customer_url is None:
        return None
    return LinkFacts(build_customer_url(link.token), link.expires_at.isoformat(timespec="seconds"))


def save_sheet(sheet: HandoverSheet, link: SheetLink | None) -> None:
    try:
        with transaction.atomic():
            sheet.save()
            if link is not None:
                link.sheet = sheet
                link.save()
    except IntegrityError as problem:
        raise AlreadyIssued(f"Sheet {sheet.number} was issued in the meantime.") from problem


def issued_pdf(sheet: HandoverSheet) -> bytes:
    """Return the PDF as issued; print it again from the snapshot if the file is lost or changed.

    Raises
    ------
    PrintingInProgress
        It is being printed.
    PdfUnavailable
        It was deleted, or printing failed, or gives another PDF than the one that was issued.
    """
    if sheet.erased_at:
        raise PdfUnavailable(
            f"The PDF of sheet {sheet.number} was deleted with the customer's data "
            f"{timezone.localtime(sheet.erased_at):%-d %b %Y}. Its number and SHA-256 are kept."
        )
    pdf = stored_pdf(sheet)
    if pdf is None:
        printing = Printing.objects.filter(sheet=sheet).first()
        if printing is None or printing.step == Printing.Step.DONE:
            start_printing(sheet)
            sheet.refresh_from_db(fields=sheet.PRINTED)
            pdf = stored_pdf(sheet)
    if pdf is not None:
        return pdf
    printing = Printing.objects.get(sheet=sheet)
    if printing.is_under_way:
        raise PrintingInProgress(f"Sheet {sheet.number} is being printed. Try again in a minute.")
    raise PdfUnavailable(f"The PDF of sheet {sheet.number} is not available. {printing.fault}")


def stored_pdf(sheet: HandoverSheet) -> bytes | None:
    """Return the stored PDF, or None if it is not the one that was issued."""
    if not sheet.is_available:
        return None
    try:
        with sheet.pdf.storage.open(sheet.pdf.name or "") as file:
            pdf: bytes = file.read()
    except FileNotFoundError:
        return None
    return pdf if hashlib.sha256(pdf).hexdigest() == sheet.sha256 else None
