"""Measuring valve clearances: the entry form, and a set as measured."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from jobs.calc.units.length_format import LengthFormatter
from jobs.clearances.before_after import clearances_before_after, describe_set, prediction_mismatch
from jobs.clearances.before_after_chart import build_chart
from jobs.clearances.engine_heat import describe_heat, run_times
from jobs.clearances.forms import ClearanceSetForm
from jobs.clearances.recording import describe_saved
from jobs.clearances.shim_plan import ShimNeeded, earlier_plan_rows, shim_needed, turns_at
from jobs.clearances.trend import clearance_history
from jobs.clearances.trend_chart import build_trend_chart, page_chart
from jobs.clearances.valve_gaps import JudgedReading, ValveGap, orphaned_readings, readings_by_gap
from jobs.job.lookup import get_job_or_404
from jobs.job.results import load_job_results
from jobs.models import ClearanceSet, Job, ShimPlan, ShimPlanRow
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import EngineSpec, Role
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once
from workshop.units.display import length_formatter


def find_set(pk: int) -> ClearanceSet:
    return get_object_or_404(
        ClearanceSet.objects.select_related(
            "job__bike__engine_spec", "measured_by", "shim_plan", "feeler_gauge", "micrometer"
        ),
        pk=pk,
    )


def find_spec(measured: ClearanceSet) -> EngineSpec | None:
    return measured.job.bike.engine_spec


def find_plan(measured: ClearanceSet) -> ShimPlan | None:
    return getattr(measured, "shim_plan", None)


def render_without_engine(request: StaffRequest, job: Job, when: str) -> HttpResponse:
    context = {"job": job, "when": ClearanceSet.When(when).label}
    return render(request, "jobs/clearances/without_engine.html", context)


def save_entry(request: StaffRequest, measured: ClearanceSet, spec: EngineSpec, draft: str) -> HttpResponse:
    is_left = measured.when == ClearanceSet.When.AS_LEFT
    planned = earlier_plan_rows(measured) if is_left else {}
    form = ClearanceSetForm(
        post_data(request), instance=measured, spec=spec, shop=request.shop, planned=planned
    )
    if form.is_bound and form.is_valid() and form.save_unless_stale():
        flash_saved(request, describe_saved(measured, form.entries), draft)
        return redirect("clearances", measured.pk)
    context = {
        "job": measured.job,
        "spec": spec,
        "when": measured.get_when_display(),
        "as_left": is_left,
        "draft": draft,
        "plan": find_plan(measured) if measured.pk else None,
    }
    return render_form(request, "jobs/clearances/form.html", form, **context)


@roles(Role.MECHANIC)
@require_http_methods(["GET", "POST"])
@submit_once
def clearances_new(request: StaffRequest, number: str, when: str) -> HttpResponse:
    if when not in ClearanceSet.When.values:
        raise Http404("Clearances are measured as found or as left.")
    job = get_job_or_404(number)
    if job.bike.engine_spec is None:
        return render_without_engine(request, job, when)
    measured = ClearanceSet(job=job, when=when, measured_by=request.user)
    return save_entry(request, measured, job.bike.engine_spec, f"clearances-{number}-{when}")


@roles(Role.MECHANIC)
@require_http_methods(["GET", "POST"])
def clearances_edit(request: StaffRequest, pk: int) -> HttpResponse:
    measured = find_set(pk)
    spec = find_spec(measured)
    if spec is None:
        return render_without_engine(request, measured.job, measured.when)
    return save_entry(request, measured, spec, f"clearances-set-{pk}")


@dataclass(frozen=True)
class SetRow:
    """A line in the table of a set."""

    valve_gap: ValveGap
    measured: JudgedReading | None
    shim: ShimNeeded | None
    turns_in: float | None
    predicted: ShimPlanRow | None
    prediction_mismatch: str = ""
    hints: Sequence[str] = ()  # how to make this row more certain

    @property
    def predicted_mm(self) -> Decimal | None:
        return self.predicted.predicted_mm if self.predicted else None

    @property
    def degrees(self) -> int:
        return round(self.turns_out * 360)

    @property
    def turns_out(self) -> float:
        return abs(self.turns_in or 0.0)


def set_row(
    spec: EngineSpec,
    valve_gap: ValveGap,
    measured: JudgedReading | None,
    predicted: ShimPlanRow | None,
    lengths: LengthFormatter,
) -> SetRow:
    if measured is None:
        return SetRow(valve_gap, None, None, None, predicted)
    shim = shim_needed(spec, measured) if spec.uses_shims else None
    turns_in = None if spec.uses_shims else turns_at(spec, measured)
    mismatch = prediction_mismatch(measured, predicted.predicted_mm if predicted else None, lengths)
    hints = (measured.hint(lengths), shim.marking_warning if shim else "")
    return SetRow(valve_gap, measured, shim, turns_in, predicted, mismatch, [hint for hint in hints if hint])


@staff
@require_safe
def clearances(request: StaffRequest, pk: int) -> HttpResponse:
    measured = find_set(pk)
    spec, rows = find_spec(measured), list(measured.readings.all())
    is_left = measured.when == ClearanceSet.When.AS_LEFT
    planned = earlier_plan_rows(measured) if is_left else {}
    table: list[SetRow] = []
    if spec:
        by_place = readings_by_gap(spec, rows)
        lengths = length_formatter(request.shop.length_unit)
        table = [
            set_row(spec, valve_gap, found, planned.get(valve_gap.key), lengths)
            for valve_gap, found in by_place
        ]
    results = load_job_results(measured.job, request.shop)
    history = results.get(clearances_before_after)
    readings = [row.measured for row in table if row.measured]
    found = history.found if history and is_left else []
    services = clearance_history(measured.job.bike, request.shop)
    trend = build_trend_chart(services, request.shop) if services.is_repeated else None
    context = {
        "answer": describe_set(readings, len(table), measured.get_when_display(), found),
        "history": history,
        "services": services,
        "trend_chart": trend,
        "trend_chart_data": page_chart(trend) if trend else None,
        "measured": measured,
        "job": measured.job,
        "spec": spec,
        "rows": table,
        "no_place": orphaned_readings(spec, rows) if spec else rows,
        "surprises": [row for row in table if row.prediction_mismatch],
        "has_predictions": any(row.predicted for row in table),
        "picture": build_chart(history, request.shop) if history else None,
        "plan": find_plan(measured),
        "heat": describe_heat(measured, results.get(run_times), ZoneInfo(request.shop.time_zone)),
        "can_write": request.user.holds(Role.MECHANIC),
    }
    return render(request, "jobs/clearances/detail.html", context)
