"""Show how plate and torque follow a quick turn of the grip."""

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from jobs.job.lookup import get_results_or_404
from jobs.runs.views import spreadsheet_response
from jobs.throttle.step_tables import HEADER, csv_rows, describe_answer, response_rows, step_responses
from workshop.access.roles import StaffRequest, staff
from workshop.csv_files import csv_text


@staff
@require_safe
def throttle_response(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    rows = response_rows(results.get(step_responses))
    context = {
        "job": results.job,
        "crumb": "Throttle response",
        "answer": describe_answer(rows),
        "has_result": bool(rows),
        "csv_url": reverse("throttle-response-csv", args=[results.job]),
        "rows": rows,
    }
    return render(request, "jobs/throttle/step_response.html", context)


@staff
@require_safe
def throttle_response_csv(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    text = csv_text(HEADER, csv_rows(results.get(step_responses)))
    return spreadsheet_response(text, f"{results.job.number}-throttle-response.csv")
