"""Show, edit, exclude and remove the runs of a job."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import ProtectedError
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.calc.channels import CHANNELS
from jobs.calc.dyno.curves import PEAK_RANGES_RPM
from jobs.calc.dyno.sweep import Sweep
from jobs.calc.units.numbers import format_number
from jobs.job.form_page import form_page
from jobs.job.lookup import get_results_or_404
from jobs.job.results import JobResults, load_job_results
from jobs.models import Comparison, Job, Run
from jobs.runs.chart_data import Look
from jobs.runs.charts import (
    AGAINST,
    POWER_AND_TORQUE,
    OverlayOptions,
    OverlayRun,
    overlay,
    overlay_quantities,
    ratio_chart,
    sweep_chart,
)
from jobs.runs.file_correction import describe_air, offered_air
from jobs.runs.forms import ExcludeForm, RunForm, SweepForm
from jobs.runs.list_charts import state_groups
from jobs.runs.removing import remove_run
from jobs.runs.results import run_results, shown_dips
from jobs.runs.tables import curve_table, result_table, sample_table
from jobs.timeline.bike_states import bike_states, run_sides
from workshop.access.roles import StaffRequest, roles, staff
from workshop.csv_files import csv_text
from workshop.models import Role, StaleRecord
from workshop.records.responses import csv_response, flash_saved, open_or_404, post_data

KINDS = {
    "sweep": "sweeps",
    "held": "held throttle",
    "idle": "idle",
    "coast": "coast-downs",
    "other": "other",
    "all": "all",
}


def find_run(pk: int) -> Run:
    return get_object_or_404(
        Run.objects.select_related(
            "job__bike__engine_spec",
            "tune_revision",
            "made_by",
            "file_layout",
            "weather_station",
            "lambda_probe",
        ),
        pk=pk,
    )


@dataclass(frozen=True)
class RunQuery:
    """Selection of runs, by kind or one by one, and how they are drawn."""

    options: OverlayOptions
    kind: str
    chosen: frozenset[int]

    def includes(self, run: Run) -> bool:
        if self.chosen:
            return run.pk in self.chosen
        return self.kind in ("all", run.kind)


def parse_query(query: QueryDict, quantities: Iterable[str], kinds: Iterable[str]) -> RunQuery:
    """Parse the query string; use the default for every missing or invalid value."""

    def choose(name: str, known: Iterable[str], default: str) -> str:
        value = str(query.get(name, ""))
        return value if value in set(known) else default

    kinds = list(kinds)
    default_kind = next((kind for kind in KINDS if kind in kinds), "all")
    options = OverlayOptions(
        quantity=choose("show", quantities, POWER_AND_TORQUE),
        against=choose("against", AGAINST, "engine_speed"),
        corrected=query.get("figures") != "observed",
        band=query.get("repeats") == "band",
        samples=query.get("repeats") == "samples",
    )
    chosen = frozenset(int(pk) for pk in query.getlist("run") if pk.isascii() and pk.isdigit())
    return RunQuery(options, choose("kind", KINDS, default_kind), chosen)


@dataclass(frozen=True)
class JobRuns:
    """Runs of a job in the order they were made, with their names and looks in the overlay."""

    results: JobResults
    runs: list[Run]
    looks: dict[int, Look]

    @property
    def job(self) -> Job:
        return self.results.job

    @property
    def read(self) -> list[Run]:
        return [run for run in self.runs if run.status == Run.Status.READ]

    def name(self, run: Run) -> str:
        """Return a run's place in the job, tune and name or grip, such as 'Run 4, tune 1, 40 % grip'."""
        tune = f", {run.tune_revision.label}" if run.tune_revision else ""
        if run.name:
            return f"Run {self.runs.index(run) + 1}{tune}, {run}"
        grip_pct = self.results.get(run_results)[run.pk].grip_pct
        grip = "" if grip_pct is None else f", {format_number(grip_pct)} % grip"
        return f"Run {self.runs.index(run) + 1}{tune}{grip}"

    def short_name(self, run: Run) -> str:
        """Return a run's place in the job and the name given to it."""
        return f"Run {self.runs.index(run) + 1}{f', {run}' if run.name else ''}"

    def list_name(self, run: Run) -> str:
        """Return the name of any run, with why it does not count."""
        named = self.name(run) if run.status == Run.Status.READ else f"{run}: {run.get_status_display()}"
        return f"{named} (excluded: {run.set_aside_reason})" if run.set_aside else named

    def select(self, query: RunQuery) -> list[OverlayRun]:
        """Return the selected runs with their results, held ones in the order of their grip."""
        by_run = self.results.get(run_results)
        chosen = [by_run[run.pk] for run in self.read if query.includes(run)]
        chosen.sort(key=lambda result: (result.grip_pct is not None, result.grip_pct or 0.0))
        grips = {result.run.pk: round(result.grip_pct) for result in chosen if result.grip_pct is not None}
        hues = {grip: place for place, grip in enumerate(sorted(set(grips.values())), 1)}
        return [
            OverlayRun(
                result,
                self.name(result.run),
                look := self.looks[result.run.pk],
                short=self.short_name(result.run),
                group=group_name(look, grips.get(result.run.pk)),
                hue=hues.get(grips.get(result.run.pk, -1), 0),
            )
            for result in chosen
        ]


