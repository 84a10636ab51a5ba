"""The log of the dyno's verification."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.models import DynoCheck
from jobs.runs.views import spreadsheet_response
from jobs.verification.charts import CheckSeries, csv_rows, group_checks
from jobs.verification.forms import DynoCheckForm
from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.models import Role
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once

COLUMNS = (
    ListColumn("measured", "Measured", ("at",)),
    ListColumn("what", "What", ("method", "subject")),
    ListColumn("reading", "Reading", ("reading",)),
    ListColumn("true", "True value"),
    ListColumn("by", "By", ("by__last_name", "by__username")),
    ListColumn("note", "Note"),
)
STATES = {"": "all", "outside": "outside the limits"}


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def dyno_check_list(request: StaffRequest) -> HttpResponse:
    latest = DynoCheck.objects.last()
    form = DynoCheckForm(post_data(request), instance=DynoCheck(by=request.user, **repeat_of(latest)))
    if form.is_valid():
        form.save()
        flash_saved(request, "Reading saved.", "dyno-check-new")
        return redirect("dyno-check-list")
    text, method, state = (search_text(request, name) for name in ("q", "method", "state"))
    series = find_series(request)
    found = DynoCheck.objects.filter(pk__in=[check.pk for one in series for check in one.listed(state)])
    page = list_page(
        request, sort_rows(request, found.select_related("by", "instrument").order_by("-at", "-pk"), COLUMNS)
    )
    context = {
        "series": series,
        "page": page,
        "outside": {check.pk for one in series for check in one.listed("outside")},
        "headings": list_headings(request, COLUMNS),
        "wanted": text,
        "method": method,
        "state": state,
        "methods": DynoCheck.Method.choices,
        "states": STATES,
        "filter_count": bool(method) + bool(state),
    }
    return render_form(request, "jobs/verification/list.html", form, **context)


def find_series(request: StaffRequest) -> list[CheckSeries]:
    """Return the series that the address asks for, each with all the readings behind its limits."""
    text, method = search_text(request).casefold(), search_text(request, "method")
    return [
        one
        for one in group_checks(DynoCheck.objects.all())
        if text in one.title.casefold() and method in ("", one.checks[0].method)
    ]


def repeat_of(check: DynoCheck | None) -> dict[str, object]:
    """Return what a new reading has in common with the latest one."""
    if check is None:
        return {}
    repeated = ("method", "subject", "unit", "true_value", "true_value_error", "instrument_id")
    return {name: getattr(check, name) for name in repeated}


@staff
@require_safe
def dyno_check_csv(request: StaffRequest) -> HttpResponse:
    """Return the readings that the list shows, all pages of it, as CSV."""
    header, rows = csv_rows(find_series(request), search_text(request, "state"))
    return spreadsheet_response(csv_text(header, rows), "dyno-verification.csv")


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def dyno_check_edit(request: StaffRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(DynoCheck, pk=pk)
    form = DynoCheckForm(post_data(request), instance=check)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "Reading saved.", f"dyno-check-{pk}")
        return redirect("dyno-check-list")
    return render_form(request, "jobs/verification/form.html", form, check=check)


@roles(Role.TUNER)
@require_POST
def dyno_check_remove(request: StaffRequest, pk: int) -> HttpResponse:
    check = get_object_or_404(DynoCheck, pk=pk)
    check.delete()
    messages.success(request, f"Reading of {check} is removed.")
    return redirect("dyno-check-list")
