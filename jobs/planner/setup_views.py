"""The owner's settings: workstations, opening hours and closed days."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from jobs.models import ShutDays, WorkPlace
from jobs.planner.opening_hours import parse_hours
from jobs.planner.setup_forms import ClosedDaysForm, OpeningHoursForm, WorkstationForm
from jobs.planner.slots import format_shop_time, slots_on, slots_outside, upcoming_slots
from workshop.access.roles import StaffRequest, owner_only
from workshop.models import ShopProfile
from workshop.records.responses import flash_saved, post_data, remove_unless_in_use, render_form
from workshop.records.submit_once import submit_once

HAS_SLOTS = "“{}” has slots and cannot be removed. Tick “archived” instead."


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def workstation_list(request: StaffRequest) -> HttpResponse:
    form = WorkstationForm(post_data(request))
    if form.is_valid():
        place = form.save()
        flash_saved(request, f"Workstation added: {place}.", "place-new")
        return redirect("place-list")
    return render_form(request, "jobs/planner/workstation_list.html", form, places=WorkPlace.objects.all())


@owner_only
@require_http_methods(["GET", "POST"])
def workstation_edit(request: StaffRequest, pk: int) -> HttpResponse:
    place = get_object_or_404(WorkPlace, pk=pk)
    form = WorkstationForm(post_data(request), instance=place)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"Workstation saved: {place}.", f"place-{pk}")
        return redirect("place-list")
    has_slots = place.slots.exists()
    return render_form(request, "jobs/planner/workstation_form.html", form, place=place, has_slots=has_slots)


@owner_only
@require_POST
def workstation_remove(request: StaffRequest, pk: int) -> HttpResponse:
    place = get_object_or_404(WorkPlace, pk=pk)
    return remove_unless_in_use(
        request, place, in_use=HAS_SLOTS, list_url="place-list", edit_url="place-edit"
    )


@owner_only
@require_http_methods(["GET", "POST"])
def working_hours(request: StaffRequest) -> HttpResponse:
    shop = ShopProfile.current()
    week = parse_hours(shop.working_hours)
    form = OpeningHoursForm(post_data(request), instance=shop)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, "Opening hours saved.", "working-hours")
        return redirect("working-hours")
    outside = slots_outside(week, upcoming_slots())
    return render_form(request, "jobs/planner/opening_hours.html", form, outside=outside)


@owner_only
@require_http_methods(["GET", "POST"])
@submit_once
def closed_days_list(request: StaffRequest) -> HttpResponse:
    form = ClosedDaysForm(post_data(request))
    if form.is_valid():
        return save_closed_days(request, form, "shut-days-new")
    slots = upcoming_slots()
    closed_days = [
        (days, slots_on(days, slots)) for days in ShutDays.objects.filter(last__gte=timezone.localdate())
    ]
    return render_form(request, "jobs/planner/closed_days_list.html", form, closed_days=closed_days)


@owner_only
@require_http_methods(["GET", "POST"])
def closed_days_edit(request: StaffRequest, pk: int) -> HttpResponse:
    days = get_object_or_404(ShutDays, pk=pk)
    form = ClosedDaysForm(post_data(request), instance=days)
    if form.is_valid() and form.save_unless_stale():
        return save_closed_days(request, form, f"shut-days-{pk}")
    return render_form(request, "jobs/planner/closed_days_form.html", form, days=days)


def save_closed_days(request: StaffRequest, form: ClosedDaysForm, draft: str) -> HttpResponse:
    days = form.save() if form.instance.pk is None else form.instance
    flash_saved(request, f"Closed days {'saved' if form.instance.version > 1 else 'added'}: {days}.", draft)
    if slots := slots_on(days, upcoming_slots()):
        listed = "; ".join(
            f"{slot}, {timezone.localtime(slot.starts_at):%a %-d %b}, {format_shop_time(slot.starts_at)}"
            for slot in slots
        )
        messages.warning(request, f"These slots are on closed days and need moving: {listed}.")
    return redirect("shut-days-list")


@owner_only
@require_POST
def closed_days_remove(request: StaffRequest, pk: int) -> HttpResponse:
    days = get_object_or_404(ShutDays, pk=pk)
    name = str(days)
    days.delete()
    messages.success(request, f"Closed days deleted: {name}.")
    return redirect("shut-days-list")
