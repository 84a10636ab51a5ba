"""Throttle tables by mode as received and as loaded, with checks of tables and runs."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.job.form_page import form_page, remove_button
from jobs.job.lookup import get_results_or_404
from jobs.models import Run, ThrottleTable, TuneRevision
from jobs.runs.views import spreadsheet_response
from jobs.throttle.answer import describe_answer
from jobs.throttle.charts import build_held_chart, build_modes_chart
from jobs.throttle.forms import ThrottleTableForm
from jobs.throttle.from_runs import drift_checks, job_idles
from jobs.throttle.linearity import HEADER, csv_rows, linearity_rows
from jobs.throttle.torque_charts import (
    OVERRUN_HEADER,
    engine_braking,
    idle_change,
    overrun_csv_rows,
    torque_by_grip,
)
from jobs.tunes.revisions import tune_in_bike
from jobs.tunes.throttle_tables import (
    compare_tables,
    review_modes,
    riding_modes,
    steeper_ends,
    table_speeds,
    throttle_tables,
)
from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.models import Role
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once

CAUTION = (
    "Before the bike moves",
    "Engine off: the grip must return to closed by itself. Engine running, in neutral: idle must not rise "
    "with the bars turned fully left and fully right. With a cable, the throttle itself must return to "
    "closed. A throttle plate held open with the grip closed, or a raised idle, keeps the bike pulling "
    "with the throttle closed.",
)


def selected_speed(request: StaffRequest, speeds: list[float]) -> float | None:
    """Return the engine speed of the charts: from the query (``?rpm=4000``), else the middle one."""
    query = request.GET.get("rpm", "")
    found = next((speed for speed in speeds if f"{speed:g}" == query), None)
    return found if found is not None else speeds[len(speeds) // 2] if speeds else None


def selected_tune(
    request: StaffRequest, revisions: list[TuneRevision], in_bike: TuneRevision | None
) -> TuneRevision | None:
    """Return the revision whose modes are compared: from the query (``?tune=2``), else in the bike."""
    query = request.GET.get("tune", "")
    return next((revision for revision in revisions if str(revision.number) == query), in_bike)


@staff
@require_safe
def throttle(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    job, runs, revisions = results.job, results.rows(Run), results.rows(TuneRevision)
    tables, in_bike, modes = (
        results.get(throttle_tables),
        results.get(tune_in_bike),
        results.get(riding_modes),
    )
    shown = selected_tune(request, revisions, in_bike)
    shown_tables = review_modes(shown, revisions, tables)
    speeds = table_speeds(modes)
    at_rpm = selected_speed(request, speeds)
    idles, held = results.get(job_idles), results.get(drift_checks)
    context = {
        "job": job,
        "revisions": revisions,
        "in_bike": in_bike,
        "shown": shown,
        "modes": modes,
        "answer": describe_answer(modes, held, in_bike),
        "between_modes": compare_tables(shown_tables),
        "steeper_ends": steeper_ends(shown_tables),
        "speeds": [f"{speed:g}" for speed in speeds],
        "at_rpm": f"{at_rpm:g}" if at_rpm is not None else "",
        "held": [(check, build_held_chart(check), f"held-{n}") for n, check in enumerate(held)],
        "idles": idles,
        "idle_change": idle_change(idles),
        "braking": results.get(engine_braking),
        "caution": CAUTION,
    }
    if at_rpm is not None:
        torque = torque_by_grip(shown_tables, runs, shown, speeds, at_rpm, request.shop)
        context |= {
            "chart": build_modes_chart(shown_tables, modes, at_rpm),
            "torque": torque,
            "linearity": linearity_rows(shown_tables, torque.found if torque else {}, [at_rpm]),
        }
    return render(request, "jobs/throttle/detail.html", context)


@staff
@require_safe
def linearity_csv(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    runs, revisions = results.rows(Run), results.rows(TuneRevision)
    shown = selected_tune(request, revisions, results.get(tune_in_bike))
    tables = review_modes(shown, revisions, results.get(throttle_tables))
    speeds = table_speeds(results.get(riding_modes))
    torque = torque_by_grip(tables, runs, shown, speeds, speeds[0], request.shop) if speeds else None
    text = csv_text(HEADER, csv_rows(linearity_rows(tables, torque.found if torque else {}, speeds)))
    return spreadsheet_response(text, f"{results.job.number}-throttle-linearity.csv")


@staff
@require_safe
def overrun_csv(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    braking = results.get(engine_braking)
    rows = overrun_csv_rows(braking.found) if braking else []
    return spreadsheet_response(csv_text(OVERRUN_HEADER, rows), f"{results.job.number}-overrun.csv")


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def throttle_add(request: StaffRequest, pk: int) -> HttpResponse:
    revision = get_object_or_404(TuneRevision.objects.select_related("job"), pk=pk)
    table = ThrottleTable(revision=revision)
    return save_table(request, table, f"Throttle table, {revision}", f"throttle-new-{pk}")


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def throttle_edit(request: StaffRequest, pk: int) -> HttpResponse:
    table = find_table(pk)
    return save_table(request, table, f"Throttle table {table}", f"throttle-{pk}")


def find_table(pk: int) -> ThrottleTable:
    return get_object_or_404(ThrottleTable.objects.select_related("revision__job"), pk=pk)


def save_table(request: StaffRequest, table: ThrottleTable, title: str, draft: str) -> HttpResponse:
    job = table.revision.job
    known = sorted(set(ThrottleTable.objects.filter(revision__job=job).values_list("mode", flat=True)))
    form = ThrottleTableForm(post_data(request), request.FILES or None, instance=table, known_modes=known)
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"Throttle table {table} saved.", draft)
        return redirect("throttle", job)
    return form_page(
        request,
        form,
        job=job,
        title=title,
        section="throttle",
        draft=draft,
        remove=remove_button(table, "throttle-remove", "Delete this table"),
        cautions=[CAUTION],
        template="jobs/throttle/form.html",
        table=table,
        known_modes=known,
    )


@roles(Role.TUNER)
@require_POST
def throttle_remove(request: StaffRequest, pk: int) -> HttpResponse:
    table = find_table(pk)
    table.delete()
    messages.success(request, f"Throttle table {table} deleted.")
    return redirect(reverse("throttle", args=[table.revision.job]))