def group_name(look: Look, grip_pct: int | None) -> str:
    """Return the label that repeats share in the chart: before, after, or the grip that was held."""
    side = look if look in ("before", "after") else ""
    return ", ".join(filter(None, ["" if grip_pct is None else f"{grip_pct} % grip", side]))


def list_job_runs(results: JobResults) -> JobRuns:
    sides = run_sides(results.get(bike_states))
    runs = results.rows(Run)
    looks: dict[int, Look] = {
        run.pk: "aside" if run.set_aside else side.value if (side := sides.get(run.pk)) else "other"  # type: ignore[misc]  # the two values of Group are looks
        for run in runs
    }
    return JobRuns(results, runs, looks)


@staff
@require_safe
def runs(request: StaffRequest, number: str) -> HttpResponse:
    job_runs = list_job_runs(get_results_or_404(number, request.shop))
    read = job_runs.read
    quantities = overlay_quantities(read)
    query = parse_query(request.GET, quantities, {run.kind for run in read if not run.set_aside})
    drawn = job_runs.select(query)
    counts = Counter(run.kind for run in read)
    context = {
        "job": job_runs.job,
        "read": read,
        "groups": state_groups(
            drawn, job_runs.results.get(bike_states), request.shop, query.options.corrected
        ),
        "counts": [
            (kind, words, counts[kind] if kind != "all" else len(read))
            for kind, words in KINDS.items()
            if kind == "all" or counts[kind]
        ],
        "choices": view_choices(query, request.GET),
        "comparisons": job_runs.results.rows(Comparison),
        "waiting": [run for run in job_runs.runs if run.status != Run.Status.READ],
        "drawn": drawn,
        "overlay": overlay(drawn, request.shop, query.options) if drawn else None,
        "query": query,
        "quantities": quantities,
        "can_write": request.user.holds(Role.TUNER),
    }
    return render(request, "jobs/runs/list.html", context)


@dataclass(frozen=True)
class ViewChoice:
    """One of a few ways to draw the runs: a parameter of the address, and a link for each of its values."""

    label: str
    parameter: str
    chosen: str
    links: list[tuple[str, str, str]]  # value, text, query string


CORRECTION = {"corrected": "corrected", "observed": "uncorrected"}
REPEATS = {"lines": "each run", "band": "mean with 95 % band", "samples": "with samples"}


def view_choices(query: RunQuery, params: QueryDict) -> list[ViewChoice]:
    options = query.options
    repeats = "band" if options.band else "samples" if options.samples else "lines"
    corrected = "corrected" if options.corrected else "observed"

    def choice(label: str, parameter: str, chosen: str, values: dict[str, str]) -> ViewChoice:
        links = []
        for value, text in values.items():
            changed = params.copy()
            changed[parameter] = value
            links.append((value, text, f"?{changed.urlencode()}"))
        return ViewChoice(label, parameter, chosen, links)

    return [
        choice("Against", "against", options.against, AGAINST),
        choice("Correction", "figures", corrected, CORRECTION),
        choice("Repeats", "repeats", repeats, REPEATS),
    ]


@staff
@require_safe
def runs_csv(request: StaffRequest, number: str) -> HttpResponse:
    """Return the curves of the selected runs as CSV, or their values with ``of=figures``."""
    job_runs = list_job_runs(get_results_or_404(number, request.shop))
    read = job_runs.read
    query = parse_query(
        request.GET, overlay_quantities(read), {run.kind for run in read if not run.set_aside}
    )
    drawn = job_runs.select(query)
    is_summary = request.GET.get("of") == "figures"
    header, rows = (result_table if is_summary else curve_table)(drawn, request.shop)
    name = "figures" if is_summary else "curves"
    return spreadsheet_response(csv_text(header, rows), f"{job_runs.job.number}-{name}.csv")


def spreadsheet_response(text: str, name: str) -> HttpResponse:
    # Spreadsheets recognise UTF-8 by the byte-order mark.
    return csv_response(f"\ufeff{text}", name)


@staff
@require_safe
def run(request: StaffRequest, pk: int) -> HttpResponse:
    return render_run(request, find_run(pk))


