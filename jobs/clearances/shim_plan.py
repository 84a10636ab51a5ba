"""Shim plans between storage and arithmetic: need, stock, acceptance and undoing."""

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from jobs.calc.clearances.readings import Judgement, Millimetres, Reading, compute_turns_in, to_nanometres
from jobs.calc.clearances.shim_plan import Origin, PlanCandidate, PlanRow, Policy, plan_shims
from jobs.calc.clearances.shims import (
    AvailableSizes,
    ShimMarking,
    ShimValve,
    compute_shim_mm,
    nearest_available_mm,
    parse_marking,
    predict_clearance_mm,
)
from jobs.calc.units.length_format import IN_MM, LengthFormatter, format_mm
from jobs.clearances.valve_gaps import (
    JudgedReading,
    Key,
    ValveGap,
    gap_key,
    readings_by_gap,
    to_reading,
    valve_gaps,
)
from jobs.job.sentences import counted
from jobs.models import ClearanceReading, ClearanceSet, ShimPlan, ShimPlanRow
from jobs.models.clearances import ORIGIN_LABELS, POLICY_LABELS
from workshop.models import ClearanceKind, EngineSpec, ShimStock, StaffMember, StaleRecord
from workshop.stock.add_shims import add_shims

STOCK_CHANGED = (
    "Stock, readings or the engine spec have changed since this plan was shown. Nothing was taken from "
    "stock. Check the new plans below and accept again."
)


class PlanRefused(ValueError):
    """A plan that cannot be accepted; the sentence says why, and stock is unchanged."""


def exact(thickness_mm: float) -> Decimal:
    """Round a computed length to storage precision."""
    return Decimal(f"{thickness_mm:.5f}")


def shim_diameter(spec: EngineSpec, gap: str) -> Decimal | None:
    return spec.closing_shim_diameter_mm if gap == ClearanceKind.CLOSING else spec.shim_diameter_mm


def available_sizes(spec: EngineSpec, gap: str) -> AvailableSizes | None:
    """Return the sizes on sale, or None if the spec does not state them in full."""
    prefix = "closing_shim" if gap == ClearanceKind.CLOSING else "shim"
    thin, thick, step = (getattr(spec, f"{prefix}_{end}_mm") for end in ("thinnest", "thickest", "step"))
    if not (thin and thick and step) or thin > thick:
        return None
    return AvailableSizes(thin, thick, step)


def available_stock(diameter_mm: Decimal | None, *, lock: bool = False) -> list[ShimStock]:
    """Return the shims of this diameter in stock."""
    stock = ShimStock.objects.select_for_update() if lock else ShimStock.objects.all()
    return list(stock.filter(diameter_mm=diameter_mm, count__gt=0)) if diameter_mm else []


def shim_valve(measured: JudgedReading, sizes: AvailableSizes | None) -> ShimValve | None:
    """Return a gap as the shim arithmetic takes it, or None if its shim or range is unknown."""
    valve_gap, shim = measured.valve_gap, measured.row.shim_mm
    is_measured = measured.row.shim_measured_mm is not None
    if shim is None or valve_gap.low_mm is None or valve_gap.high_mm is None:
        return None
    return ShimValve(
        key=valve_gap.slug,
        fitted_mm=shim,
        measured_mm=measured.reading.best_mm,
        low_mm=valve_gap.low_mm,
        high_mm=valve_gap.high_mm,
        target_mm=valve_gap.target_mm,
        label=valve_gap.label,
        camshaft=valve_gap.camshaft,
        half_width_mm=measured.reading.half_width_mm,
        doubt="" if is_measured else describe_doubt(shim, sizes),
    )


# What one valve needs, by itself


@dataclass(frozen=True)
class ShimNeeded:
    """The shim that brings one valve nearest its target, whatever is in stock."""

    thickness_mm: float
    predicted_mm: float
    made: bool  # False without a series or without an available size in range
    stays: bool
    marking_warning: str  # set if the marking of the fitted shim is not an available size


