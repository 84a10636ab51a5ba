"""The talk-through: shown to staff with notes, by the customer's link, and published with consent."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.job.lookup import get_job_or_404, get_results_or_404
from jobs.models import Job
from reports.customer.links import RateLimited, page_language, revoke
from reports.customer.views import client_address, customer_page, message_page
from reports.documents.views import download_response
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import from_json
from reports.handover.snapshot.schema import Snapshot
from reports.handover.views import pdf_response
from reports.models import HandoverSheet, Publication, SheetLink, TalkThrough
from reports.talk_through.forms import ConsentForm, StepsForm
from reports.talk_through.publishing import find_publication, without_names
from reports.talk_through.slides import pictures_zip, slides_pdf
from reports.talk_through.steps import STEPS, Step, build_steps
from workshop.access.roles import StaffRequest, public, roles, staff
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once

REVOKED = "This talk-through is no longer public."
NO_SHEET = "Issue a handover sheet first. The published talk-through shows what that sheet says."


def current_snapshot(request: StaffRequest, number: str) -> tuple[Job, Snapshot]:
    """Return what a sheet of the job would say now."""
    results = get_results_or_404(number, request.shop)
    snapshot = make_snapshot(results, issue_number=1, issued_by=request.user, at=timezone.now(), draft=True)
    return results.job, snapshot


def chosen_steps(job: Job) -> list[str] | None:
    stored = TalkThrough.objects.filter(job=job).first()
    return stored.steps if stored else None


def show(
    request: HttpRequest, snapshot: Snapshot, steps: list[Step], *, job: Job | None = None, back: str = ""
) -> HttpResponse:
    """Show the steps; only staff, who have the job, see the notes."""
    context = {"s": snapshot, "steps": steps, "job": job, "back": back}
    return render(request, "reports/talk_through/show.html", context)


@staff
@require_safe
def talk_through(request: StaffRequest, number: str) -> HttpResponse:
    job, snapshot = current_snapshot(request, number)
    with translation.override(snapshot.language):
        steps = build_steps(snapshot, chosen_steps(job))
        return show(request, snapshot, steps, job=job, back=job.get_absolute_url())


@staff
@require_safe
def talk_through_pdf(request: StaffRequest, number: str) -> HttpResponseBase:
    job, pdf = make_slides(request, number)
    return pdf_response(pdf, f"talk-through-{job.number}.pdf")


@staff
@require_safe
def talk_through_pictures(request: StaffRequest, number: str) -> HttpResponse:
    job, pdf = make_slides(request, number)
    return download_response(pictures_zip(pdf), "application/zip", f"talk-through-{job.number}.zip")


def make_slides(request: StaffRequest, number: str) -> tuple[Job, bytes]:
    job, snapshot = current_snapshot(request, number)
    with translation.override(snapshot.language):
        steps = build_steps(snapshot, chosen_steps(job))
        return job, slides_pdf(snapshot, steps, timezone.now())


@roles(Role.TUNER, Role.DESK)
@require_http_methods(["GET", "POST"])
def talk_through_steps(request: StaffRequest, number: str) -> HttpResponse:
    """Choose and order the steps; below, where the talk-through is published."""
    job, snapshot = current_snapshot(request, number)
    available = {step.key for step in build_steps(snapshot)}
    names = {key: name for key, (name, _build) in STEPS.items() if key in available}
    stored = TalkThrough.objects.filter(job=job).first() or TalkThrough(job=job)
    form = StepsForm(post_data(request), instance=stored, names=names)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "Steps of the talk-through saved.", f"talk-through-{job.pk}")
        return redirect("talk-through-steps", job.number)
    return render_form(request, "reports/talk_through/steps.html", form, **steps_context(request, job))


def steps_context(request: StaffRequest, job: Job) -> dict[str, Any]:
    publications = Publication.objects.filter(sheet__job=job).select_related("recorded_by", "sheet__job")
    return {
        "job": job,
        "draft": f"talk-through-{job.pk}",
        "publications": [
            (found, request.build_absolute_uri(reverse("published-talk-through", args=[found.token])))
            for found in publications
        ],
    }


@roles(Role.TUNER, Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def talk_through_publish(request: StaffRequest, number: str) -> HttpResponse:
    """Publish the talk-through of the last issued sheet, with the customer's consent."""
    job = get_job_or_404(number)
    sheet = HandoverSheet.objects.filter(job=job).order_by("issue_number").last()
    if sheet is None or sheet.is_of_erased_customer:
        messages.error(request, NO_SHEET)
        return redirect("talk-through-steps", job.number)
    publication = Publication(
        sheet=sheet,
        recorded_by=request.user,
        steps=chosen_steps(job) or list(STEPS),
        consent_by=job.customer.name,
    )
    form = ConsentForm(post_data(request), instance=publication)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "The talk-through is public.", f"publish-{job.pk}")
        return redirect("talk-through-steps", job.number)
    return render_form(
        request, "reports/talk_through/publish.html", form, job=job, sheet=sheet, draft=f"publish-{job.pk}"
    )


@roles(Role.TUNER, Role.DESK)
@require_POST
def publication_revoke(request: StaffRequest, pk: int) -> HttpResponse:
    publication = get_object_or_404(Publication.objects.select_related("sheet__job"), pk=pk)
    revoke(publication)
    messages.success(request, "Consent withdrawn. The public address no longer opens.")
    return redirect("talk-through-steps", publication.sheet.job.number)


@public
@require_safe
@customer_page
def customer_talk_through(request: HttpRequest, link: SheetLink) -> HttpResponse:
    if not link.with_talk_through:
        raise Http404("This link does not show the talk-through.")
    snapshot = from_json(link.sheet.snapshot)
    steps = build_steps(snapshot, chosen_steps(link.sheet.job))
    return show(request, snapshot, steps, back=reverse("customer-sheet", args=[link.token]))


@public
@require_safe
@never_cache
def published_talk_through(request: HttpRequest, token: str) -> HttpResponse:
    try:
        publication = find_publication(token, client_address(request))
    except RateLimited as problem:
        return message_page(request, str(problem), status=429)
    if publication is None:
        return message_page(request, "There is no talk-through at this address.", status=404)
    if not publication.is_live or publication.sheet.is_of_erased_customer:
        return message_page(request, REVOKED, status=410)
    with translation.override(page_language(publication.sheet)):
        snapshot = without_names(publication.sheet)
        response = show(request, snapshot, build_steps(snapshot, publication.steps))
    response.headers["X-Robots-Tag"] = "noindex, nofollow"
    return response
