"""Search across jobs, customers, phone numbers, plates and VINs."""

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from jobs.models import Job
from jobs.search.find import find_bikes, find_customers, find_jobs
from workshop.access.roles import StaffRequest, staff
from workshop.records.lists import search_text

MAX_RESULTS = 20


@staff
@require_safe
def search(request: StaffRequest) -> HttpResponse:
    """Show what matches the words; a full job number redirects to the job."""
    wanted = search_text(request)
    job = Job.objects.filter(number=wanted).first() if wanted else None
    if job is not None:
        return redirect(job)
    found = {}
    if wanted:
        found = {
            "jobs": find_jobs(wanted)[:MAX_RESULTS],
            "customers": find_customers(wanted)[:MAX_RESULTS],
            "bikes": find_bikes(wanted)[:MAX_RESULTS],
        }
    return render(request, "jobs/search/results.html", {"wanted": wanted, "most": MAX_RESULTS, **found})
