"""Today's page and the list of all jobs."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from jobs.models import Job
from jobs.planner.opening_hours import load_opening_hours
from jobs.planner.schedule import build_schedule
from jobs.planner.slots import parse_day
from jobs.today.board import FILTERS, MAX_SHOWN, build_board, open_jobs
from jobs.today.getting_started import is_new_shop, onboarding_steps
from jobs.today.lookup import (
    COLUMNS,
    CSV_HEADER,
    csv_rows,
    list_jobs,
    read_filters,
    staff_choices,
    stage_chips,
)
from workshop.access.roles import StaffRequest, staff
from workshop.csv_files import csv_text
from workshop.disk import measure_free_space
from workshop.mail.outbox import list_unsettled
from workshop.models import Instrument, Role
from workshop.records.lists import list_headings, list_page
from workshop.records.responses import csv_response


@staff
@require_safe
def today(request: StaffRequest) -> HttpResponse:
    opening_hours = load_opening_hours(request.shop)
    jobs = open_jobs()
    shown = request.GET.get("show", "")
    board = build_board(
        jobs,
        request.user,
        request.shop,
        opening_hours,
        shown=shown if shown in FILTERS else "",
        is_mine=request.GET.get("whose") == "mine",
    )
    chosen = parse_day(request.GET.get("day", ""))
    first = parse_day(request.GET.get("from", "")) or timezone.localdate()
    beginning = request.user.is_owner and not jobs and is_new_shop()
    context = {
        "disk_notice": measure_free_space().sentence if request.user.is_owner else "",
        "now": timezone.localtime(),
        "closed_today": opening_hours.closed_reason(timezone.localdate()),
        "board": board,
        "filter": shown if shown in FILTERS else "",
        "is_mine": request.GET.get("whose") == "mine",
        "has_jobs": bool(jobs),
        "steps": onboarding_steps(request.shop) if beginning else [],
        "plan": build_schedule(
            opening_hours, jobs, first=first, chosen=chosen, is_week=request.GET.get("view") == "week"
        ),
        "may_edit": request.user.holds(Role.DESK),
        "mails": list_unsettled()[:MAX_SHOWN] if request.user.holds(Role.DESK) else [],
        "overdue_instruments": Instrument.objects.overdue() if request.user.holds(Role.TUNER) else [],
    }
    return render(request, "jobs/today/today.html", context)


@staff
@require_safe
def job_list(request: StaffRequest) -> HttpResponse:
    filters = read_filters(request)
    page = list_page(request, list_jobs(request, filters))
    context = {
        "page": page,
        "filters": filters,
        "stages": stage_chips(),
        "people": staff_choices(),
        "headings": list_headings(request, COLUMNS),
        "any_job": bool(page.paginator.count) or Job.objects.exists(),
    }
    return render(request, "jobs/today/job_list.html", context)


@staff
@require_safe
def job_list_csv(request: StaffRequest) -> HttpResponse:
    """Return the jobs that the list shows, all pages of it, as CSV."""
    jobs = list_jobs(request, read_filters(request))
    return csv_response(csv_text(CSV_HEADER, csv_rows(jobs)), "jobs.csv")


@staff
@never_cache
@require_safe
def site_worker(request: StaffRequest) -> HttpResponse:
    """Serve the script that opens pages offline; at the root, so that it covers all of them."""
    return render(request, "jobs/today/worker.js", content_type="text/javascript")
