"""Issuing a handover sheet: what stands in the way, the act itself, and the sheet as it was issued."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.checklists.ticks import List, job_checklists
from jobs.clearances.before_after import clearances_before_after
from jobs.job.page import get_job
from jobs.job.results import JobResults, results_of
from jobs.models import Job, Run, Stage
from reports.handover.notices import current_wording, road_causes
from reports.handover.sheet import sheet_pdf
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import snapshot_sha256, to_json
from reports.handover.snapshot.schema import LinkFacts
from reports.models import HandoverSheet, Printing, SheetLink
from reports.tasks import ask_for_pages
from workshop.models import ShopProfile, StaffMember

CHECKS_NEEDED = (List.AFTER_VALVES, List.BEFORE_HANDOVER)
VALVES_NAMED = 4


@dataclass(frozen=True)
class Blocker:
    """Something that has to be put right before a sheet is issued, and where."""

    text: str
    url: str


class NotReady(Exception):
    """Something stands in the way and nobody who may override it said why."""

    def __init__(self, section_state: Sequence[Blocker]) -> None:
        super().__init__(" ".join(blocker.text for blocker in section_state))
        self.section_state = list(section_state)


class AlreadyIssued(Exception):
    """Somebody issued this number first; nothing was written."""


class NoPdf(Exception):
    """The PDF as it was issued can't be had; the sentence says why."""


class BeingPrinted(NoPdf):
    """Not yet: somebody is at it, or will be."""


def blockers(results: JobResults, *, told: str = "") -> list[Blocker]:
    """Return what blocks issuing the sheet of a job."""
    found = [*clearance_blockers(results), *check_blockers(results), *run_blockers(results)]
    return [*receipt_blockers(results.job), *found, *([] if told else telling_blockers(results))]


def telling_blockers(results: JobResults) -> list[Blocker]:
    if not needs_telling(results):
        return []
    job = results.job
    text = (
        f"The bike is meant for {job.get_intended_use_display()}, and something on it may not be: "
        "tell the customer, and enter the name of who was told."
    )
    return [Blocker(text, f"{reverse('handover', args=[job.number])}#issue")]


def needs_telling(results: JobResults) -> bool:
    """Return whether the bike is meant for the road and something on it may keep it off."""
    if results.job.intended_use == Job.IntendedUse.TRACK_ONLY:
        return False
    return bool(results.get(road_causes))


def place_on_job(job: Job, section: str) -> str:
    return f"{reverse('job', args=[job.number])}#{section}"


def receipt_blockers(job: Job) -> list[Blocker]:
    if job.stage == Stage.CANCELLED:
        return [Blocker("The job is cancelled.", place_on_job(job, "brief"))]
    if job.received_at is None:
        return [Blocker("The bike has not been received yet.", place_on_job(job, "brief"))]
    return []


def clearance_blockers(results: JobResults) -> list[Blocker]:
    history = results.get(clearances_before_after)
    labels = [row.valve_gap.label for row in history.unresolved] if history else []
    if not labels:
        return []
    more = f" and {len(labels) - VALVES_NAMED} more" if len(labels) > VALVES_NAMED else ""
    named = ", ".join(labels[:VALVES_NAMED])
    text = f"Valve clearances are out of range, or can't be told, by the last reading: {named}{more}."
    return [Blocker(text, place_on_job(results.job, "clearances"))]


def check_blockers(results: JobResults) -> list[Blocker]:
    url = reverse("checks", args=[results.job.number])
    return [
        Blocker(f"Checks {each.title}: {each.open} of {len(each.items)} not ticked.", url)
        for each in results.get(job_checklists)
        if each.needed and each.open and each.key in CHECKS_NEEDED
    ]


def run_blockers(results: JobResults) -> list[Blocker]:
    return [
        Blocker(f"The columns of the run file {run} are not named yet.", reverse("run", args=[run.pk]))
        for run in results.rows(Run)
        if run.status == Run.Status.TO_NAME and not run.set_aside
    ]


def next_issue(job: Job) -> int:
    last = HandoverSheet.objects.filter(job=job).order_by("issue_number").last()
    return last.issue_number + 1 if last else 1


def draft_pdf(job: Job, by: StaffMember) -> bytes:
    """The sheet as it would be issued now, with 'draft' on every page."""
    results = results_of(job, ShopProfile.current())
    number = next_issue(job)
    snapshot = make_snapshot(results, issue_number=number, issued_by=by, at=timezone.now(), draft=True)
    return sheet_pdf(to_json(snapshot))


