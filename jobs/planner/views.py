"""Slots on the dyno and at the benches, and the calendar feed."""

from datetime import date
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.models import CalendarAddress, Slot
from jobs.planner.calendar_feed import create_token, find_calendar, format_calendar, list_entries
from jobs.planner.forms import NewSlotForm, SlotForm
from jobs.planner.opening_hours import load_opening_hours
from jobs.planner.slots import (
    date_warning,
    heat_warning,
    move_slot,
    outside_hours_warning,
    parse_day,
    save_slot,
    workstations_for,
)
from workshop.access.roles import StaffRequest, public, roles, staff
from workshop.models import Role, ShopProfile
from workshop.records.responses import parse_pk, post_data, render_form
from workshop.records.submit_once import submit_once

TEMPLATE = "jobs/planner/slot_form.html"


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def slot_new(request: StaffRequest) -> HttpResponse:
    given = {name: request.GET[name] for name in ("job", "place", "day") if request.GET.get(name)}
    initial = {"clock": "09:00", "hours": 2, **given}
    return save(
        request,
        NewSlotForm(
            post_data(request), slot=Slot(), opening_hours=load_opening_hours(request.shop), initial=initial
        ),
    )


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def slot_edit(request: StaffRequest, pk: int) -> HttpResponse:
    slot = get_object_or_404(Slot.objects.select_related("job__bike", "place"), pk=pk)
    return save(
        request, SlotForm(post_data(request), slot=slot, opening_hours=load_opening_hours(request.shop))
    )


def save(request: StaffRequest, form: SlotForm) -> HttpResponse:
    if form.is_valid():
        try:
            save_slot(form.slot)
        except ValueError as problem:
            form.add_error("clock", str(problem))
        else:
            messages.success(request, f"The {form.slot} is kept.")
            if warning := heat_warning(form.slot):
                messages.warning(request, warning)
            return redirect_to_schedule(request, timezone.localdate(form.slot.starts_at))
    return render_form(request, TEMPLATE, form, slot=form.slot if form.slot.pk else None)


@roles(Role.DESK)
@require_POST
def slot_move(request: StaffRequest, pk: int) -> HttpResponse:
    """Move a slot to another day or workstation at the same time of day."""
    slot = get_object_or_404(Slot.objects.select_related("job", "place"), pk=pk)
    day, chosen = parse_day(request.POST.get("day", "")), request.POST.get("place", "")
    shown = parse_day(request.POST.get("from", "")) or timezone.localdate()
    place = workstations_for(slot).filter(pk=parse_pk(chosen)).first()
    if day is None or place is None:
        messages.error(request, "That is no day and place to move a slot to.")
        return redirect_to_schedule(request, shown)
    try:
        save_slot(move_slot(slot, day=day, place=place))
    except ValueError as problem:
        messages.error(request, f"Not moved. {problem}")
    else:
        messages.success(request, f"Moved: {slot}, {timezone.localtime(slot.starts_at):%a %-d %b, %H:%M}.")
        warnings = (
            date_warning(slot),
            outside_hours_warning(slot, load_opening_hours(request.shop)),
            heat_warning(slot),
        )
        for warning in filter(None, warnings):
            messages.warning(request, warning)
    return redirect_to_schedule(request, shown)


def redirect_to_schedule(request: StaffRequest, day: date) -> HttpResponse:
    """Redirect to a schedule that shows this day: the next days if it is one of them."""
    today = timezone.localdate()
    coming = load_opening_hours(request.shop).working_days_from(today)
    if coming and today <= day <= coming[-1]:
        return redirect("today")
    return redirect(f"{reverse('today')}?from={day}#slots")


@roles(Role.DESK)
@require_POST
def slot_remove(request: StaffRequest, pk: int) -> HttpResponse:
    slot = get_object_or_404(Slot.objects.select_related("job", "place"), pk=pk)
    name = str(slot)
    slot.delete()
    messages.success(request, f"The {name} is free again.")
    return redirect_to_schedule(request, timezone.localdate(slot.starts_at))


@staff
@require_safe
def calendar(request: StaffRequest) -> HttpResponse:
    address = CalendarAddress.objects.filter(person=request.user).first()
    return render(request, "jobs/planner/calendar.html", {"address": address})


@staff
@require_POST
def calendar_renew(request: StaffRequest) -> HttpResponse:
    """Create the link and show it once: the stored hash cannot be turned back into it."""
    token = create_token(request.user)
    url = request.build_absolute_uri(reverse("calendar-feed", args=[token]))
    address = CalendarAddress.objects.get(person=request.user)
    return render(request, "jobs/planner/calendar.html", {"address": address, "url": url})


@staff
@require_POST
def calendar_revoke(request: StaffRequest) -> HttpResponse:
    CalendarAddress.objects.filter(person=request.user).delete()
    messages.success(request, "The calendar's address is closed.")
    return redirect("calendar")


@public
@require_safe
@never_cache
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    address = find_calendar(token)
    if address is None:
        raise Http404("This calendar's address is closed.")
    CalendarAddress.objects.filter(pk=address.pk).update(read_at=timezone.now())
    shop = ShopProfile.current()
    site = request.build_absolute_uri("/").rstrip("/")
    with timezone.override(ZoneInfo(shop.time_zone)):
        text = format_calendar(shop.name, list_entries(request.get_host().partition(":")[0], site))
    return HttpResponse(text, content_type="text/calendar; charset=utf-8")
