"""Create, edit and show comparisons of two groups of runs."""

from collections.abc import Mapping

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.calc.dyno.comparison import BandComparison
from jobs.comparisons.charts import (
    band_rows,
    comparison_table,
    describe_another_pair,
    describe_regions,
)
from jobs.comparisons.compare import (
    ComparisonResult,
    compare_groups,
    comparison_results,
    save_comparison,
    suggested_groups,
)
from jobs.comparisons.forms import ComparisonForm, OwnBandForm
from jobs.comparisons.planning import describe_runs_needed
from jobs.comparisons.roll_on import RollOnResult, compute_roll_on, default_inputs
from jobs.comparisons.roll_on_forms import RollOnForm
from jobs.comparisons.roll_on_tables import describe_roll_on, lead_chart, roll_on_csv_rows
from jobs.comparisons.story_charts import answer, key_figures, road_picture, run_dots, story_chart
from jobs.comparisons.tables import absolute_power, absolute_power_of_run
from jobs.job.form_page import form_page, remove_button, section_url
from jobs.job.lookup import get_results_or_404
from jobs.job.results import JobResults, load_job_results
from jobs.models import Comparison, Run
from jobs.runs.results import run_results
from jobs.runs.views import find_run, spreadsheet_response
from jobs.timeline.bike_states import bike_states
from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.models import Role, StaleRecord
from workshop.records.responses import flash_saved, post_data
from workshop.records.submit_once import submit_once

SUGGESTED = (
    "Suggested: the bike as it came against the bike as it is now. If its first state was run again "
    "later, those sweeps are “before” too."
)


def find_comparison(pk: int) -> Comparison:
    return get_object_or_404(
        Comparison.objects.select_related("job__bike__engine_spec", "job__customer"), pk=pk
    )


def runs_to_compare(results: JobResults) -> list[Run]:
    return [run for run in results.rows(Run) if run.status == Run.Status.READ]


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
@submit_once
def comparison_new(request: StaffRequest, number: str) -> HttpResponse:
    results = get_results_or_404(number, request.shop)
    sides = suggested_groups(results.get(bike_states))
    comparison = Comparison(job=results.job, title="" if post_data(request) else "Before and after")
    return save_form(request, comparison, results, sides, f"comparison-new-{results.job.pk}")


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def comparison_edit(request: StaffRequest, pk: int) -> HttpResponse:
    comparison = find_comparison(pk)
    sides = dict(comparison.members.values_list("run_id", "group"))
    results = load_job_results(comparison.job, request.shop)
    return save_form(request, comparison, results, sides, f"comparison-{pk}")


def save_form(
    request: StaffRequest,
    comparison: Comparison,
    results: JobResults,
    sides: Mapping[int, str],
    draft: str,
) -> HttpResponse:
    form = ComparisonForm(
        post_data(request),
        instance=comparison,
        runs=runs_to_compare(results),
        states=results.get(bike_states),
        sides=sides,
    )
    if form.is_valid():
        read = comparison.version
        try:
            save_comparison(comparison=comparison, groups=form.cleaned_data["groups"])
        except StaleRecord:
            form.report_conflict(read)
        else:
            flash_saved(request, f"{comparison} saved.", draft)
            return redirect("comparison", comparison.pk)
    return form_page(
        request,
        form,
        job=comparison.job,
        title="Edit the comparison" if comparison.pk else "Compare runs",
        section="comparisons",
        draft=draft,
        remove=remove_button(comparison, "comparison-remove", "Delete this comparison; its runs stay"),
        note="" if comparison.pk else SUGGESTED,
        template="jobs/comparisons/form.html",
        comparison=comparison,
        suggested=bool(sides),
        runs_needed=describe_runs_needed(request.shop),
    )


def bind_roll_on_form(
    request: StaffRequest, compared: ComparisonResult
) -> tuple[RollOnForm, RollOnResult | None]:
    """Return the roll-on form with its result, or None if the input is invalid."""
    form = RollOnForm(request.GET, defaults=default_inputs(compared), shop=request.shop)
    if form.is_bound and not form.is_valid():
        return form, None
    roll_on = compute_roll_on(compared, form.inputs, request.shop)
    form.show(roll_on.inputs)
    return form, roll_on


def chosen_bands(
    request: StaffRequest, compared: ComparisonResult
) -> tuple[OwnBandForm, list[BandComparison]]:
    """Return the form of an own band, and that band before those of the shop."""
    form = OwnBandForm(request.GET if "from_rpm" in request.GET else None)
    bands = list(compared.result.bands) if compared.result else []
    if compared.result and form.is_bound and form.is_valid() and form.ends:
        chosen, _ = compare_groups(compared.before, compared.after, request.shop, {"own band": form.ends})
        bands = [*(chosen.bands if chosen else ()), *bands]
    return form, bands


@staff
@require_safe
def comparison(request: StaffRequest, pk: int) -> HttpResponse:
    comparison = find_comparison(pk)
    compared = load_job_results(comparison.job, request.shop).get(comparison_results)[comparison]
    form, roll_on = bind_roll_on_form(request, compared)
    result = roll_on.result if roll_on else None
    band_form, bands = chosen_bands(request, compared)
    context = {
        "band_form": band_form,
        "absolute": absolute_power(compared, request.shop),
        "regions": describe_regions(compared.result) if compared.result else [],
        "another_pair": describe_another_pair(compared, request.shop),
        "first_before": [f for f in compared.before if f not in compared.again],
        "roll_on_form": form,
        "roll_on": roll_on,
        "roll_on_summary": describe_roll_on(roll_on, request.shop) if roll_on else None,
        "lead_chart": lead_chart(result, request.shop) if result else None,
        "comparison": comparison,
        "job": comparison.job,
        "compared": compared,
        "bands": band_rows(bands, request.shop),
        "answer": answer(compared.result) if compared.result else None,
        "figures": key_figures(compared, roll_on, request.shop),
        "chart": story_chart(compared, request.shop),
        "dots": run_dots(compared, request.shop),
        "road": road_picture(roll_on, request.shop),
        "can_write": request.user.holds(Role.TUNER),
    }
    status = 200 if roll_on and not band_form.errors else 422
    return render(request, "jobs/comparisons/detail.html", context, status=status)


@staff
@require_safe
def run_uncertainty(request: StaffRequest, pk: int) -> HttpResponse:
    run = find_run(pk)
    result = load_job_results(run.job, request.shop).get(run_results)[run.pk]
    context = {
        "run": run,
        "result": result,
        "absolute": absolute_power_of_run(result, request.shop),
        "can_write": request.user.holds(Role.TUNER),
    }
    return render(request, "jobs/comparisons/run_uncertainty.html", context)


@staff
@require_safe
def comparison_csv(request: StaffRequest, pk: int) -> HttpResponse:
    comparison = find_comparison(pk)
    compared = load_job_results(comparison.job, request.shop).get(comparison_results)[comparison]
    header, rows = comparison_table(compared, chosen_bands(request, compared)[1], request.shop)
    roll_on = bind_roll_on_form(request, compared)[1]
    rows += roll_on_csv_rows(roll_on, comparison.title, request.shop) if roll_on else []
    return spreadsheet_response(
        csv_text(header, rows), f"{comparison.job.number}-comparison-{comparison.pk}.csv"
    )


@roles(Role.TUNER)
@require_POST
def comparison_remove(request: StaffRequest, pk: int) -> HttpResponse:
    comparison = find_comparison(pk)
    comparison.delete()
    messages.success(request, f"{comparison} deleted. Its runs stay.")
    return redirect(section_url(comparison.job, "comparisons"))