def shim_needed(spec: EngineSpec, measured: JudgedReading) -> ShimNeeded | None:
    """Return the shim needed, or None if the fitted shim or the range is unknown."""
    sizes = available_sizes(spec, measured.valve_gap.gap)
    valve = shim_valve(measured, sizes)
    if valve is None:
        return None
    is_measured = measured.row.shim_measured_mm is not None
    warning = "" if is_measured else read_marking(valve.fitted_mm, sizes).warning or ""
    deviation_nm = valve.deviation_nm(to_nanometres(valve.fitted_mm))
    if valve.is_certainly_in_range and deviation_nm <= to_nanometres(spec.target_tolerance_mm):
        fitted, clearance = float(valve.fitted_mm), float(valve.measured_mm)
        return ShimNeeded(fitted, clearance, made=True, stays=True, marking_warning=warning)
    made = nearest_available_mm(valve, sizes) if sizes else None
    wanted = measured.valve_gap.effective_target_mm
    needed = compute_shim_mm(valve.fitted_mm, valve.measured_mm, wanted) if made is None else made
    predicted = predict_clearance_mm(valve.fitted_mm, valve.measured_mm, needed)
    return ShimNeeded(needed, predicted, made is not None, exact(needed) == valve.fitted_mm, warning)


def read_marking(marked_mm: Millimetres, sizes: AvailableSizes | None) -> ShimMarking:
    return parse_marking(f"{marked_mm:.3f}", sizes)


def describe_doubt(marked_mm: Decimal, sizes: AvailableSizes | None) -> str:
    """Describe what thickness a marked shim may have, or return '' if its marking leaves no doubt."""
    marking = read_marking(marked_mm, sizes)
    if not marking.warning:
        return ""
    if len(marking.could_be_mm) == 1:
        return f"is marked {format_mm(marked_mm)} mm, which is not an available size"
    return f"may be {' or '.join(format_mm(size) for size in marking.could_be_mm)} mm"


def turns_at(spec: EngineSpec, measured: JudgedReading) -> float | None:
    """Return how far to turn a screw, or None if the pitch or the range is unknown."""
    if not spec.screw_pitch_mm or not measured.valve_gap.has_range:
        return None
    return compute_turns_in(
        measured.reading.best_mm, measured.valve_gap.effective_target_mm, spec.screw_pitch_mm
    )


# The plan for the whole engine


@dataclass(frozen=True)
class ShimSwap:
    """One shim of a plan as the drawing shows it; the same before and after acceptance."""

    valve_gap: ValveGap
    out_mm: float | Decimal
    in_mm: float | Decimal | None
    origin: Origin
    source: str
    predicted: Reading | None

    @property
    def moves(self) -> bool:
        return self.origin is not Origin.STAYS

    @property
    def judgement(self) -> Judgement | None:
        return self.valve_gap.judge(self.predicted) if self.predicted else None


def predict_reading(predicted_mm: Millimetres | None, half_width_mm: Millimetres = 0.0) -> Reading | None:
    """Return a predicted clearance, as wide as the blades that it was measured between."""
    if predicted_mm is None:
        return None
    if not half_width_mm:
        return Reading(predicted_mm)
    middle, half = float(predicted_mm), float(half_width_mm)
    return Reading(None, max(0.0, middle - half), middle + half)


