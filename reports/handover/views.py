"""The handover page: blockers, preview, issuing, and the PDFs of issued sheets."""

from io import BytesIO
from typing import Any

from django.contrib import messages
from django.db.models import Prefetch
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.handing_over.facts import job_handovers
from jobs.handing_over.slots import left_over_slots
from jobs.job.lookup import get_job_or_404, get_results_or_404
from jobs.job.results import JobResults
from reports.handover.forms import HandOverForm, IssueForm
from reports.handover.handing_over import hand_over_job, handover_blockers, informed_on_sheet, last_sheet
from reports.handover.issuing import (
    AlreadyIssued,
    NotReady,
    PdfUnavailable,
    PrintingInProgress,
    blockers,
    issue_sheet,
    issued_pdf,
    needs_informed_person,
    next_issue,
    stored_pdf,
)
from reports.handover.preview import get_first_page, get_pdf, get_preview, start_preview
from reports.handover.size import TooLarge
from reports.models import HandoverSheet, Printing, SheetLink
from reports.tasks import file_name, start_printing
from workshop.access.roles import StaffRequest, roles, staff
from workshop.mail.outbox import list_mails_about, mail_key
from workshop.models import Role, StaleRecord
from workshop.records.submit_once import submit_once

ISSUERS = (Role.DESK, Role.TUNER)


def build_customer_url(request: HttpRequest, token: str) -> str:
    return request.build_absolute_uri(reverse("customer-sheet", args=[token]))


def list_sheets(**filters: Any) -> list[HandoverSheet]:
    """Return sheets, newest first, with their links, mails, acknowledgements and printing progress."""
    links = Prefetch("links", SheetLink.objects.select_related("made_by"))
    sheets = HandoverSheet.objects.filter(**filters).defer("snapshot", "signature")
    sheets = sheets.select_related("issued_by", "job__customer", "printing")
    found = list(sheets.prefetch_related(links, "acknowledgements").order_by("-issue_number"))
    mails = list_mails_about(found)
    for sheet in found:
        sheet.mails = mails.get(mail_key(sheet), [])
    return found


def render_handover(
    request: StaffRequest,
    results: JobResults,
    *,
    form: IssueForm | None = None,
    hand_over: HandOverForm | None = None,
    status: int = 200,
) -> HttpResponse:
    job = results.job
    sheets: list[Any] = list_sheets(job=job)
    for sheet in sheets:
        for link in sheet.links.all():
            link.address = build_customer_url(request, link.token)
    context = {
        "job": job,
        "sheets": sheets,
        "next_number": next_issue(job),
        "blockers": results.get(blockers),
        "form": form or issue_form(None, request, results),
        "handover_blockers": results.get(handover_blockers) if job.is_open else [],
        "hand_over_form": hand_over or hand_over_form(None, request, results),
        "handovers": results.get(job_handovers),
        "left_over_slots": left_over_slots(results),
    }
    return render(request, "reports/handover/detail.html", context, status=status)


def issue_form(data: QueryDict | None, request: StaffRequest, results: JobResults) -> IssueForm:
    return IssueForm(
        data,
        by=request.user,
        needs_informed_person=needs_informed_person(results),
        is_blocked=bool(results.get(blockers)),
        initial={"issue_number": next_issue(results.job)},
    )


def hand_over_form(data: QueryDict | None, request: StaffRequest, results: JobResults) -> HandOverForm:
    sheet = last_sheet(results)
    return HandOverForm(
        data,
        by=request.user,
        needs_informed_person=needs_informed_person(results) and not results.get(informed_on_sheet),
        is_blocked=results.job.is_open and bool(results.get(handover_blockers)),
        initial={
            "handed_to": results.job.customer.name,
            "override_reason": sheet.override_reason if sheet else "",
        },
    )


@staff
@require_safe
def handover(request: StaffRequest, number: str) -> HttpResponse:
    return render_handover(request, get_results_or_404(number, request.shop))


@staff
@require_safe
def handover_preview(request: StaffRequest, number: str) -> HttpResponse:
    """Start a preview and show its progress."""
    job = get_job_or_404(number)
    return redirect("preview", job.number, start_preview(job, request.user))


@staff
@require_safe
def preview(request: StaffRequest, number: str, key: str) -> HttpResponse:
    """Render a preview; its page polls this while it is being drawn."""
    job = get_job_or_404(number)
    found = get_preview(key, job.number)
    context = {"job": job, "key": key, "preview": found, "next_number": next_issue(job)}
    if "HX-Request" not in request.headers:
        return render(request, "reports/handover/preview.html", context)
    if found is not None and found.progress_key == request.GET.get("seen"):
        return HttpResponse(status=204)  # no progress: the page keeps what it shows
    return render(request, "reports/handover/_preview.html", context)


@staff
@require_safe
def preview_page(request: StaffRequest, number: str, key: str) -> HttpResponse:
    picture = get_first_page(key) if get_preview(key, number) else None
    if picture is None:
        raise Http404("The preview has expired.")
    return HttpResponse(picture, content_type="image/png", headers={"Cache-Control": "private, no-store"})


