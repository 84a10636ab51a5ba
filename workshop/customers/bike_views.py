"""Entering and editing bikes; a bike's own page belongs to its jobs."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods

from workshop.access.roles import StaffRequest, roles
from workshop.customers.forms import BikeForm
from workshop.models import Bike, Role
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once


def redirect_saved(request: StaffRequest, form: BikeForm, draft: str) -> HttpResponse:
    """Flash that the bike is saved, with a hint about its VIN, and redirect to it."""
    bike: Bike = form.instance
    flash_saved(request, f"{bike} is saved.", draft)
    if form.vin_hint:
        messages.info(request, f"VIN {bike.vin}: {form.vin_hint}")
    return redirect("bike", bike.pk)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
@submit_once
def bike_new(request: StaffRequest) -> HttpResponse:
    form = BikeForm(post_data(request), initial={"owner": request.GET.get("owner")})
    if form.is_valid():
        form.save()
        return redirect_saved(request, form, "bike-new")
    return render_form(request, "workshop/customers/bike_form.html", form)


@roles(Role.DESK)
@require_http_methods(["GET", "POST"])
def bike_edit(request: StaffRequest, pk: int) -> HttpResponse:
    bike = get_object_or_404(Bike, pk=pk)
    form = BikeForm(post_data(request), instance=bike)
    if form.is_valid() and form.save_unless_stale():
        return redirect_saved(request, form, f"bike-{pk}")
    return render_form(request, "workshop/customers/bike_form.html", form, bike=bike)