@dataclass(frozen=True)
class PlanLine:
    valve_gap: ValveGap
    row: PlanRow
    giver: ValveGap | None  # the place whose shim goes in here

    @property
    def label(self) -> str:
        return self.valve_gap.label

    @property
    def moves(self) -> bool:
        return self.row.origin is not Origin.STAYS

    @property
    def predicted(self) -> Reading | None:
        return predict_reading(self.row.predicted_mm, self.row.valve.half_width_mm)

    @property
    def swap(self) -> ShimSwap:
        row = self.row
        source = (
            f"from {self.giver.label}" if self.giver and self.moves else ORIGIN_LABELS.get(row.origin, "")
        )
        return ShimSwap(self.valve_gap, row.out_mm, row.in_mm, row.origin, source, self.predicted)

    @property
    def fingerprint(self) -> str:
        return (
            f"{self.valve_gap.slug} {self.row.out_mm} {self.row.in_mm} {self.row.origin} {self.row.from_key}"
        )


@dataclass(frozen=True)
class EngineShimPlan:
    """One policy's plan for all shims of an engine; opening and closing shims are planned separately."""

    policy: Policy
    lines: list[PlanLine]
    kinds: dict[ClearanceKind, PlanCandidate]

    @property
    def label(self) -> str:
        return POLICY_LABELS[self.policy]

    @property
    def impossible(self) -> list[PlanLine]:
        return [line for line in self.lines if line.row.origin is Origin.NONE]

    @property
    def to_buy(self) -> list[tuple[ClearanceKind, float, int]]:
        """List (opening or closing, thickness in mm, count)."""
        return [
            (gap, size, plan.to_buy_mm[size])
            for gap, plan in self.kinds.items()
            for size in sorted(plan.to_buy_mm)
        ]

    @property
    def shims_to_buy(self) -> int:
        return sum(count for _, _, count in self.to_buy)

    @property
    def shims_moved(self) -> int:
        return sum(line.moves for line in self.lines)

    @property
    def answer(self) -> str:
        """Return the plan in one sentence, such as '8 shims to change: 6 from stock, 2 to buy'."""
        if self.impossible:
            return f"No shim fits {counted(len(self.impossible), 'valve')}"
        return describe_changes(line.row.origin for line in self.lines)

    @property
    def camshafts_lifted(self) -> list[str]:
        return list(dict.fromkeys(name for plan in self.kinds.values() for name in plan.camshafts_lifted))

    @property
    def sum_abs_deviation_mm(self) -> float:
        return sum(plan.sum_abs_deviation_mm for plan in self.kinds.values())

    @property
    def fingerprint(self) -> str:
        """Hash the plan, so that the plan accepted is the plan shown."""
        return hashlib.sha256("\n".join(line.fingerprint for line in self.lines).encode()).hexdigest()[:16]


def describe_changes(origins: Iterable[str]) -> str:
    """Say how many shims are changed, and where the new ones come from."""
    counts = Counter(origins)
    parts = {
        Origin.VALVE: "moved from another valve",
        Origin.STOCK: "from stock",
        Origin.BUY: "to buy",
    }
    changed = sum(counts[origin] for origin in parts)
    if not changed:
        return "No shim to change"
    sources = ", ".join(f"{counts[origin]} {words}" for origin, words in parts.items() if counts[origin])
    return f"{counted(changed, 'shim')} to change: {sources}"


@dataclass(frozen=True)
class PlanInputs:
    """Inputs of a shim plan, and the gaps it has to skip."""

    spec: EngineSpec
    valves: dict[ClearanceKind, list[ShimValve]]
    valve_gaps: dict[str, ValveGap]  # by slug
    not_measured: list[ValveGap]
    shim_unknown: list[ValveGap]
    no_range: list[ValveGap]
    lengths: LengthFormatter = IN_MM  # for the reasons
    by_marking: list[ValveGap] = field(default_factory=list)  # their shims were not measured
    between_blades: list[ValveGap] = field(default_factory=list)

    @property
    def skipped_gaps(self) -> list[ValveGap]:
        return [*self.not_measured, *self.shim_unknown, *self.no_range]

    @property
    def empty(self) -> bool:
        return not any(self.valves.values())


