"""All bikes, the history of one, new, edit."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from jobs.clearances.trend import clearance_history, next_checks
from jobs.clearances.trend_chart import build_trend_chart, page_chart
from jobs.job.results import load_job_results
from jobs.job.road_use import describe_bike_causes, describe_search
from jobs.models import Job
from jobs.search.find import find_bikes
from jobs.suspension.settings import handover_settings, settings_table
from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.customers.forms import BikeEntryForm, BikeForm
from workshop.models import Bike, Role
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import csv_response, flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once

COLUMNS = (
    ListColumn("bike", "Bike", ("make", "model", "year")),
    ListColumn("plate", "Plate", ("plate",)),
    ListColumn("vin", "VIN", ("vin",)),
    ListColumn("owner", "Owner", ("owner__name",)),
)


@staff
@require_safe
def bike_list(request: StaffRequest) -> HttpResponse:
    wanted = search_text(request)
    page = list_page(request, sort_rows(request, find_bikes(wanted), COLUMNS))
    context = {"page": page, "wanted": wanted, "headings": list_headings(request, COLUMNS)}
    return render(request, "jobs/bikes/list.html", context)


@staff
@require_safe
def bike_list_csv(request: StaffRequest) -> HttpResponse:
    """Return the bikes that the list shows, all pages of it, as CSV."""
    bikes = sort_rows(request, find_bikes(search_text(request)), COLUMNS)
    rows = ((b.make, b.model, b.year, b.plate, b.vin, str(b.owner)) for b in bikes.iterator())
    return csv_response(csv_text(("make", "model", "year", "plate", "vin", "owner"), rows), "bikes.csv")


@staff
@require_safe
def bike(request: StaffRequest, pk: int) -> HttpResponse:
    bike = get_object_or_404(Bike.objects.select_related("owner", "engine_spec"), pk=pk)
    settings = handover_settings(bike)
    jobs = list(Job.objects.for_list().filter(bike=bike))
    clearances = clearance_history(bike, request.shop)
    trend = build_trend_chart(clearances, request.shop) if clearances.is_repeated else None
    results = load_job_results(jobs[0], request.shop) if jobs else None
    context = {
        "bike": bike,
        "road_causes": describe_bike_causes(results) if results else [],
        "looked_at": describe_search(results) if results else "",
        "jobs": jobs,
        "clearances": clearances,
        "trend_chart": trend,
        "trend_chart_data": page_chart(trend) if trend else None,
        "next_checks": next_checks(bike.engine_spec, clearances.sets, jobs, request.shop),
        "settings": settings,
        "groups": settings_table(settings, Job.IntendedUse.ROAD),
    }
    return render(request, "jobs/bikes/detail.html", context)


def redirect_saved(request: StaffRequest, form: BikeForm, draft: str) -> HttpResponse:
    """Flash that the bike is saved, with a hint about its VIN, and redirect to it."""
    bike: Bike = form.instance
    flash_saved(request, f"{bike} saved.", draft)
    if form.vin_hint:
        messages.info(request, f"VIN {bike.vin}: {form.vin_hint}")
    return redirect("bike", bike.pk)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def bike_new(request: StaffRequest) -> HttpResponse:
    form = BikeEntryForm(post_data(request), initial={"owner": request.GET.get("owner")})
    if form.is_valid():
        form.save()
        return redirect_saved(request, form, "bike-new")
    return render_form(request, "jobs/bikes/form.html", form)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def bike_edit(request: StaffRequest, pk: int) -> HttpResponse:
    bike = get_object_or_404(Bike, pk=pk)
    form = BikeForm(post_data(request), instance=bike)
    if form.is_valid() and form.save_unless_stale():
        return redirect_saved(request, form, f"bike-{pk}")
    return render_form(request, "jobs/bikes/form.html", form, bike=bike)
