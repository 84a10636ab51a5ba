"""Issue a handover sheet: find what blocks it, store it, and read its PDF back."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.checklists.ticks import job_checklists
from jobs.clearances.before_after import clearances_before_after
from jobs.job.page import get_job
from jobs.job.results import JobResults, load_job_results
from jobs.job.road_use import road_causes
from jobs.job.sentences import listed
from jobs.mixture.fuel_change import fuel_changed_since
from jobs.models import Job, Run, Stage
from jobs.work_items.open_work import open_work
from reports.handover.notices import current_wording
from reports.handover.sheet import sheet_pdf
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


@dataclass(frozen=True)
class Blocker:
    """An open point, what to do about it, and the page to do it on."""

    text: str
    url: str
    remedy: str = ""

    def __str__(self) -> str:
        return f"{self.text} {self.remedy}".strip()


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
    text = (
        f"The bike is meant for {job.get_intended_use_display()}, something on it may not be, "
        "and the customer was not told."
    )
    remedy = "Please tell the customer, and enter the name of who was told."
    return [Blocker(text, f"{reverse('handover', args=[job.number])}#issue", remedy)]


def needs_informed_person(results: JobResults) -> bool:
    """Return True if the bike is meant for the road but may not be allowed on it."""
    if results.job.intended_use == Job.IntendedUse.TRACK_ONLY:
        return False
    return bool(results.get(road_causes))


def section_url(job: Job, section: str) -> str:
    return f"{reverse('job', args=[job.number])}#{section}"


def receipt_blockers(job: Job) -> list[Blocker]:
    if job.stage == Stage.CANCELLED:
        return [Blocker("The job is cancelled.", section_url(job, "brief"))]
    if job.received_at is None:
        return [Blocker("The bike has not been received yet.", section_url(job, "brief"))]
    if job.stage not in FITTING_STAGES:
        text = f"The job is at the stage “{job.get_stage_display()}”."
        remedy = f"Move it to “{Stage.READY.label}” when the work is finished."
        return [Blocker(text, section_url(job, "stage"), remedy)]
    return []


def agreed_work_blockers(results: JobResults) -> list[Blocker]:
    left = results.get(open_work)
    if not left:
        return []
    url = reverse("work-items", args=[results.job.number])
    return [Blocker(f"Agreed work is not ticked as done: {listed(left)}.", url)]


def fuel_blockers(results: JobResults) -> list[Blocker]:
    return [
        Blocker(
            f"The fuel was changed after the first run of the mixture study “{study}”: {change.description}.",
            reverse("mixture", args=[study.pk]),
            "Measure again with this fuel, or leave the study off the sheet.",
        )
        for study, change in results.get(fuel_changed_since)
    ]


def clearance_blockers(results: JobResults) -> list[Blocker]:
    history = results.get(clearances_before_after)
    labels = [row.valve_gap.label for row in history.unresolved] if history else []
    if not labels:
        return []
    more = f" and {len(labels) - MAX_VALVES_NAMED} more" if len(labels) > MAX_VALVES_NAMED else ""
    named = ", ".join(labels[:MAX_VALVES_NAMED])
    text = f"Valve clearances are out of range, or can't be told, by the last reading: {named}{more}."
    return [Blocker(text, section_url(results.job, "clearances"))]


def check_blockers(results: JobResults) -> list[Blocker]:
    url = reverse("checks", args=[results.job.number])
    return [
        Blocker(f"Checks {checklist.title}: {checklist.open} of {len(checklist.items)} not ticked.", url)
        for checklist in results.get(job_checklists)
        if checklist.needed and checklist.open
    ]


def run_blockers(results: JobResults) -> list[Blocker]:
    return [
        Blocker(f"How the run file {run} is read is not confirmed yet.", reverse("run", args=[run.pk]))
        for run in results.rows(Run)
        if run.status == Run.Status.TO_NAME and not run.set_aside
    ]


def next_issue(job: Job) -> int:
    last = HandoverSheet.objects.filter(job=job).order_by("issue_number").last()
    return last.issue_number + 1 if last else 1


def draft_pdf(job: Job, by: StaffMember) -> bytes:
    """Return the sheet as it would be issued now, marked as a draft on every page.

    Raises
    ------
    TooLarge
        The job has more records than a sheet can hold.
    """
    results = load_job_results(job, ShopProfile.current())
    require_printable_size(results)
    number = next_issue(job)
    snapshot = make_snapshot(results, issue_number=number, issued_by=by, at=timezone.now(), draft=True)
    return sheet_pdf(to_json(snapshot))


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
    sheet.refresh_from_db(fields=["pdf", "sha256"])
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
        open_points=snapshot.sheet.open_points,
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
        raise AlreadyIssued(f"Sheet {sheet.number} was issued meanwhile.") from problem


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
            sheet.refresh_from_db(fields=["pdf", "sha256"])
            pdf = stored_pdf(sheet)
    if pdf is not None:
        return pdf
    printing = Printing.objects.get(sheet=sheet)
    if printing.is_under_way:
        raise PrintingInProgress(f"Sheet {sheet.number} is being printed. Look again in a minute.")
    raise PdfUnavailable(f"The PDF of sheet {sheet.number} can't be had. {printing.fault}")


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
