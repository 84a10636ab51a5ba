"""Booking a bike in, and the search for it while typing."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from jobs.booking.forms import MAX_CHOICES, Booking
from jobs.planner.opening_hours import load_opening_hours
from jobs.search.find import add_last_jobs, find_bikes, find_customers
from workshop.access.roles import StaffRequest, roles
from workshop.models import Bike, Role
from workshop.records.lists import search_text
from workshop.records.responses import flash_saved, parse_pk, post_data
from workshop.records.submit_once import submit_once

DRAFT = "job-book"


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def job_book(request: StaffRequest) -> HttpResponse:
    booking = Booking(
        post_data(request), opening_hours=load_opening_hours(request.shop), bike=requested_bike(request)
    )
    job = booking.book(request.user) if request.method == "POST" and booking.is_valid() else None
    if job is not None:
        flash_saved(request, f"Job {job} booked.", DRAFT)
        if booking.vin_hint:
            messages.info(request, f"VIN {job.bike.vin}: {booking.vin_hint}")
        return redirect(job)
    status = 422 if request.method == "POST" else 200
    return render(request, "jobs/booking/form.html", {"booking": booking, "draft": DRAFT}, status=status)


def requested_bike(request: StaffRequest) -> Bike | None:
    """Return the bike that the address names, as the bike's own page does."""
    pk = parse_pk(request.GET.get("bike", ""))
    return Bike.objects.select_related("owner").filter(pk=pk).first()


@roles(Role.DESK)
@require_safe
def bike_choices(request: StaffRequest) -> HttpResponse:
    text = search_text(request, "which-text")
    found = add_last_jobs(find_bikes(text)[:MAX_CHOICES]) if text else []
    context = {"choices": found, "name": "which-chosen", "what": "bike", "text": text}
    return render(request, "jobs/booking/_choices.html", context)


@roles(Role.DESK)
@require_safe
def customer_choices(request: StaffRequest) -> HttpResponse:
    text = search_text(request, "whose-text")
    found = find_customers(text)[:MAX_CHOICES] if text else []
    context = {"choices": found, "name": "whose-chosen", "what": "customer", "text": text}
    return render(request, "jobs/booking/_choices.html", context)
