"""Search across jobs, people, plates and VINs."""

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from jobs.models import Job
from jobs.search.find import bikes_matching, customers_matching, jobs_matching
from workshop.access.roles import StaffRequest, staff

MOST_FOUND = 20


@staff
@require_safe
def search(request: StaffRequest) -> HttpResponse:
    """Show what matches the words; a full job number redirects to the job."""
    wanted = request.GET.get("q", "").replace("\0", "").strip()
    job = Job.objects.filter(number=wanted).first() if wanted else None
    if job is not None:
        return redirect(job)
    found = {}
    if wanted:
        found = {
            "jobs": jobs_matching(wanted)[:MOST_FOUND],
            "customers": customers_matching(wanted)[:MOST_FOUND],
            "bikes": bikes_matching(wanted)[:MOST_FOUND],
        }
    return render(request, "jobs/search/results.html", {"wanted": wanted, "most": MOST_FOUND, **found})
