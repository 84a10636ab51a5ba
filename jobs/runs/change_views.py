"""Change several runs of a job at once."""

from django.contrib import messages
from django.db.models import ProtectedError
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from jobs.job.form_page import form_page
from jobs.job.lookup import get_results_or_404
from jobs.job.sentences import counted
from jobs.runs.change_forms import ACTIONS, ChangeRunsForm
from jobs.runs.changing import change_runs
from jobs.runs.views import list_job_runs
from workshop.access.roles import StaffRequest, roles
from workshop.models import Role, StaleRecord
from workshop.records.responses import post_data
from workshop.records.submit_once import submit_once

DONE = {
    "exclude": "excluded",
    "include": "included again",
    "kind": "changed",
    "grip": "changed",
    "remove": "removed",
}


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def runs_change(request: StaffRequest, number: str) -> HttpResponse:
    job_runs = list_job_runs(get_results_or_404(number, request.shop))
    asked = request.GET.get("do", "")
    form = ChangeRunsForm(
        post_data(request),
        runs=job_runs.runs,
        names={run.pk: job_runs.list_name(run) for run in job_runs.runs},
        initial={"run": request.GET.getlist("run"), "do": asked if asked in ACTIONS else ""},
    )
    if form.is_valid():
        given = form.cleaned_data
        try:
            change_runs(
                form.chosen, given["do"], reason=given["reason"], kind=given["kind"], grip_pct=given["grip"]
            )
        except (StaleRecord, ProtectedError):
            form.add_error(
                None,
                "Nothing was changed, because someone else has just saved one of these runs. Submit again.",
            )
        else:
            messages.success(request, f"{counted(len(form.chosen), 'run')} {DONE[given['do']]}.")
            return redirect("runs", job_runs.job)
    return form_page(
        request,
        form,
        job=job_runs.job,
        title="Change several runs",
        section="runs",
        note="Excluded runs stay on the page with their reason. No calculation uses them.",
        template="jobs/runs/change.html",
    )
