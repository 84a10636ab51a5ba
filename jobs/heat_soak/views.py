"""Show how far power follows the temperatures between repeats."""

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from jobs.heat_soak import compute
from jobs.heat_soak.tables import columns, csv_table, describe_answer, run_rows, slope_rows
from jobs.job.lookup import get_results_or_404
from jobs.runs.views import spreadsheet_response
from workshop.access.roles import StaffRequest, staff
from workshop.csv_files import csv_text


@staff
@require_safe
def heat_soak(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    soak = results.get(compute.heat_soak)
    slopes = slope_rows(soak, request.shop)
    context = {
        "job": results.job,
        "crumb": "Heat soak",
        "answer": describe_answer(soak, slopes),
        "has_result": bool(slopes),
        "csv_url": reverse("heat-soak-csv", args=[results.job]),
        "soak": soak,
        "slopes": slopes,
        "columns": columns(soak, request.shop),
        "rows": run_rows(soak, request.shop),
    }
    return render(request, "jobs/heat_soak/detail.html", context)


@staff
@require_safe
def heat_soak_csv(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    header, rows = csv_table(results.get(compute.heat_soak), request.shop)
    return spreadsheet_response(csv_text(header, rows), f"{results.job.number}-heat-soak.csv")
