"""The log of the dyno's verification."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.models import DynoCheck
from jobs.runs.views import spreadsheet_response
from jobs.verification.charts import csv_rows, group_checks
from jobs.verification.forms import DynoCheckForm
from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def dyno_check_list(request: StaffRequest) -> HttpResponse:
    latest = DynoCheck.objects.last()
    form = DynoCheckForm(post_data(request), instance=DynoCheck(by=request.user, **repeat_of(latest)))
    if form.is_valid():
        form.save()
        flash_saved(request, "The reading is saved.", "dyno-check-new")
        return redirect("dyno-check-list")
    series = group_checks(DynoCheck.objects.select_related("by"))
    return render_form(request, "jobs/verification/list.html", form, series=series)


def repeat_of(check: DynoCheck | None) -> dict[str, object]:
    """Return what a new reading has in common with the latest one."""
    if check is None:
        return {}
    return {name: getattr(check, name) for name in ("method", "subject", "unit", "true_value")}


@staff
@require_safe
def dyno_check_csv(request: StaffRequest) -> HttpResponse:
    header, rows = csv_rows(group_checks(DynoCheck.objects.all()))
    return spreadsheet_response(csv_text(header, rows), "dyno-verification.csv")


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def dyno_check_edit(request: StaffRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(DynoCheck, pk=pk)
    form = DynoCheckForm(post_data(request), instance=check)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "The reading is saved.", f"dyno-check-{pk}")
        return redirect("dyno-check-list")
    return render_form(request, "jobs/verification/form.html", form, check=check)


@roles(Role.TUNER)
@require_POST
def dyno_check_remove(request: StaffRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(DynoCheck, pk=pk)
    check.delete()
    messages.success(request, f"The reading of {check} is removed.")
    return redirect("dyno-check-list")
