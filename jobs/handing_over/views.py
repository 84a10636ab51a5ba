"""What follows a handover: the slots that the job no longer needs."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from jobs.handing_over.slots import cancel_slots
from jobs.job.lookup import get_job_or_404
from jobs.job.sentences import counted
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role
from workshop.records.responses import parse_pk


@roles(Role.DESK)
@require_POST
def slots_cancel(request: StaffRequest, number: str) -> HttpResponse:
    """Cancel one slot of a closed job (``slot``), or all that are left."""
    job = get_job_or_404(number)
    chosen = {parse_pk(request.POST["slot"])} if "slot" in request.POST else set()
    try:
        cancelled = cancel_slots(job, chosen)
    except ValueError as problem:
        messages.error(request, str(problem))
    else:
        if cancelled:
            messages.success(request, f"{counted(len(cancelled), 'slot')} of job {job} cancelled.")
        else:
            messages.info(request, f"Job {job} has no slots left to cancel.")
    return redirect(job)
