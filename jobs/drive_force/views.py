"""Show the drive force in each gear with the shift points."""

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from jobs.drive_force.compute import DriveForce, compute_drive_force, default_inputs
from jobs.drive_force.forms import DriveForceForm
from jobs.drive_force.tables import assumptions, csv_rows, describe_answer, force_chart, shift_rows
from jobs.job.lookup import get_results_or_404
from jobs.job.results import JobResults
from jobs.runs.views import spreadsheet_response
from workshop.access.roles import StaffRequest, staff
from workshop.csv_files import csv_text


def bind_form(request: StaffRequest, results: JobResults) -> tuple[DriveForceForm, DriveForce | None]:
    """Return the form with its result, or None if the input is invalid."""
    form = DriveForceForm(request.GET, defaults=default_inputs(results))
    if form.is_bound and not form.is_valid():
        return form, None
    return form, compute_drive_force(results, form.inputs)


@staff
@require_safe
def drive_force(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    form, drive = bind_form(request, results)
    query = f"?{request.GET.urlencode()}" if request.GET else ""
    csv_url = f"{reverse('drive-force-csv', args=[results.job])}{query}"
    context = {
        "job": results.job,
        "crumb": "Drive force",
        "answer": describe_answer(drive),
        "has_result": bool(drive and drive.forces_n is not None),
        "csv_url": csv_url if drive and drive.forces_n is not None else "",
        "form": form,
        "drive": drive,
        "chart": force_chart(drive, request.shop) if drive else None,
        "shifts": shift_rows(drive, request.shop) if drive else [],
        "assumptions": assumptions(drive) if drive else [],
    }
    return render(request, "jobs/drive_force/detail.html", context, status=200 if drive else 422)


@staff
@require_safe
def drive_force_csv(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    form, drive = bind_form(request, results)
    problems = [[str(error)] for errors in form.errors.values() for error in errors]
    header, *rows = csv_rows(drive, request.shop) if drive else problems
    return spreadsheet_response(csv_text(header, rows), f"{results.job.number}-drive-force.csv")
