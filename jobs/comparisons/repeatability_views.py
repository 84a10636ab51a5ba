"""Show the measured repeatability and use it for single runs."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from jobs.comparisons.repeatability import measured_repeatability
from workshop.access.roles import StaffRequest, owner_only, staff
from workshop.models import StaleRecord


@staff
@require_safe
def repeatability(request: StaffRequest) -> HttpResponse:
    measured = measured_repeatability(request.shop)
    return render(request, "jobs/comparisons/repeatability.html", {"measured": measured})


@owner_only
@require_POST
def repeatability_use(request: StaffRequest) -> HttpResponse:
    shop, measured_pct = request.shop, measured_repeatability(request.shop).suggested_pct
    if measured_pct is None:
        messages.warning(request, "There are no repeats to measure it from yet.")
        return redirect("repeatability")
    shop.repeatability_pct = measured_pct
    try:
        shop.save()
    except StaleRecord:
        messages.warning(request, "Somebody else saved the shop's profile meanwhile: try again.")
    else:
        messages.success(request, f"{measured_pct:g} % stands for a single run from now on.")
    return redirect("repeatability")
