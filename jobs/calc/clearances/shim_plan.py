"""Shim plan: which shim goes to which valve, from the engine itself, from stock, or bought.

An assignment problem: each valve takes one of the shims at hand that leaves it inside its range, or a
bought one of the available size nearest its target. Costs are whole numbers of nanometres, ordered one aim
before the next, so that equal plans are equal and not a matter of rounding.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from jobs.calc.clearances.readings import NANOMETRES_PER_MM, Millimetres, to_millimetres, to_nanometres
from jobs.calc.clearances.shims import AvailableSizes, ShimValve, nearest_available_nm
from jobs.calc.units.length_format import IN_MM, LengthFormatter, format_mm

# Its sentences are stored in English and translated where they are printed.
BLADES_CANNOT_TELL = "These blades cannot show whether that is in range. Use finer ones"
AT_LIMIT_NM = 5_000  # so near a limit the next wear passes it. Rule of thumb, no published source.


class Policy(StrEnum):
    """Aim of a shim plan once every valve is inside its range; the value is stored."""

    TARGET = "target"  # least sum of |clearance - target|, then fewest shims to buy
    FEWEST_NEW = "fewest_new"  # fewest shims to buy, then least sum
    FEWEST_CAMSHAFTS = "fewest_camshafts"  # leave camshafts in range alone if possible, then TARGET


class Origin(StrEnum):
    """Where the shim of a valve comes from; the value is stored."""

    STAYS = "stays"
    VALVE = "valve"
    STOCK = "stock"
    BUY = "buy"
    NONE = "none"  # no shim at hand or on sale fits


@dataclass(frozen=True)
class PlanRow:
    """The shim that one valve gets.

    Attributes
    ----------
    valve : ShimValve
    origin : Origin
    in_mm, predicted_mm : float or None
        Thickness of the shim and clearance it leaves [mm]; None if nothing fits.
    from_key : str or None
        The valve the shim comes from.
    why : str
        The reason, for people.
    """

    valve: ShimValve
    origin: Origin
    in_mm: float | None
    from_key: str | None
    predicted_mm: float | None
    why: str

    @property
    def out_mm(self) -> float:
        """Thickness of the shim that comes out [mm]."""
        return to_millimetres(to_nanometres(self.valve.fitted_mm))


@dataclass(frozen=True)
class PlanCandidate:
    """Shim plan by one policy; rows in the order of the valves."""

    policy: Policy
    rows: tuple[PlanRow, ...]

    @property
    def impossible(self) -> tuple[PlanRow, ...]:
        """Valves that no shim at hand or on sale brings into range."""
        return tuple(row for row in self.rows if row.origin is Origin.NONE)

    @property
    def to_buy_mm(self) -> Counter[float]:
        """Shims to buy, by thickness [mm]."""
        return self._count_sizes(Origin.BUY)

    @property
    def from_stock_mm(self) -> Counter[float]:
        """Shims taken from stock, by thickness [mm]."""
        return self._count_sizes(Origin.STOCK)

    @property
    def camshafts_lifted(self) -> tuple[str, ...]:
        """Camshafts with a valve whose shim changes, in the order of the valves."""
        moved = (row.valve.camshaft for row in self.rows if row.origin is not Origin.STAYS)
        return tuple(dict.fromkeys(moved))

    @property
    def sum_abs_deviation_mm(self) -> float:
        """Sum of |clearance - target| over the valves that get a shim [mm]."""
        served = (row for row in self.rows if row.in_mm is not None)
        return to_millimetres(sum(row.valve.deviation_nm(to_nanometres(row.in_mm or 0)) for row in served))

    def _count_sizes(self, origin: Origin) -> Counter[float]:
        return Counter(row.in_mm for row in self.rows if row.origin is origin and row.in_mm is not None)


def plan_shims(
    valves: Sequence[ShimValve],
    stock_mm: Mapping[Millimetres, int],
    sizes: AvailableSizes | None,
    policy: Policy,
    *,
    tolerance_mm: Millimetres = 0.0,
    lengths: LengthFormatter = IN_MM,
) -> PlanCandidate:
    """Plan one kind of shim for an engine.

    Opening and closing shims of desmodromic valves do not interchange: plan each kind by itself, with its
    own stock and sizes.

    Parameters
    ----------
    valves : sequence of ShimValve
        Every clearance the shims of this kind set; each key once.
    stock_mm : mapping of float or Decimal to int
        Count of shims in stock of the right diameter, by thickness [mm].
    sizes : AvailableSizes or None
        What can be bought; None if nothing can.
    policy : Policy
        Aim once every valve is inside its range.
    tolerance_mm : float or Decimal
        Largest distance from the target that counts as on it [mm], so that no shim is moved for less.
    lengths : LengthFormatter
        Writes clearances in the reasons; shims are written in mm, in which they are marked.

    Returns
    -------
    PlanCandidate
        The best plan for the policy; among equally good ones the one that moves the fewest shims. A valve
        that nothing fits is named, and the others are planned.

    Raises
    ------
    ValueError
        A valve named twice, or a count below zero.

    Notes
    -----
    Minimises Σ cost[valve, shim] over all assignments of distinct shims to valves, where cost orders: every
    valve in range, then as many as possible with both ends of their bracket, then the aims of the policy,
    then shims left in place, then shims left in stock. Solved exactly [1]_; fewest camshafts by trying every
    set of camshafts that may stay.

    References
    ----------
    .. [1] D. F. Crouse, IEEE Trans. Aerosp. Electron. Syst. 52 (2016), 1679-1696: rectangular assignment,
       as in SciPy's ``linear_sum_assignment``.
    """
    _check_input(valves, stock_mm)

    def plan_without(untouched: set[str]) -> PlanCandidate:
        """Plan with these camshafts left in place."""
        moving = [valve for valve in valves if valve.camshaft not in untouched]
        rows = {valve.key: _untouched_row(valve) for valve in valves if valve.camshaft in untouched}
        problem = _Problem(moving, stock_mm, sizes, policy, to_nanometres(tolerance_mm), lengths)
        columns = problem.solve()
        rows |= {valve.key: problem.row(i, columns[i]) for i, valve in enumerate(moving)}
        return PlanCandidate(policy, tuple(rows[valve.key] for valve in valves))

    if policy is not Policy.FEWEST_CAMSHAFTS:
        return plan_without(set())
    return _lift_fewest(plan_without, _camshafts_in_range(valves))


def _lift_fewest(plan_without: Callable[[set[str]], PlanCandidate], in_range: list[str]) -> PlanCandidate:
    """Leave as many camshafts in place as possible without losing a valve that can be served."""
    plan = plan_without(set(in_range))
    if not plan.impossible or not in_range:
        return plan
    # A camshaft in range comes off only because another one needs its shims.
    unavoidable = len(plan_without(set()).impossible)
    for count in range(len(in_range), 0, -1):
        plans = [plan_without(set(untouched)) for untouched in combinations(in_range, count)]
        sufficient = [plan for plan in plans if len(plan.impossible) == unavoidable]
        if sufficient:
            return min(sufficient, key=lambda plan: (plan.sum_abs_deviation_mm, plan.to_buy_mm.total()))
    return plan_without(set())


def describe_source(origin: Origin, giver: str) -> str:
    """Return where a shim comes from, as the reason for it begins.

    Parameters
    ----------
    origin : Origin
        Any but ``NONE``.
    giver : str
        Name of the valve whose shim it is, for ``VALVE``.

    Returns
    -------
    str
    """
    return {
        Origin.STAYS: "stays in",
        Origin.VALVE: f"from {giver}",
        Origin.STOCK: "from stock",
        Origin.BUY: "to buy",
    }[origin]


def _describe_doubt(shim: str, doubt: str) -> str:
    return f"The shim {shim} {doubt}: measure it" if doubt else ""


def _check_input(valves: Sequence[ShimValve], stock_mm: Mapping[Millimetres, int]) -> None:
    duplicates = [key for key, count in Counter(valve.key for valve in valves).items() if count > 1]
    if duplicates:
        raise ValueError(f"The valve {duplicates[0]} is named twice.")
    for thickness_mm, count in stock_mm.items():
        if count < 0:
            raise ValueError(f"Stock cannot hold {count} shims of {format_mm(thickness_mm)} mm.")


def _camshafts_in_range(valves: Sequence[ShimValve]) -> list[str]:
    """List the camshafts whose valves are all certainly in range."""
    in_range = {valve.camshaft: True for valve in valves}
    for valve in valves:
        in_range[valve.camshaft] &= valve.is_certainly_in_range
    return [camshaft for camshaft, all_valves in in_range.items() if all_valves]


def _untouched_row(valve: ShimValve) -> PlanRow:
    why = f"in range, like all valves of the {valve.camshaft or 'camshaft'}: shim stays"
    return PlanRow(valve, Origin.STAYS, float(valve.fitted_mm), None, float(valve.measured_mm), why)


@dataclass(frozen=True)
class _AvailableShim:
    """One shim at hand; ``from_index`` is the valve it sits in, None for stock."""

    size_nm: int
    from_index: int | None


class _Problem:
    """The assignment of shims to valves as a cost matrix.

    Columns: the shims at hand; one bought shim for each valve; one 'nothing' for each valve, dearer than
    anything else, so that it is taken only if nothing fits.
    """

    def __init__(
        self,
        valves: Sequence[ShimValve],
        stock_mm: Mapping[Millimetres, int],
        sizes: AvailableSizes | None,
        policy: Policy,
        tolerance_nm: int,
        lengths: LengthFormatter,
    ) -> None:
        self.lengths = lengths
        self.valves = valves
        self.at_hand = _shims_at_hand(valves, stock_mm)
        self.bought = [nearest_available_nm(valve, sizes) if sizes else None for valve in valves]
        self.sizes = self._sizes()
        self.costs = self._costs(policy, tolerance_nm)

    def _sizes(self) -> NDArray[np.int64]:
        """Return the size each valve would get in each column [nm], -1 if it cannot."""
        count = len(self.valves)
        sizes = np.full((count, len(self.at_hand) + 2 * count), -1, dtype=np.int64)
        at_hand = np.array([shim.size_nm for shim in self.at_hand], dtype=np.int64)
        for i, (valve, bought) in enumerate(zip(self.valves, self.bought, strict=True)):
            clearance = valve.total_nm - at_hand
            fits = (to_nanometres(valve.low_mm) <= clearance) & (clearance <= to_nanometres(valve.high_mm))
            sizes[i, : len(at_hand)] = np.where(fits, at_hand, -1)
            if bought is not None:
                sizes[i, len(at_hand) + i] = bought
        return sizes

    def _costs(self, policy: Policy, tolerance_nm: int) -> NDArray[np.float64]:
        count, at_hand = len(self.valves), len(self.at_hand)
        ideal = np.array([valve.total_nm - valve.target_nm for valve in self.valves], dtype=np.int64)
        deviation = np.abs(self.sizes - ideal[:, None])
        deviation[deviation <= tolerance_nm] = 0
        deviation[self.sizes < 0] = 0
        bought = np.zeros_like(deviation)
        bought[:, at_hand : at_hand + count] = 1
        # Of equal plans, prefer the one that leaves most shims in place, then takes least from stock.
        effort = np.ones_like(deviation)
        effort[:, [j for j, shim in enumerate(self.at_hand) if shim.from_index is None]] = 2
        for j, shim in enumerate(self.at_hand):
            if shim.from_index is not None:
                effort[shim.from_index, j] = 0
        half = np.array([to_nanometres(valve.half_width_mm) for valve in self.valves], dtype=np.int64)
        low = np.array([to_nanometres(valve.low_mm) for valve in self.valves], dtype=np.int64) + half
        high = np.array([to_nanometres(valve.high_mm) for valve in self.valves], dtype=np.int64) - half
        clearance = np.array([valve.total_nm for valve in self.valves], dtype=np.int64)[:, None] - self.sizes
        may_be_out = (clearance < low[:, None]) | (clearance > high[:, None])
        uncertain = np.where(self.sizes < 0, 0, may_be_out.astype(np.int64))
        # Each aim weighs more than all that follow it can add up to. The total stays far below 2^53, up to
        # which the solver's floating point counts exactly.
        aims = [bought, deviation] if policy is Policy.FEWEST_NEW else [deviation, bought]
        cost = effort
        for aim in reversed([uncertain, *aims]):
            cost = aim * (int(cost.max(initial=0)) * count + 1) + cost
        forbidden = self.sizes < 0
        forbidden[:, at_hand + count :] = False
        cost[:, at_hand + count :] = int(cost.max(initial=0)) * count + 1
        return np.where(forbidden, np.inf, cost.astype(np.float64))

    def solve(self) -> list[int]:
        """Return the column that each valve takes."""
        from scipy.optimize import linear_sum_assignment

        rows, columns = linear_sum_assignment(self.costs)
        return [int(column) for column in columns[np.argsort(rows)]]

    def row(self, i: int, column: int) -> PlanRow:
        """Return what valve ``i`` gets in this column."""
        valve, size = self.valves[i], int(self.sizes[i, column])
        if size < 0:
            return PlanRow(valve, Origin.NONE, None, None, None, self._describe_failure(valve))
        origin, from_key = self._origin(i, column)
        predicted_mm = to_millimetres(valve.total_nm - size)
        why = self._describe_choice(valve, size, origin, from_key)
        return PlanRow(valve, origin, to_millimetres(size), from_key, predicted_mm, why)

    def _origin(self, i: int, column: int) -> tuple[Origin, str | None]:
        if column >= len(self.at_hand):
            return Origin.BUY, None
        giver = self.at_hand[column].from_index
        if giver is None:
            return Origin.STOCK, None
        return (Origin.STAYS, None) if giver == i else (Origin.VALVE, self.valves[giver].key)

    def _describe_choice(self, valve: ShimValve, size: int, origin: Origin, from_key: str | None) -> str:
        givers = {other.key: other.name for other in self.valves}
        source = describe_source(origin, givers.get(from_key or "", ""))
        deviation = valve.total_nm - size - valve.target_nm
        direction = "looser" if deviation > 0 else "tighter"
        off = f"{self.lengths(to_millimetres(abs(deviation)))} {direction} than the target"
        choice = f"{source}, {off}" if deviation else f"{source}, exactly on target"
        doubts = {other.key: other.doubt for other in self.valves}
        notes = [
            choice,
            self._describe_margin(valve, size),
            "" if origin is Origin.STAYS else _describe_doubt("that comes out", valve.doubt),
            _describe_doubt("that goes in", doubts.get(from_key or "", "")) if origin is Origin.VALVE else "",
        ]
        return ". ".join(note for note in notes if note)

    def _describe_margin(self, valve: ShimValve, size: int) -> str:
        """Say if the clearance may be out of range, or is left at its limit."""
        margin = valve.margin_nm(size)
        if margin < 0:
            return BLADES_CANNOT_TELL
        if margin > AT_LIMIT_NM:
            return ""
        is_low = 2 * (valve.total_nm - size) < to_nanometres(valve.low_mm) + to_nanometres(valve.high_mm)
        return f"This is the very {'lower' if is_low else 'upper'} limit of its range"

    def _describe_failure(self, valve: ShimValve) -> str:
        needed = format_mm((valve.total_nm - valve.target_nm) / NANOMETRES_PER_MM)
        return (
            f"{valve.name} needs a {needed} mm shim. No shim in stock or available size brings it within "
            f"{self.lengths.format_range(valve.low_mm, valve.high_mm)}."
        )


def _shims_at_hand(valves: Sequence[ShimValve], stock_mm: Mapping[Millimetres, int]) -> list[_AvailableShim]:
    """List every shim in the engine, and those in stock that fit somewhere, none more often than valves."""
    engine = [_AvailableShim(to_nanometres(valve.fitted_mm), i) for i, valve in enumerate(valves)]
    stock = [
        _AvailableShim(to_nanometres(thickness_mm), None)
        for thickness_mm, count in stock_mm.items()
        if any(valve.fits(to_nanometres(thickness_mm)) for valve in valves)
        for _ in range(min(count, len(valves)))
    ]
    return engine + stock
