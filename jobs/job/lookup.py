"""Find a job by the number in its address."""

from django.http import Http404
from django.shortcuts import get_object_or_404

from jobs.job.page import get_job
from jobs.models import Job


def get_job_or_404(number: str) -> Job:
    """Return the job with its customer and bike."""
    return get_object_or_404(Job.objects.for_list(), number=number)


def get_job_page_or_404(number: str) -> Job:
    """Return the job with everything that its page shows besides the records."""
    try:
        return get_job(number)
    except Job.DoesNotExist as problem:
        raise Http404(f"There is no job {number}.") from problem
