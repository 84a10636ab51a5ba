"""Today's page and the list of all jobs."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from jobs.models import Job, Stage
from jobs.planner.opening_hours import load_opening_hours
from jobs.planner.slots import build_schedule, parse_day
from jobs.search.find import find_jobs
from jobs.today.board import MAX_SHOWN, day
from jobs.today.getting_started import is_new_shop, onboarding_steps
from workshop.access.roles import StaffRequest, staff
from workshop.disk import measure_free_space
from workshop.mail.outbox import list_unsettled
from workshop.models import Role
from workshop.records.lists import list_page, search_text


@staff
@require_safe
def today(request: StaffRequest) -> HttpResponse:
    now = day()
    first = parse_day(request.GET.get("from", "")) or timezone.localdate()
    beginning = request.user.is_owner and now.is_empty and is_new_shop()
    context = {
        "disk_notice": measure_free_space().sentence if request.user.is_owner else "",
        "day": now,
        "steps": onboarding_steps(request.shop) if beginning else [],
        "plan": build_schedule(first, load_opening_hours(request.shop)),
        "is_now": first == timezone.localdate(),
        "may_edit": request.user.holds(Role.DESK),
        "mails": list_unsettled()[:MAX_SHOWN] if request.user.holds(Role.DESK) else [],
    }
    return render(request, "jobs/today/today.html", context)


@staff
@require_safe
def job_list(request: StaffRequest) -> HttpResponse:
    wanted = search_text(request)
    stage = request.GET.get("stage", "")
    jobs = find_jobs(wanted)
    if stage == "open":
        jobs = jobs.open()
    elif stage == "late":
        jobs = jobs.overdue()
    elif stage in Stage.values:
        jobs = jobs.filter(stage=stage)
    page = list_page(request, jobs)
    context = {
        "page": page,
        "wanted": wanted,
        "stage": stage,
        "stages": [("", "all"), ("open", "all open"), ("late", "promised and late"), *Stage.choices],
        "any_job": bool(page.paginator.count) or Job.objects.exists(),
    }
    return render(request, "jobs/today/job_list.html", context)