def render_run(request: StaffRequest, run: Run, sweep_form: SweepForm | None = None) -> HttpResponse:
    result = load_job_results(run.job, request.shop).get(run_results)[run.pk]
    measured_with = {"air": run.weather_station, "lambda": run.lambda_probe}
    run = result.run
    drawn = [OverlayRun(result, str(run)[-40:], "aside" if run.set_aside else "after")]
    report: dict[str, Any] = run.report or {}
    samples = request.GET.get("samples") == "on"
    context = {
        "run": run,
        "job": run.job,
        "result": result,
        "overlay": overlay(drawn, request.shop, OverlayOptions(samples=samples)) if result.curve else None,
        "samples": samples,
        "peak_range_rpm": PEAK_RANGES_RPM[1],
        "shown": shown_dips(result),
        "sweep_chart": sweep_chart(result, request.shop),
        "ratio": result.ratio,
        "ratio_chart": ratio_chart(result),
        "sweep_form": sweep_form or SweepForm(run=run, initial=current_sweep_limits(result.sweep)),
        "set_by_hand": run.sweep_start is not None or run.sweep_stop is not None,
        "sentences": report.get("sentences", ()),
        "questions": report.get("questions", ()),
        "columns": [(column, describe_column(column["stored_as"])) for column in report.get("columns", ())],
        "file_air": describe_air(air, request.shop) if (air := offered_air(run)) else "",
        "measured_with": measured_with,
        "can_write": request.user.holds(Role.TUNER),
    }
    status = 422 if sweep_form else 200
    return render(request, "jobs/runs/detail.html", context, status=status)


def describe_column(stored_as: str | None) -> str:
    if stored_as is None:
        return "not used"
    return CHANNELS[stored_as].label if stored_as in CHANNELS else f"{stored_as} (its own name)"


def current_sweep_limits(sweep: Sweep | None) -> dict[str, Any]:
    return {"first": sweep.start + 1, "last": sweep.stop} if sweep else {}


@roles(Role.TUNER)
@require_POST
def run_sweep(request: StaffRequest, pk: int) -> HttpResponse:
    """Set the limits of the sweep by hand, or find them again."""
    run = find_run(pk)
    form = SweepForm(request.POST, run=run)
    if not form.is_valid():
        return render_run(request, run, form)
    run.sweep_start, run.sweep_stop = form.limits
    return save_and_show(
        request, run, "Limits of the sweep saved." if run.sweep_stop else "Sweep found automatically."
    )


def save_and_show(request: StaffRequest, run: Run, sentence: str) -> HttpResponse:
    try:
        run.save()
        messages.success(request, sentence)
    except StaleRecord:
        messages.warning(request, "Someone else saved this run in the meantime. Check it, then try again.")
    return redirect("run", run.pk)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def run_edit(request: StaffRequest, pk: int) -> HttpResponse:
    run = find_run(pk)
    form = RunForm(post_data(request), instance=run, job=run.job, shop=request.shop)
    draft = f"run-{pk}"
    if form.is_valid() and form.save_unless_stale():
        flash_saved(request, f"{run} saved.", draft)
        return redirect("run", pk)
    return form_page(request, form, job=run.job, title=f"Edit {run}", section="runs", draft=draft)


@roles(Role.TUNER)
@require_http_methods(["GET", "POST"])
def run_exclude(request: StaffRequest, pk: int) -> HttpResponse:
    run = find_run(pk)
    form = ExcludeForm(post_data(request), instance=run)
    if form.is_valid() and form.save_unless_stale():
        messages.success(request, f"{run} excluded. It stays on the page. No calculation uses it.")
        return redirect("run", pk)
    note = "An excluded run stays on the page with its reason. No calculation uses it."
    return form_page(request, form, job=run.job, title=f"Exclude {run}", section="runs", note=note)


@roles(Role.TUNER)
@require_POST
def run_include(request: StaffRequest, pk: int) -> HttpResponse:
    run = find_run(pk)
    run.set_aside, run.set_aside_reason = False, ""
    return save_and_show(request, run, f"{run} included again.")


@staff
@require_safe
def run_file(request: StaffRequest, pk: int) -> HttpResponseBase:
    """Download the original file, never shown inline."""
    run = get_object_or_404(Run, pk=pk)
    original = open_or_404(run.original, "The original file of this run is missing.")
    return FileResponse(
        original, as_attachment=True, filename=run.original_name, content_type="application/octet-stream"
    )


@staff
@require_safe
def run_csv(request: StaffRequest, pk: int) -> HttpResponse:
    """Return every sample of a run as CSV."""
    run = find_run(pk)
    result = load_job_results(run.job, request.shop).get(run_results)[run.pk]
    try:
        header, rows = sample_table(result, request.shop)
    except ValueError as problem:
        raise Http404(str(problem)) from problem
    return spreadsheet_response(csv_text(header, rows), f"{run.job.number}-run-{run.pk}-samples.csv")


@roles(Role.TUNER)
@require_POST
def run_remove(request: StaffRequest, pk: int) -> HttpResponse:
    run = find_run(pk)
    try:
        remove_run(run)
    except ProtectedError:
        messages.warning(request, f"{run} is used in a comparison or a mixture study and cannot be removed.")
        return redirect("run", pk)
    messages.success(request, f"{run} removed.")
    return redirect("runs", run.job)
