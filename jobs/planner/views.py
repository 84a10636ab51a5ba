"""Slots on the dyno and at the benches, and the calendar feed."""

from datetime import date, time, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.models import CalendarAddress, Slot
from jobs.models.slots import QUARTER
from jobs.planner.calendar_feed import create_token, find_calendar, format_calendar, list_entries
from jobs.planner.forms import NewSlotForm, SlotForm
from jobs.planner.opening_hours import load_opening_hours
from jobs.planner.slots import (
    MAX_LENGTH,
    MOVED_BY_ANOTHER,
    date_warning,
    due_warning,
    format_shop_time,
    heat_warning,
    move_slot,
    outside_hours_warning,
    parse_day,
    person_warning,
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
    given = {name: request.GET[name] for name in NewSlotForm.GIVEN if request.GET.get(name)}
    initial = {"day": timezone.localdate(), "clock": "09:00", "hours": 2, **given}
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
            messages.success(request, f"Booked: {describe(form.slot)}.")
            for warning in filter(None, (heat_warning(form.slot), *other_warnings(form.slot))):
                messages.warning(request, warning)
            return redirect_to_schedule(request, timezone.localdate(form.slot.starts_at))
    return render_form(request, TEMPLATE, form, slot=form.slot if form.slot.pk else None)


def describe(slot: Slot) -> str:
    """Describe a slot, such as "Lift, job 2026-001, Mon 30 Nov, 09:00 to 12:00"."""
    day = f"{timezone.localtime(slot.starts_at):%a %-d %b}"
    return (
        f"{capfirst(str(slot.place))}, job {slot.job}, {day}, "
        f"{format_shop_time(slot.starts_at)} to {format_shop_time(slot.ends_at)}"
    )


def other_warnings(slot: Slot) -> tuple[str, str]:
    return due_warning(slot), person_warning(slot)


@roles(Role.DESK)
@require_POST
def slot_move(request: StaffRequest, pk: int) -> HttpResponse:
    """Move a slot to another day, workstation or time, or change its length."""
    slot = get_object_or_404(Slot.objects.select_related("job__bike", "place", "person"), pk=pk)
    shown = parse_day(request.POST.get("shown", "")) or timezone.localdate()
    try:
        move = parse_move(request.POST, slot)
        if request.POST.get("version", str(slot.version)) != str(slot.version):
            raise ValueError(MOVED_BY_ANOTHER)
        save_slot(move_slot(slot, **move))
    except ValueError as problem:
        messages.error(request, f"Slot not moved. {problem}")
        return redirect_to_schedule(request, shown)
    messages.success(request, f"Moved: {describe(slot)}.")
    warnings = (
        date_warning(slot),
        outside_hours_warning(slot, load_opening_hours(request.shop)),
        heat_warning(slot),
        *other_warnings(slot),
    )
    for warning in filter(None, warnings):
        messages.warning(request, warning)
    return redirect_to_schedule(request, shown)


def parse_move(sent: QueryDict, slot: Slot) -> dict[str, Any]:
    """Return where a slot is moved to; raises ValueError with a sentence if that is no place and time."""
    day = parse_day(sent.get("day", ""))
    place = workstations_for(slot).filter(pk=parse_pk(sent.get("place", ""))).first()
    at, minutes = sent.get("clock", ""), sent.get("minutes", "")
    try:
        clock = time.fromisoformat(at) if at else None
        lasts = timedelta(minutes=int(minutes)) if minutes else None
    except (ValueError, OverflowError):
        day = clock = lasts = None
    is_quarter = (clock is None or not (clock.minute % 15 or clock.second)) and (
        lasts is None or (not lasts % QUARTER and QUARTER <= lasts <= MAX_LENGTH)
    )
    if day is None or place is None or not is_quarter:
        raise ValueError("A slot cannot be moved there.")
    return {"day": day, "place": place, "clock": clock, "lasts": lasts}


def redirect_to_schedule(request: StaffRequest, day: date) -> HttpResponse:
    """Redirect to the schedule of a day, in the view that was open."""
    asked = {"day": str(day)}
    if request.POST.get("view") == "week":
        asked["view"] = "week"
    if day == timezone.localdate():
        del asked["day"]
    query = f"?{urlencode(asked)}" if asked else ""
    return redirect(f"{reverse('today')}{query}#slots")


@roles(Role.DESK)
@require_POST
def slot_remove(request: StaffRequest, pk: int) -> HttpResponse:
    slot = get_object_or_404(Slot.objects.select_related("job", "place"), pk=pk)
    name = describe(slot)
    slot.delete()
    messages.success(request, f"Slot cancelled: {name}.")
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
    messages.success(request, "Calendar link deleted.")
    return redirect("calendar")


@public
@require_safe
@never_cache
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    address = find_calendar(token)
    if address is None:
        raise Http404("This calendar link no longer works.")
    CalendarAddress.objects.filter(pk=address.pk).update(read_at=timezone.now())
    shop = ShopProfile.current()
    site = request.build_absolute_uri("/").rstrip("/")
    with timezone.override(ZoneInfo(shop.time_zone)):
        text = format_calendar(shop.name, list_entries(request.get_host().partition(":")[0], site))
    return HttpResponse(text, content_type="text/calendar; charset=utf-8")
