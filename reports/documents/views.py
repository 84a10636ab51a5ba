"""Papers beside the handover sheet: job tag, tune summary, a bike's history, a whole job as data."""

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from jobs.job.lookup import get_job_or_404, get_results_or_404
from reports.documents.bike_history import bike_history_pdf
from reports.documents.job_export import json_text, whole_job, whole_job_zip
from reports.documents.job_tag import job_tag_pdf
from reports.documents.tune_summary import tune_summary_pdf
from reports.handover.views import pdf_answer
from workshop.access.roles import StaffRequest, staff
from workshop.models import Bike


@staff
@require_safe
def job_tag(request: StaffRequest, number: str) -> HttpResponseBase:
    job = get_job_or_404(number)
    address = request.build_absolute_uri(job.get_absolute_url())
    return pdf_answer(job_tag_pdf(job, address, request.shop), f"tag-{job.number}.pdf")


@staff
@require_safe
def tune_summary(request: StaffRequest, number: str) -> HttpResponseBase:
    results = get_results_or_404(number, request.shop)
    return pdf_answer(tune_summary_pdf(results, timezone.now()), f"tune-{results.job.number}.pdf")


@staff
@require_safe
def bike_history(request: StaffRequest, pk: int) -> HttpResponseBase:
    bike = get_object_or_404(Bike.objects.select_related("engine_spec"), pk=pk)
    return pdf_answer(bike_history_pdf(bike, request.shop, timezone.now()), f"bike-{bike.pk}-history.pdf")


@staff
@require_safe
def job_json(request: StaffRequest, number: str) -> HttpResponse:
    job = get_job_or_404(number)
    return kept_here(json_text(whole_job(job, request.shop)), "application/json", f"job-{job.number}.json")


@staff
@require_safe
def job_zip(request: StaffRequest, number: str) -> HttpResponse:
    job = get_job_or_404(number)
    return kept_here(whole_job_zip(job, request.shop), "application/zip", f"job-{job.number}.zip")


def kept_here(content: str | bytes, kind: str, name: str) -> HttpResponse:
    """A file to keep, of which nothing stays in between."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "private, no-store"}
    return HttpResponse(content, content_type=kind, headers=headers)
