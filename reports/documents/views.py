"""Documents beside the handover sheet: job tag, tune summary, bike history, job export."""

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from jobs.job.lookup import get_job_or_404, get_results_or_404
from reports.documents.bike_history import bike_history_pdf
from reports.documents.job_export import json_text, whole_job, whole_job_zip
from reports.documents.job_tag import job_tag_pdf
from reports.documents.tune_summary import tune_summary_pdf
from reports.handover.views import pdf_response
from workshop.access.roles import StaffRequest, staff
from workshop.models import Bike


@staff
@require_safe
def job_tag(request: StaffRequest, number: str) -> HttpResponseBase:
    job = get_job_or_404(number)
    address = request.build_absolute_uri(job.get_absolute_url())
    return pdf_response(job_tag_pdf(job, address, request.shop), f"tag-{job.number}.pdf")


@staff
@require_safe
def tune_summary(request: StaffRequest, number: str) -> HttpResponseBase:
    results = get_results_or_404(number, request.shop)
    return pdf_response(tune_summary_pdf(results, timezone.now()), f"tune-{results.job.number}.pdf")


@staff
@require_safe
def bike_history(request: StaffRequest, pk: int) -> HttpResponseBase:
    bike = get_object_or_404(Bike.objects.select_related("engine_spec"), pk=pk)
    return pdf_response(bike_history_pdf(bike, request.shop, timezone.now()), f"bike-{bike.pk}-history.pdf")


@staff
@require_safe
def job_json(request: StaffRequest, number: str) -> HttpResponse:
    job = get_job_or_404(number)
    content = json_text(whole_job(job, request.shop))
    return download_response(content, "application/json", f"job-{job.number}.json")


@staff
@require_safe
def job_zip(request: StaffRequest, number: str) -> HttpResponse:
    job = get_job_or_404(number)
    return download_response(whole_job_zip(job, request.shop), "application/zip", f"job-{job.number}.zip")


def download_response(content: str | bytes, kind: str, name: str) -> HttpResponse:
    """Return a file as a download that no cache stores."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "private, no-store"}
    return HttpResponse(content, content_type=kind, headers=headers)
