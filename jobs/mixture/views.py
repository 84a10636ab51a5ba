"""Create, edit and show mixture studies, the warnings first."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.calc.mixture.fuel import FUELS
from jobs.job.form_page import form_page, section_url
from jobs.job.lookup import get_job_or_404
from jobs.mixture import tables as grid
from jobs.mixture.forms import MixtureStudyForm
from jobs.mixture.study import LOADS, exclusion_reason, runs_with_fuel_step, suggest_axes, usable_runs
from jobs.models import Job, MixtureStudy
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role
from workshop.records.responses import csv_response, flash_saved, post_data
from workshop.records.submit_once import submit_once

LEAN = (
    "Lean under load breaks engines",
    "Lean at high load overheats pistons, valves and catalyst within seconds. Where a study says so, do not "
    "hold the engine there again before it has more fuel. A correction is a proposal from these runs: load "
    "it, then measure again. What the maker's manual and a licensed workshop say goes before it.",
)


def find_study(pk: int) -> MixtureStudy:
    return get_object_or_404(MixtureStudy.objects.select_related("job__bike", "made_by"), pk=pk)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def mixture_new(request: StaffRequest, number: str) -> HttpResponse:
    job = get_job_or_404(number)
    study = MixtureStudy(job=job, made_by=request.user, rpm_axis=[], load_axis=[])
    return save_study(request, study, "New mixture study", f"mixture-new-{job.pk}")


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def mixture_edit(request: StaffRequest, pk: int) -> HttpResponse:
    study = find_study(pk)
    return save_study(request, study, "Edit the mixture study", f"mixture-{pk}")


def save_study(request: StaffRequest, study: MixtureStudy, title: str, draft: str) -> HttpResponse:
    usable = usable_runs(study.job)
    # Read the runs only for an empty form: submitted data has its own axes.
    axes = suggest_axes(usable) if request.method == "GET" and not study.pk else ([], [])
    form = MixtureStudyForm(
        post_data(request),
        request.FILES or None,
        instance=study,
        usable=usable,
        with_step=runs_with_fuel_step(study.job),
        axes=axes,
    )
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{study} is worked out.", draft)
        return redirect("mixture", study.pk)
    return form_page(
        request,
        form,
        job=study.job,
        title=title,
        section="mixture",
        draft=draft,
        cautions=[LEAN],
        template="jobs/mixture/form.html",
        study=study,
        unusable_runs=unusable_runs(study.job),
    )


def unusable_runs(job: Job) -> list[tuple[str, str]]:
    """Return the runs that cannot be chosen, with the reason."""
    reasons = [(str(run), exclusion_reason(run)) for run in job.runs.all()]
    return [(name, reason) for name, reason in reasons if reason]


@staff
@require_safe
def mixture(request: StaffRequest, pk: int) -> HttpResponse:
    study = find_study(pk)
    runs = list(study.runs.select_related("tune_revision"))
    fuel = FUELS.get(study.fuel)
    context = {
        "job": study.job,
        "study": study,
        "load": LOADS.get(study.load_channel, "throttle"),
        "fuel": fuel.name if fuel else study.fuel,
        "runs": runs,
        "runs_now_unusable": [(run, reason) for run in runs if (reason := exclusion_reason(run))],
        "severe": grid.severe_warnings(study),
        "others": grid.other_warnings(study),
        "sentences": [
            sentence for sentence in (grid.load_sentence(study), grid.correction_sentence(study)) if sentence
        ],
        "fuel_table": grid.fuel_table_sentence(study),
        "lambda_rows": grid.lambda_rows(study),
        "correction_rows": grid.correction_rows(study),
        "excluded": grid.excluded_samples(study),
        "fuel_rows": grid.marked_table_rows(study),
        "previous": grid.find_previous_pass(study, study.job.mixture_studies.all()),
        "caution": LEAN,
    }
    return render(request, "jobs/mixture/detail.html", context)


@roles(Role.TUNER)
@require_POST
def mixture_remove(request: StaffRequest, pk: int) -> HttpResponse:
    study = find_study(pk)
    study.delete()
    messages.success(request, f"{study} is removed.")
    return redirect(section_url(study.job, "mixture"))


@staff
@require_safe
def fuel_table_csv(request: StaffRequest, pk: int) -> HttpResponse:
    study = find_study(pk)
    if not study.fuel_table_after:
        raise Http404("This study has no fuel table.")
    return csv_response(grid.fuel_table_csv(study), f"fuel-table-{study.job}-{study.pk}.csv")
