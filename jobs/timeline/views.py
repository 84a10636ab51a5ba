"""The timeline of a job, and changes of the bike that no other record holds."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.job.form_page import form_page, remove_button
from jobs.job.lookup import get_results_or_404
from jobs.job.results import load_job_results
from jobs.models import BikeChange, ContactEntry, Job
from jobs.parts.on_bike import items_on_bike
from jobs.timeline import events
from jobs.timeline.forms import BikeChangeForm
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role
from workshop.records.responses import post_data
from workshop.records.submit_once import submit_once


@staff
@require_safe
def timeline(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    context = {
        "job": results.job,
        "events": results.get(events.timeline),
        "bike_changes": results.rows(BikeChange),
        "contacts": results.rows(ContactEntry),
    }
    return render(request, "jobs/timeline/detail.html", context)


def timeline_url(job: Job) -> str:
    return reverse("timeline", args=[job])


@roles(Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def bike_change_add(request: StaffRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job, number=number)
    return save_bike_change(request, BikeChange(job=job, by=request.user), "Record a bike change")


@roles(Role.MECHANIC, Role.TUNER)
@require_http_methods(["GET", "POST"])
def bike_change_edit(request: StaffRequest, pk: int) -> HttpResponse:
    change = get_object_or_404(BikeChange.objects.select_related("job"), pk=pk)
    return save_bike_change(request, change, "Edit a bike change")


def save_bike_change(request: StaffRequest, change: BikeChange, title: str) -> HttpResponse:
    on_bike = load_job_results(change.job, request.shop).get(items_on_bike)
    form = BikeChangeForm(post_data(request), instance=change, on_bike=on_bike)
    if form.is_valid() and form.save_unless_stale():
        messages.success(request, "Bike change saved.")
        return redirect(timeline_url(change.job))
    return form_page(
        request,
        form,
        job=change.job,
        title=title,
        section="parts",
        note="For changes that no other record covers, such as a tyre, another fuel or a part removed again. "
        "Runs before and after it are no longer repeats of each other.",
        remove=remove_button(change, "bike-change-remove", "Delete this bike change"),
    )


@roles(Role.MECHANIC, Role.TUNER)
@require_POST
def bike_change_remove(request: StaffRequest, pk: int) -> HttpResponse:
    change = get_object_or_404(BikeChange.objects.select_related("job"), pk=pk)
    change.delete()
    messages.success(request, "Bike change deleted.")
    return redirect(timeline_url(change.job))
