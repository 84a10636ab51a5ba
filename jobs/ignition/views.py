"""Show the ignition sweeps of a job."""

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from jobs.ignition.compute import ignition_sweeps
from jobs.ignition.tables import (
    csv_header,
    csv_rows,
    describe_answer,
    sweep_chart,
    sweep_rows,
    sweep_title,
)
from jobs.job.lookup import get_results_or_404
from jobs.runs.views import spreadsheet_response
from workshop.access.roles import StaffRequest, staff
from workshop.csv_files import csv_text

CAUTION = (
    "More advance can make the engine knock",
    "Knock can break a piston within seconds and is easily drowned by the noise of the dyno. Advance in "
    "small steps from the standard timing, listen or measure for knock, and stop at its first sign, even if "
    "torque still rises. The manufacturer's limits and the fuel in the tank take precedence over this page.",
)


@staff
@require_safe
def ignition(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    sweeps = results.get(ignition_sweeps)
    context = {
        "job": results.job,
        "crumb": "Ignition sweep",
        "answer": describe_answer(sweeps),
        "has_result": bool(sweeps),
        "csv_url": reverse("ignition-csv", args=[results.job]),
        "rows": sweep_rows(sweeps, request.shop),
        "charts": [
            (sweep_title(sweep), sweep_chart(sweep, request.shop), f"ignition-{number}")
            for number, sweep in enumerate(sweeps)
        ],
        "caution": CAUTION,
    }
    return render(request, "jobs/ignition/detail.html", context)


@staff
@require_safe
def ignition_csv(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    rows = csv_rows(results.get(ignition_sweeps), request.shop)
    return spreadsheet_response(
        csv_text(csv_header(request.shop), rows), f"{results.job.number}-ignition.csv"
    )