def issue_sheet(
    *,
    job: Job,
    by: StaffMember,
    override_reason: str = "",
    told: str = "",
    address_of: Callable[[str], str] | None = None,
    backend: str = "default",
) -> HandoverSheet:
    """Issue the next sheet of a job: numbered, with its snapshot and hash, never altered after.

    Its PDF is made beside the request: its ``Printing`` tells how far it is.

    Parameters
    ----------
    override_reason : str
        Why the owner issues although something stands in the way; it is printed.
    told : str
        Name of the customer who was told that the bike may no longer meet what the road requires.
    address_of : callable, optional
        The address of the customer's page for a token; given, a link is made and printed as QR code.
    backend : str
        Name in ``TASKS`` of the backend that prints it.

    Raises
    ------
    NotReady
        Something stands in the way and there is no reason of the owner's.
    AlreadyIssued
        The same number was issued meanwhile.
    """
    with transaction.atomic():
        sheet = issue_from_one_reading(job, by, override_reason, told, address_of)
    ask_for_pages(sheet, backend=backend)
    sheet.refresh_from_db(fields=["pdf", "sha256"])
    return sheet


def issue_from_one_reading(
    job: Job, by: StaffMember, override_reason: str, told: str, address_of: Callable[[str], str] | None
) -> HandoverSheet:
    """Check, print and store one reading of the job, so that what was checked is what is printed."""
    results = results_of(get_job(job.number), ShopProfile.current())
    results.page.read_all()
    section_state = blockers(results, told=told)
    if section_state and not (by.is_owner and override_reason):
        raise NotReady(section_state)
    at, number = timezone.now(), next_issue(job)
    link = new_link(by, address_of) if address_of else None
    snapshot = make_snapshot(
        results,
        issue_number=number,
        issued_by=by,
        at=at,
        override_reason=override_reason if section_state else "",
        told=told,
        link=printed_link(link, address_of),
    )
    stored = to_json(snapshot)
    sheet = HandoverSheet(
        job=job,
        issue_number=number,
        snapshot=stored,
        snapshot_sha256=snapshot_sha256(stored),
        wording=current_wording(),
        issued_at=at,
        issued_by=by,
        override_reason=snapshot.sheet.override_reason,
    )
    store(sheet, link)
    return sheet


def new_link(by: StaffMember, address_of: Callable[[str], str]) -> SheetLink:
    until = timezone.now() + timedelta(days=ShopProfile.current().link_days)
    return SheetLink(expires_at=until, made_by=by)


def printed_link(link: SheetLink | None, address_of: Callable[[str], str] | None) -> LinkFacts | None:
    if link is None or address_of is None:
        return None
    return LinkFacts(address_of(link.token), link.expires_at.isoformat(timespec="seconds"))


def store(sheet: HandoverSheet, link: SheetLink | None) -> None:
    try:
        with transaction.atomic():
            sheet.save()
            if link is not None:
                link.sheet = sheet
                link.save()
    except IntegrityError as problem:
        raise AlreadyIssued(f"Sheet {sheet.number} was issued meanwhile.") from problem


def issued_pdf(sheet: HandoverSheet) -> bytes:
    """The PDF as it was issued; where its file is gone or was changed it is made again from the snapshot.

    Raises
    ------
    BeingPrinted
        It is being made, or made again.
    NoPdf
        It could not be made, or what can be made is not what was issued.
    """
    pdf = stored_pdf(sheet)
    if pdf is None:
        printing = Printing.objects.filter(sheet=sheet).first()
        if printing is None or printing.step == Printing.Step.DONE:
            ask_for_pages(sheet)
            sheet.refresh_from_db(fields=["pdf", "sha256"])
            pdf = stored_pdf(sheet)
    if pdf is not None:
        return pdf
    printing = Printing.objects.get(sheet=sheet)
    if printing.is_under_way:
        raise BeingPrinted(f"Sheet {sheet.number} is being printed. Look again in a minute.")
    raise NoPdf(f"The PDF of sheet {sheet.number} can't be had. {printing.fault}")


def stored_pdf(sheet: HandoverSheet) -> bytes | None:
    """The stored PDF if it is the one that was issued."""
    if not sheet.is_printed:
        return None
    try:
        with sheet.pdf.storage.open(sheet.pdf.name or "") as file:
            pdf: bytes = file.read()
    except FileNotFoundError:
        return None
    return pdf if hashlib.sha256(pdf).hexdigest() == sheet.sha256 else None


def handover_state(results: JobResults, sheets: Sequence[HandoverSheet]) -> dict[str, Any]:
    """Return what the handover page shows."""
    return {
        "standing": blockers(results),
        "sheets": list(sheets),
        "needs_telling": needs_telling(results),
    }
