"""Find a job by the number in its address."""

from django.http import Http404

from jobs.job.page import get_job
from jobs.job.results import JobResults, load_job_results
from jobs.models import Job
from workshop.models import ShopProfile


def get_job_or_404(number: str) -> Job:
    """Return the job with its people, bike and engine."""
    try:
        return get_job(number)
    except Job.DoesNotExist as problem:
        raise Http404(f"There is no job {number}.") from problem


def get_results_or_404(number: str, shop: ShopProfile) -> JobResults:
    """Return the results of a job, whose rows are read as they are asked for."""
    return load_job_results(get_job_or_404(number), shop)
