"""The shim plan of a clearance set: policies side by side, the accepted one and its worksheet."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from jobs.calc.clearances.shim_plan import Origin, Policy
from jobs.calc.units.length_format import format_mm
from jobs.clearances.engine_map import engine_view
from jobs.clearances.shim_plan import (
    PlanRefused,
    accept_plan,
    accepted_lines,
    accepted_swaps,
    add_removed_to_stock,
    all_plans,
    collect_plan_inputs,
    count_by_size,
    describe_changes,
    removed_shims,
    shim_diameter,
    undo_blocker,
    undo_plan,
)
from jobs.clearances.views import find_plan, find_set, find_spec, render_without_engine
from jobs.models import ClearanceSet, ShimPlan
from jobs.models.clearances import POLICY_LABELS
from workshop.access.roles import StaffRequest, roles, staff
from workshop.models import ClearanceKind, EngineSpec, Role, ShopProfile
from workshop.records.submit_once import submit_once
from workshop.units.display import length_formatter

NO_SHIMS = (
    "This engine has screw adjusters, so there is no shim plan. The turns are shown next to each valve."
)


def render_plans(
    request: StaffRequest, measured: ClearanceSet, spec: EngineSpec, refusal: str = "", status: int = 200
) -> HttpResponse:
    basis = collect_plan_inputs(spec, measured.readings.all(), length_formatter(request.shop.length_unit))
    plans = [] if basis.empty else all_plans(basis)
    chosen = request.POST.get("policy") or request.GET.get("plan", "")
    plan = next((plan for plan in plans if plan.policy.value == chosen), plans[0] if plans else None)
    swaps = {line.valve_gap.key: line.swap for line in plan.lines} if plan else {}
    to_measure = [line.giver for line in plan.lines if line.giver in basis.by_marking] if plan else []
    context = {
        "measured": measured,
        "job": measured.job,
        "spec": spec,
        "basis": basis,
        "plans": plans,
        "plan": plan,
        "engine": engine_view(spec, request.shop, lambda valve_gap: swaps.get(valve_gap.key)),
        "to_measure": to_measure,
        "diameters": [(gap.label, shim_diameter(spec, gap)) for gap in spec.gaps],
        "refusal": refusal,
        "can_write": request.user.holds(Role.MECHANIC),
    }
    return render(request, "jobs/clearances/shim_plan.html", context, status=status)


def accepted_context(measured: ClearanceSet, plan: ShimPlan, shop: ShopProfile) -> dict[str, object]:
    spec = find_spec(measured)
    lines = accepted_lines(spec, plan)
    swaps = accepted_swaps(spec, plan) if spec else {}
    return {
        "answer": describe_changes(line.row.origin for line in lines),
        "engine": engine_view(spec, shop, lambda gap: swaps.get(gap.key)) if spec else None,
        "measured": measured,
        "job": measured.job,
        "spec": spec,
        "plan": plan,
        "lines": lines,
        "from_stock": count_by_size(lines, Origin.STOCK),
        "to_buy": count_by_size(lines, Origin.BUY),
        "removed": removed_shims(lines),
        "two_kinds": any(line.row.gap == ClearanceKind.CLOSING for line in lines),
    }


@staff
@require_safe
def shim_plan(request: StaffRequest, pk: int) -> HttpResponse:
    measured = find_set(pk)
    spec, plan = find_spec(measured), find_plan(measured)
    if plan is not None:
        context = accepted_context(measured, plan, request.shop)
        context["can_write"] = request.user.holds(Role.MECHANIC)
        context["carried_out"] = undo_blocker(plan)
        return render(request, "jobs/clearances/_shim_plan_accepted.html", context)
    if spec is None:
        return render_without_engine(request, measured.job, measured.when)
    if not spec.uses_shims:
        messages.info(request, NO_SHIMS)
        return redirect("clearances", pk)
    return render_plans(request, measured, spec)


@roles(Role.MECHANIC)
@require_POST
@submit_once
def shim_plan_accept(request: StaffRequest, pk: int) -> HttpResponse:
    measured = find_set(pk)
    spec = find_spec(measured)
    if find_plan(measured) is not None or spec is None or not spec.uses_shims:
        messages.warning(request, "Nothing was taken from stock: there is no plan for these readings.")
        return redirect("shim-plan", pk)
    policy = request.POST.get("policy", "")
    if policy not in POLICY_LABELS:
        return render_plans(request, measured, spec, "Choose one of the plans below.", status=422)
    try:
        accept_plan(
            measured=measured,
            spec=spec,
            policy=Policy(policy),
            fingerprint=request.POST.get("fingerprint", ""),
            by=request.user,
            lengths=length_formatter(request.shop.length_unit),
        )
    except PlanRefused as problem:
        return render_plans(request, measured, spec, str(problem), status=422)
    messages.success(request, "Shim plan accepted. Shims taken from stock.")
    return redirect("shim-plan", pk)


@roles(Role.MECHANIC)
@require_POST
def shim_plan_take_back(request: StaffRequest, pk: int) -> HttpResponse:
    measured = find_set(pk)
    try:
        back = undo_plan(measured=measured)
    except PlanRefused as problem:
        messages.warning(request, str(problem))
    else:
        shims = ", ".join(f"{count} × {format_mm(size)} mm" for size, count in sorted(back.items()))
        stock_change = f"back in stock: {shims}" if shims else "it had used no stock"
        messages.success(request, f"Shim plan undone; {stock_change}.")
    return redirect("shim-plan", pk)


@roles(Role.MECHANIC)
@require_POST
def shim_plan_add_removed(request: StaffRequest, pk: int) -> HttpResponse:
    measured = find_set(pk)
    try:
        count = add_removed_to_stock(measured=measured)
    except PlanRefused as problem:
        messages.warning(request, str(problem))
    else:
        messages.success(request, f"{count} removed shim{'' if count == 1 else 's'} added to stock.")
    return redirect("shim-plan", pk)


@staff
@require_safe
def shim_plan_slip(request: StaffRequest, pk: int) -> HttpResponse:
    measured = find_set(pk)
    plan = find_plan(measured)
    if plan is None:
        messages.info(request, "Accept a plan first, then print its shim worksheet.")
        return redirect("shim-plan", pk)
    return render(
        request, "jobs/clearances/shim_worksheet.html", accepted_context(measured, plan, request.shop)
    )