def collect_plan_inputs(
    spec: EngineSpec, rows: Iterable[ClearanceReading], lengths: LengthFormatter = IN_MM
) -> PlanInputs:
    """Sort the gaps of a set into those that can be planned and those that cannot."""
    basis = PlanInputs(spec, {gap: [] for gap in spec.gaps}, {}, [], [], [], lengths)
    for valve_gap, measured in readings_by_gap(spec, rows):
        basis.valve_gaps[valve_gap.slug] = valve_gap
        sizes = available_sizes(spec, valve_gap.gap)
        valve = shim_valve(measured, sizes) if measured else None
        if valve is not None and measured is not None:
            basis.valves[valve_gap.gap].append(valve)
            if measured.row.shim_measured_mm is None:
                basis.by_marking.append(valve_gap)
            if measured.reading.is_bracket:
                basis.between_blades.append(valve_gap)
        elif measured is None:
            basis.not_measured.append(valve_gap)
        elif measured.row.shim_mm is None:
            basis.shim_unknown.append(valve_gap)
        else:
            basis.no_range.append(valve_gap)
    return basis


def plan_engine(
    basis: PlanInputs, policy: Policy, stock: dict[ClearanceKind, list[ShimStock]]
) -> EngineShimPlan:
    """Plan the shims of an engine by one policy, from readings and stock."""
    spec = basis.spec
    kinds = {
        gap: plan_shims(
            valves,
            {shims.thickness_mm: shims.count for shims in stock[gap]},
            available_sizes(spec, gap),
            policy,
            tolerance_mm=spec.target_tolerance_mm,
            lengths=basis.lengths,
        )
        for gap, valves in basis.valves.items()
    }
    planned = {row.valve.key: row for plan in kinds.values() for row in plan.rows}
    lines = [
        PlanLine(valve_gap, planned[slug], basis.valve_gaps.get(planned[slug].from_key or ""))
        for slug, valve_gap in basis.valve_gaps.items()
        if slug in planned
    ]
    return EngineShimPlan(policy, lines, kinds)


def stock_for(spec: EngineSpec, *, lock: bool = False) -> dict[ClearanceKind, list[ShimStock]]:
    return {gap: available_stock(shim_diameter(spec, gap), lock=lock) for gap in spec.gaps}


def all_plans(basis: PlanInputs) -> list[EngineShimPlan]:
    """Return the plans of all policies, from one reading of the stock."""
    stock = stock_for(basis.spec)
    return [plan_engine(basis, policy, stock) for policy in Policy]


# Accepting a plan


@transaction.atomic
def accept_plan(
    *,
    measured: ClearanceSet,
    spec: EngineSpec,
    policy: Policy,
    fingerprint: str,
    by: StaffMember,
    lengths: LengthFormatter = IN_MM,
) -> ShimPlan:
    """Store the plan that was shown and take its shims from stock.

    Raises
    ------
    PlanRefused
        A plan is accepted already, a valve cannot be brought into range, or what the plan rests on has
        changed since it was shown.
    """
    # Serialise concurrent acceptances, even if no stock row can be locked.
    ClearanceSet.objects.select_for_update().get(pk=measured.pk)
    stock = stock_for(spec, lock=True)
    if ShimPlan.objects.filter(clearance_set=measured).exists():
        raise PlanRefused("A shim plan has already been accepted for these readings.")
    plan = plan_engine(collect_plan_inputs(spec, measured.readings.all(), lengths), policy, stock)
    if plan.impossible:
        raise PlanRefused(
            "This plan cannot be accepted. " + " ".join(line.row.why for line in plan.impossible)
        )
    if not plan.lines or plan.fingerprint != fingerprint:
        raise PlanRefused(STOCK_CHANGED)
    take_from_stock(plan, stock)
    accepted = ShimPlan(clearance_set=measured, policy=policy.value, accepted_by=by)
    accepted.stock_booked_out_at = accepted.accepted_at
    accepted.save()
    for line in plan.lines:
        stored_row(accepted, line, shim_diameter(spec, line.valve_gap.gap)).save()
    return accepted


