"""The tune log: revisions with their changes and calibration files, and their differences."""

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.job.form_page import form_page, remove_button
from jobs.job.lookup import get_results_or_404
from jobs.job.results import JobResults, load_job_results
from jobs.models import Run, TuneChange, TuneRevision
from jobs.tunes.forms import DifferenceForm, TuneChangeForm, TuneFormSet
from jobs.tunes.revisions import (
    available_kinds,
    build_tune_log,
    changes_by_revision,
    compare_revisions,
    describe_changes,
    original_file,
    parent,
    tune_in_bike,
)
from jobs.tunes.throttle_tables import table_differences
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import Role
from workshop.records.responses import flash_saved, open_or_404, post_data, render_form
from workshop.records.submit_once import submit_once

BEFORE_LOADING = (
    "Before the bike moves with a new tune",
    [
        "Engine off: the grip must return to closed by itself. Engine running, in neutral: idle must not "
        "rise with the bars turned fully left and fully right.",
        "A raised idle, or a throttle plate held open, keeps the bike pulling with the throttle closed. "
        "Tell the rider.",
        "Lean under load overheats pistons, valves and catalyst. Watch lambda on the first pull and stop if "
        "it goes lean.",
        "Save the as-received calibration file so that the bike can be restored.",
    ],
)


def find_revision(pk: int) -> TuneRevision:
    return get_object_or_404(
        TuneRevision.objects.select_related("job__bike", "loaded_by", "made_from"), pk=pk
    )


@staff
@require_safe
def tune_log(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    log = build_tune_log(results)
    in_bike = next((entry.revision.number for entry in log if entry.is_in_bike), 0)
    oldest_first = [entry.revision for entry in reversed(log)]
    form = DifferenceForm(revisions=oldest_first, initial={"from": 0, "to": in_bike})
    context = {
        "job": results.job,
        "log": log,
        "form": form,
        "in_bike": results.get(tune_in_bike),
        "original": original_file(oldest_first),
    }
    return render(request, "jobs/tunes/list.html", context)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def tune_new(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    in_bike = results.get(tune_in_bike)
    revision = TuneRevision(job=results.job, loaded_by=request.user, made_from=in_bike)
    return save_entry(request, revision, "Record a tune", f"tune-new-{results.job.pk}")


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def tune_edit(request: StaffRequest, pk: int) -> HttpResponse:
    revision = find_revision(pk)
    return save_entry(request, revision, f"Edit {revision}", f"tune-{pk}")


def save_entry(request: StaffRequest, revision: TuneRevision, title: str, draft: str) -> HttpResponse:
    entry = TuneFormSet(post_data(request), request.FILES or None, revision=revision)
    if entry.is_valid() and entry.save():
        flash_saved(request, f"{str(revision).capitalize()} saved.", draft)
        return redirect("tune", revision.pk)
    context = {
        "job": revision.job,
        "revision": revision,
        "entry": entry,
        "title": title,
        "draft": draft,
        "caution": BEFORE_LOADING,
    }
    return render_form(request, "jobs/tunes/form.html", entry.form, **context)


@staff
@require_safe
def tune(request: StaffRequest, pk: int) -> HttpResponse:
    revision = find_revision(pk)
    results = load_job_results(revision.job, request.shop)
    revisions = results.rows(TuneRevision)
    changes = list(revision.changes.select_related("kind"))
    context = {
        "job": results.job,
        "revision": revision,
        "what_changed": describe_changes(revision, changes),
        "original": original_file(revisions),
        "made_from": parent(revision, revisions),
        "used_for": [other for other in revisions if parent(other, revisions) == revision],
        "changes": changes,
        "runs": [run for run in results.rows(Run) if run.tune_revision_id == pk],
        "tables": revision.throttle_tables.all(),
        "is_in_bike": revision == results.get(tune_in_bike),
    }
    return render(request, "jobs/tunes/detail.html", context)


@staff
@require_safe
def tune_difference(request: StaffRequest, number: str) -> HttpResponse:
    """Compare two revisions (``?from=0&to=2``), by default as received and in the bike."""
    results = get_results_or_404(number, request.shop)
    job, revisions = results.job, results.rows(TuneRevision)
    if not revisions:
        return redirect("tune-log", job)
    query = {"from": request.GET.get("from", "0"), "to": request.GET.get("to", current_number(results))}
    form = DifferenceForm(query, revisions=revisions)
    if not form.is_valid():
        raise Http404("This job has no such tune.")
    first, second = form.pair
    context = {
        "job": job,
        "form": form,
        "first": first,
        "second": second,
        "difference": compare_revisions(first, second, revisions, results.get(changes_by_revision)),
        "tables": table_differences(results, first, second),
    }
    return render(request, "jobs/tunes/difference.html", context)


def current_number(results: JobResults) -> str:
    in_bike = results.get(tune_in_bike)
    return str(in_bike.number if in_bike else 0)


@staff
@require_safe
def calibration(request: StaffRequest, pk: int) -> HttpResponseBase:
    """Send the stored file as a download; its content is never interpreted."""
    revision = get_object_or_404(TuneRevision, pk=pk)
    return FileResponse(
        open_or_404(revision.calibration, "This tune has no calibration file, or it is missing."),
        as_attachment=True,
        filename=revision.calibration_name or "calibration.bin",
        content_type="application/octet-stream",
    )


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def tune_change_add(request: StaffRequest, pk: int) -> HttpResponse:
    revision = find_revision(pk)
    change = TuneChange(revision=revision)
    return save_change(request, change, f"Add a change to {revision}", f"tune-change-new-{pk}")


def find_change(pk: int) -> TuneChange:
    return get_object_or_404(TuneChange.objects.select_related("revision__job__bike", "kind"), pk=pk)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def tune_change_edit(request: StaffRequest, pk: int) -> HttpResponse:
    change = find_change(pk)
    return save_change(request, change, f"Edit a change of {change.revision}", f"tune-change-{pk}")


def save_change(request: StaffRequest, change: TuneChange, title: str, draft: str) -> HttpResponse:
    kinds = available_kinds(change.kind_id)
    form = TuneChangeForm(post_data(request), instance=change, kinds=kinds)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"Change saved: {change}.", draft)
        return redirect("tune", change.revision_id)
    return form_page(
        request,
        form,
        job=change.revision.job,
        title=title,
        section="tunes",
        draft=draft,
        remove=remove_button(change, "tune-change-remove", "Delete this change"),
        template="jobs/tunes/change_form.html",
        change=change,
        revision=change.revision,
        kinds=kinds,
    )


@roles(Role.TUNER)
@require_POST
def tune_change_remove(request: StaffRequest, pk: int) -> HttpResponse:
    change = find_change(pk)
    change.delete()
    messages.success(request, f"Change deleted from {change.revision}: {change}.")
    return redirect(reverse("tune", args=[change.revision_id]))
