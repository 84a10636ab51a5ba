"""Create, edit and show mixture studies, the warnings first."""

from dataclasses import asdict

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.job.form_page import form_page, remove_button, section_url
from jobs.job.lookup import get_job_or_404
from jobs.job.results import load_job_results
from jobs.mixture import tables as grid
from jobs.mixture.forms import MixtureStudyForm
from jobs.mixture.plate_change import describe_plate_change
from jobs.mixture.sentences import (
    correction_sentence,
    describe_answer,
    describe_extent,
    describe_standing,
    fuel_name,
    fuel_table_sentence,
    load_sentence,
    other_warnings,
    pass_sentence,
    severe_warnings,
)
from jobs.mixture.study import LOADS, exclusion_reason, runs_with_fuel_step, suggest_axes, usable_runs
from jobs.models import Job, MixtureStudy
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role
from workshop.records.responses import csv_response, flash_saved, post_data
from workshop.records.submit_once import submit_once

LEAN = (
    "Running lean under load breaks engines",
    "Lean at high load overheats pistons, valves and catalyst within seconds. If a study warns of it, do not "
    "hold the engine there again until it has more fuel. A correction is a proposal based on these runs: "
    "apply it, then measure again. The manufacturer's service manual and a licensed workshop take "
    "precedence.",
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
    return save_study(request, study, "Edit mixture study", f"mixture-{pk}")


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
        flash_saved(request, f"{study} calculated.", draft)
        return redirect("mixture", study.pk)
    return form_page(
        request,
        form,
        job=study.job,
        title=title,
        section="mixture",
        draft=draft,
        remove=remove_button(study, "mixture-remove", "Delete this study"),
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
    previous = grid.find_previous_pass(study, study.job.mixture_studies.all())
    passes = previous.found if previous else None
    cells = grid.describe_cells(study, passes)
    context = {
        "job": study.job,
        "study": study,
        "load": LOADS.get(study.load_channel, "load"),
        "fuel": fuel_name(study),
        "runs": runs,
        "runs_now_unusable": [(run, reason) for run in runs if (reason := exclusion_reason(run))],
        "answer": describe_answer(study),
        "standing": [describe_standing(study), describe_extent(study)],
        "severe": severe_warnings(study),
        "others": other_warnings(study),
        "load_sentence": load_sentence(study),
        "correction_sentence": correction_sentence(study),
        "pass_sentence": pass_sentence(study),
        "fuel_table": fuel_table_sentence(study),
        "readings": grid.READINGS | (grid.PASS_READING if previous else {}),
        "rows": grid.build_rows(study, passes),
        "cells": cells,
        "inspector": {place: asdict(cell) for place, cell in cells.items()},
        "bar": grid.sample_bar(study),
        "fuel_rows": grid.marked_table_rows(study),
        "previous": previous,
    }
    if study.result:
        context |= {"worst": grid.worst_place(study), "correction_text": grid.correction_text(study)}
    if previous and study.load_channel == "grip_pct":
        results = load_job_results(study.job, request.shop)
        context["plate_change"] = describe_plate_change(results, previous.study, study)
    return render(request, "jobs/mixture/detail.html", context)


@roles(Role.TUNER)
@require_POST
def mixture_remove(request: StaffRequest, pk: int) -> HttpResponse:
    study = find_study(pk)
    study.delete()
    messages.success(request, f"{study} deleted.")
    return redirect(section_url(study.job, "mixture"))


@staff
@require_safe
def fuel_table_csv(request: StaffRequest, pk: int) -> HttpResponse:
    study = find_study(pk)
    if not study.fuel_table_after:
        raise Http404("This study has no fuel table.")
    return csv_response(grid.fuel_table_csv(study), f"fuel-table-{study.job}-{study.pk}.csv")