def take_from_stock(plan: EngineShimPlan, stock: dict[ClearanceKind, list[ShimStock]]) -> None:
    """Take the plan's shims from stock."""
    for gap, kind in plan.kinds.items():
        taken = {exact(size): count for size, count in kind.from_stock_mm.items()}
        for shims in stock[gap]:
            count = taken.get(shims.thickness_mm, 0)
            if not count:
                continue
            shims.count -= count
            try:
                shims.save()
            except StaleRecord as problem:
                raise PlanRefused(STOCK_CHANGED) from problem


def stored_row(accepted: ShimPlan, line: PlanLine, diameter_mm: Decimal | None) -> ShimPlanRow:
    row, valve = line.row, line.valve_gap.valve
    if row.in_mm is None or row.predicted_mm is None:
        raise PlanRefused(row.why)
    return ShimPlanRow(
        plan=accepted,
        cylinder=valve.cylinder,
        side=valve.side,
        position=valve.position,
        gap=line.valve_gap.gap,
        out_mm=exact(row.out_mm),
        in_mm=exact(row.in_mm),
        origin=row.origin.value,
        origin_detail=line.giver.label if line.giver else "",
        predicted_mm=exact(row.predicted_mm),
        why=row.why[: ShimPlanRow._meta.get_field("why").max_length],
        shim_diameter_mm=diameter_mm,
    )


# Undoing a plan, or adding the shims it removes to stock


def locked_plan(measured: ClearanceSet) -> ShimPlan:
    """Return the accepted plan of a set, locked against concurrent changes."""
    plan = ShimPlan.objects.select_for_update().filter(clearance_set=measured).first()
    if plan is None:
        raise PlanRefused("The accepted plan no longer exists. Someone has undone it.")
    return plan


def undo_blocker(plan: ShimPlan) -> str:
    """Return evidence that a plan has been carried out, as a sentence, or ""."""
    if plan.left_over_in_drawer_at:
        return "This plan cannot be undone: its removed shims are already in stock."
    later = ClearanceSet.objects.filter(
        job=plan.clearance_set.job_id, when=ClearanceSet.When.AS_LEFT, created_at__gte=plan.created_at
    )
    if later.exists():
        return "This plan cannot be undone: clearances have been measured as left since."
    return ""


@transaction.atomic
def undo_plan(*, measured: ClearanceSet) -> Counter[Decimal]:
    """Undo an accepted plan and return its shims to stock.

    Returns
    -------
    Counter
        The shims returned, by thickness in mm.

    Raises
    ------
    PlanRefused
        The plan no longer exists, or it has been carried out.
    """
    plan = locked_plan(measured)
    if carried_out := undo_blocker(plan):
        raise PlanRefused(carried_out)
    back = [row for row in plan.rows.all() if row.origin == Origin.STOCK]
    add_to_stock(Counter((row_diameter(row, measured), row.in_mm) for row in back))
    plan.delete()
    return Counter(row.in_mm for row in back)


@transaction.atomic
def add_removed_to_stock(*, measured: ClearanceSet) -> int:
    """Add the removed shims that are not reused to stock; return how many.

    Raises
    ------
    PlanRefused
        The plan no longer exists, they are in stock already, or their diameter is unknown.
    """
    plan = locked_plan(measured)
    if plan.left_over_in_drawer_at:
        raise PlanRefused("The removed shims are already in stock.")
    rows = list(plan.rows.all())
    diameters = {row.gap: row_diameter(row, measured) for row in rows}
    shims: Counter[tuple[Decimal, Decimal]] = Counter()
    for gap, size, count in removed_shims([AcceptedLine("", row) for row in rows]):
        shims[diameters[gap], size] += count
    add_to_stock(shims)
    plan.left_over_in_drawer_at = timezone.now()
    plan.save()
    return shims.total()


