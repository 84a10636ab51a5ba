"""All bikes, and the history of one."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from jobs.clearances.trend import clearance_history, next_checks
from jobs.clearances.trend_chart import build_trend_chart, page_chart
from jobs.models import Job
from jobs.search.find import find_bikes
from jobs.suspension.settings import handover_settings, settings_table
from workshop.access.roles import StaffRequest, staff
from workshop.models import Bike

PAGE_LENGTH = 50


@staff
@require_safe
def bike_list(request: StaffRequest) -> HttpResponse:
    wanted = request.GET.get("q", "").replace("\0", "").strip()
    page = Paginator(find_bikes(wanted), PAGE_LENGTH).get_page(request.GET.get("page"))
    return render(request, "jobs/bikes/list.html", {"page": page, "wanted": wanted})


@staff
@require_safe
def bike(request: StaffRequest, pk: int) -> HttpResponse:
    bike = get_object_or_404(Bike.objects.select_related("owner", "engine_spec"), pk=pk)
    settings = handover_settings(bike)
    jobs = list(Job.objects.for_list().filter(bike=bike))
    clearances = clearance_history(bike, request.shop)
    courses = build_trend_chart(clearances, request.shop)
    context = {
        "bike": bike,
        "jobs": jobs,
        "clearances": clearances,
        "courses": courses,
        "courses_chart": page_chart(courses) if courses else None,
        "next_checks": next_checks(bike.engine_spec, clearances.sets, jobs, request.shop),
        "settings": settings,
        "groups": settings_table(settings, Job.IntendedUse.ROAD),
    }
    return render(request, "jobs/bikes/detail.html", context)
