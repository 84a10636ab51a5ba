"""Show the measured spread of the dyno and use it for comparisons."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from jobs.comparisons.planning import plan_rows, runs_rows
from jobs.comparisons.repeatability import measured_repeatability
from jobs.comparisons.shop_spread import shop_spread, store_spread
from workshop.access.roles import StaffRequest, owner_only, staff
from workshop.models import StaleRecord


@staff
@require_safe
def repeatability(request: StaffRequest) -> HttpResponse:
    context = {
        "measured": measured_repeatability(request.shop),
        "in_use": shop_spread(request.shop),
        "plans": plan_rows(request.shop),
        "by_runs": runs_rows(request.shop),
    }
    return render(request, "jobs/comparisons/repeatability.html", context)


@owner_only
@require_POST
def repeatability_use(request: StaffRequest) -> HttpResponse:
    shop, spread = request.shop, measured_repeatability(request.shop).spread
    if spread is None:
        messages.warning(request, "There are no repeat runs to calculate it from yet.")
        return redirect("repeatability")
    shop.measured_spread = store_spread(spread, timezone.now())
    try:
        shop.save()
    except StaleRecord:
        messages.warning(request, "Someone else saved the shop settings in the meantime. Try again.")
    else:
        messages.success(
            request,
            f"From now on, every comparison uses {spread.mean.sd_pct:.2f} % from run to run, with "
            f"{spread.mean.df:.0f} degrees of freedom.",
        )
    return redirect("repeatability")