@staff
@require_safe
def preview_pdf(request: StaffRequest, number: str, key: str) -> HttpResponseBase:
    pdf = get_pdf(key) if get_preview(key, number) else None
    if pdf is None:
        raise Http404("The preview has expired.")
    return pdf_response(pdf, f"draft-{number}.pdf")


@roles(*ISSUERS)
@require_POST
def handover_issue(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    job = results.job
    form = issue_form(request.POST, request, results)
    if not form.is_valid():
        return render_handover(request, results, form=form, status=422)
    here = redirect("handover", job.number)
    if form.cleaned_data["issue_number"] < next_issue(job):
        messages.info(request, "This sheet has already been issued. Nothing was done.")
        return here
    try:
        sheet = issue_sheet(
            job=job,
            by=request.user,
            build_customer_url=(lambda token: build_customer_url(request, token))
            if form.cleaned_data["with_link"]
            else None,
            build_check_url=lambda code: request.build_absolute_uri(reverse("sheet-check", args=[code])),
            **form.sheet_options,
        )
    except (NotReady, TooLarge) as problem:
        form.add_error(None, f"The sheet was not issued. {problem}")
        return render_handover(request, results, form=form, status=422)
    except AlreadyIssued as problem:
        messages.info(request, str(problem))
        return here
    flash_progress(request, sheet, f"Handover sheet {sheet.number} is issued")
    return here


@roles(*ISSUERS)
@require_POST
@submit_once
def handover_complete(request: StaffRequest, number: str) -> HttpResponse:
    """Hand the bike over: the only way to the last stage of a job."""
    results = get_results_or_404(number, request.shop)
    form = hand_over_form(request.POST, request, results)
    if form.is_valid():
        try:
            handover = hand_over_job(job=results.job, by=request.user, **form.options)
        except NotReady as problem:
            form.add_error(None, f"The bike was not handed over. {problem}")
        except ValueError as problem:
            # Names are checked by the form: the job was closed, so the page has no form to show this in.
            messages.info(request, f"Nothing was changed. {problem}")
            return redirect("handover", number)
        except StaleRecord:
            form.add_error(None, "Someone else has just saved this job. Check it and save again.")
        else:
            messages.success(request, f"Bike of job {number} handed over to {handover.handed_to}.")
            return redirect("handover", number)
    # Read again: the form is refused for what is recorded now.
    return render_handover(request, get_results_or_404(number, request.shop), hand_over=form, status=422)


def flash_progress(request: HttpRequest, sheet: HandoverSheet, done: str) -> None:
    printing = Printing.objects.get(sheet=sheet)
    if printing.step == Printing.Step.DONE:
        messages.success(request, f"{done}.")
    elif printing.is_under_way:
        messages.success(
            request, f"{done}. The PDF is being created. You can send the link when it is ready."
        )
    else:
        messages.error(request, f"{done}, but the PDF could not be created. {printing.fault}")


@staff
@require_safe
def sheet_printing(request: StaffRequest, pk: int) -> HttpResponse:
    """Render one sheet of the handover page, which polls this while it is being printed."""
    sheets = list_sheets(pk=pk)
    if not sheets:
        raise Http404(f"There is no sheet {pk}.")
    if "HX-Request" not in request.headers:
        return redirect("handover", sheets[0].job.number)
    printing = Printing.objects.filter(sheet=sheets[0]).first()
    if printing is not None and printing.progress_key == request.GET.get("seen"):
        return HttpResponse(status=204)  # no progress: the page keeps what it shows
    return render(request, "reports/handover/_issued_sheet.html", {"sheet": sheets[0]})


@roles(*ISSUERS)
@require_POST
def sheet_print(request: StaffRequest, pk: int) -> HttpResponse:
    """Print a sheet again; in a process of its own if no worker took the task."""
    sheet = get_object_or_404(HandoverSheet.objects.select_related("job"), pk=pk)
    printing = Printing.objects.filter(sheet=sheet).first()
    is_waiting = printing is not None and printing.step == Printing.Step.WAITING
    if sheet.erased_at:
        messages.info(request, f"Sheet {sheet.number} was deleted with the customer's data.")
    elif stored_pdf(sheet) is not None:
        messages.info(request, f"Sheet {sheet.number} is printed already.")
    else:
        start_printing(sheet, backend="process" if is_waiting else "default")
        flash_progress(request, sheet, f"Handover sheet {sheet.number} is issued")
    return redirect("handover", sheet.job.number)


@staff
@require_safe
def sheet_pdf(request: StaffRequest, pk: int) -> HttpResponseBase:
    sheet = get_object_or_404(HandoverSheet.objects.select_related("job"), pk=pk)
    try:
        return issued_pdf_response(sheet)
    except PrintingInProgress as problem:
        messages.info(request, str(problem))
    except PdfUnavailable as problem:
        messages.error(request, str(problem))
    return redirect("handover", sheet.job.number)


def issued_pdf_response(sheet: HandoverSheet) -> HttpResponseBase:
    return pdf_response(issued_pdf(sheet), file_name(sheet))


def pdf_response(pdf: bytes, name: str) -> FileResponse:
    response = FileResponse(BytesIO(pdf), content_type="application/pdf", filename=name)
    response.headers["Cache-Control"] = "private, no-store"
    return response