def add_to_stock(shims: Counter[tuple[Decimal, Decimal]]) -> None:
    """Add counts by diameter and thickness, in mm, to stock."""
    for (diameter_mm, thickness_mm), count in shims.items():
        add_shims(diameter_mm=diameter_mm, thickness_mm=thickness_mm, count=count)


def row_diameter(row: ShimPlanRow, measured: ClearanceSet) -> Decimal:
    spec = measured.job.bike.engine_spec
    diameter_mm = row.shim_diameter_mm or (shim_diameter(spec, row.gap) if spec else None)
    if diameter_mm is None:
        raise PlanRefused("The shims cannot be added to stock: the engine spec has no shim diameter.")
    return diameter_mm


# An accepted plan, read again


def plan_notes(row: ShimPlanRow) -> list[str]:
    """Return what the stored reason says beyond the choice: limits, blades and shims in doubt."""
    return row.why.rstrip(".").split(". ")[1:]


@dataclass(frozen=True)
class AcceptedLine:
    label: str
    row: ShimPlanRow

    @property
    def describe_origin(self) -> str:
        return self.row.origin_detail or self.row.get_origin_display()

    @property
    def moves(self) -> bool:
        return self.row.origin != Origin.STAYS

    @property
    def notes(self) -> list[str]:
        return plan_notes(self.row)


def accepted_swaps(spec: EngineSpec, plan: ShimPlan) -> dict[Key, ShimSwap]:
    """Return the shims of an accepted plan by gap, with the widths of the blades that it rests on."""
    gaps = {valve_gap.key: valve_gap for valve_gap in valve_gaps(spec)}
    widths = {gap_key(row): to_reading(row).half_width_mm for row in plan.clearance_set.readings.all()}
    return {
        key: ShimSwap(
            gaps[key],
            row.out_mm,
            row.in_mm,
            Origin(row.origin),
            row.get_origin_display() if not row.origin_detail else f"from {row.origin_detail}",
            predict_reading(row.predicted_mm, widths.get(key, 0.0)),
        )
        for row in plan.rows.all()
        if (key := gap_key(row)) in gaps
    }


def accepted_lines(spec: EngineSpec | None, plan: ShimPlan) -> list[AcceptedLine]:
    """Return the rows of an accepted plan in engine order, each named by its valve."""
    labels = {valve_gap.key: valve_gap.label for valve_gap in (valve_gaps(spec) if spec else [])}
    return [AcceptedLine(labels.get(gap_key(row), str(row)), row) for row in plan.rows.all()]


def count_by_size(lines: Iterable[AcceptedLine], origin: str) -> list[tuple[str, Decimal, int]]:
    """List (opening or closing, thickness in mm, count) of one origin."""
    sizes = Counter((line.row.gap, line.row.in_mm) for line in lines if line.row.origin == origin)
    return [(gap, size, count) for (gap, size), count in sorted(sizes.items())]


def removed_shims(lines: Sequence[AcceptedLine]) -> list[tuple[str, Decimal, int]]:
    """Return shims that come out of the engine and go into no other valve of it."""
    out = Counter((line.row.gap, line.row.out_mm) for line in lines if line.moves)
    out.subtract((line.row.gap, line.row.in_mm) for line in lines if line.row.origin == Origin.VALVE)
    return [(gap, size, count) for (gap, size), count in sorted((+out).items())]


def earlier_plan_rows(measured: ClearanceSet) -> dict[Key, ShimPlanRow]:
    """Return for each gap the row of the last plan accepted on this job before this set."""
    rows = ShimPlanRow.objects.filter(
        plan__clearance_set__job=measured.job_id,
        plan__clearance_set__measured_at__lte=measured.measured_at,
    )
    if measured.pk:
        rows = rows.exclude(plan__clearance_set=measured)
    return {gap_key(row): row for row in rows.order_by("plan__accepted_at", "plan_id")}
