"""Show how long the injectors of a job's runs are open."""

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from jobs.calc.mixture.injector import MAX_DUTY_PCT
from jobs.injectors.compute import TURNS, RunDuty, default_openings, run_duties
from jobs.injectors.tables import HEADER, OPENINGS, csv_rows, describe_answer, duty_chart, duty_rows
from jobs.job.lookup import get_results_or_404
from jobs.job.results import JobResults
from jobs.runs.views import spreadsheet_response
from workshop.access.roles import StaffRequest, staff
from workshop.csv_files import csv_text

CAUTION = (
    "An injector at its limit leaves the engine lean",
    "Above this limit, corrections to the fuel table have no effect and the engine runs lean at "
    "full load. Do not hold the "
    "engine there: first fit larger injectors, raise the fuel pressure or reduce the air. The "
    "injector manufacturer's values take precedence over this page.",
)


def read_request(request: StaffRequest, results: JobResults) -> tuple[str, list[RunDuty]]:
    """Return how often an injector opens, from the query (``?openings=turn``) or engine, and the duties."""
    query = request.GET.get("openings", "")
    openings = query if query in TURNS else default_openings(results.job.bike.engine_spec)
    return openings, run_duties(results, openings)


@staff
@require_safe
def injectors(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    openings, duties = read_request(request, results)
    context = {
        "job": results.job,
        "crumb": "Injector duty",
        "answer": describe_answer(duties),
        "has_result": bool(duties),
        "csv_url": f"{reverse('injectors-csv', args=[results.job])}?openings={openings}",
        "openings": openings,
        "choices": OPENINGS,
        "rows": duty_rows(duties, openings),
        "chart": duty_chart(duties),
        "limit_pct": MAX_DUTY_PCT,
        "caution": CAUTION,
    }
    return render(request, "jobs/injectors/detail.html", context)


@staff
@require_safe
def injectors_csv(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    openings, duties = read_request(request, results)
    return spreadsheet_response(
        csv_text(HEADER, csv_rows(duties, openings)), f"{results.job.number}-injectors.csv"
    )
