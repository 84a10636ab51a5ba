"""Which shim goes where: from the engine itself, from the drawer, or bought.

An assignment problem: each valve takes one of the shims at hand that leaves it inside its range, or a
bought one of the made size nearest its target. Costs are whole numbers of nanometres, ordered one aim
before the next, so that equal plans are equal and not a matter of rounding.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from jobs.calc.clearances.readings import NANOMETRES_PER_MM, Millimetres, format_mm, millimetres, nanometres
from jobs.calc.clearances.shims import MadeSeries, ShimValve, nearest_made_nm
from jobs.calc.units.length_format import IN_MM, LengthFormatter


class Policy(StrEnum):
    """What is aimed at once every valve is inside its range."""

    TARGET = "target"  # least sum of |clearance - target|, then fewest shims to buy
    FEWEST_NEW = "fewest_new"  # fewest shims to buy, then least sum
    FEWEST_CAMSHAFTS = (
        "fewest_camshafts"  # a camshaft in range stays in unless its shims are needed; then TARGET
    )


class Origin(StrEnum):
    """Where a valve's shim comes from."""

    STAYS = "stays"
    VALVE = "valve"
    STOCK = "stock"
    BUY = "buy"
    NONE = "none"  # nothing at hand or made fits


@dataclass(frozen=True)
class PlanRow:
    """What one valve gets."""

    valve: ShimValve
    origin: Origin
    in_mm: float | None  # None where nothing fits
    from_key: str | None  # the valve it comes from
    predicted_mm: float | None
    why: str

    @property
    def out_mm(self) -> float:
        return millimetres(nanometres(self.valve.fitted_mm))

    @property
    def in_range(self) -> bool:
        return self.in_mm is not None and self.valve.fits(nanometres(self.in_mm))


@dataclass(frozen=True)
class Plan:
    """A shim plan with what it takes and how near it comes."""

    policy: Policy
    rows: tuple[PlanRow, ...]  # in the order of the valves
    only_one: bool  # whether no other plan is as good

    @property
    def impossible(self) -> tuple[PlanRow, ...]:
        """Valves that nothing at hand or made brings into range; their sentence says why."""
        return tuple(row for row in self.rows if row.origin is Origin.NONE)

    @property
    def feasible(self) -> bool:
        return not self.impossible

    @property
    def to_buy_mm(self) -> Counter[float]:
        return self._sizes(Origin.BUY)

    @property
    def from_stock_mm(self) -> Counter[float]:
        return self._sizes(Origin.STOCK)

    @property
    def left_over_mm(self) -> Counter[float]:
        """Shims that come out of the engine and find no place in it."""
        out = Counter(row.out_mm for row in self.rows)
        return out - self._sizes(Origin.STAYS) - self._sizes(Origin.VALVE)

    @property
    def camshafts_lifted(self) -> tuple[str, ...]:
        """Camshafts with a valve whose shim changes, in the order of the valves."""
        moved = (row.valve.camshaft for row in self.rows if row.origin is not Origin.STAYS)
        return tuple(dict.fromkeys(moved))

    @property
    def sum_abs_deviation_mm(self) -> float:
        """Sum of |clearance - target| over the valves that the plan serves."""
        served = (row for row in self.rows if row.in_mm is not None)
        return millimetres(sum(row.valve.deviation_nm(nanometres(row.in_mm or 0)) for row in served))

    def _sizes(self, origin: Origin) -> Counter[float]:
        return Counter(row.in_mm for row in self.rows if row.origin is origin and row.in_mm is not None)


def plan_shims(
    valves: Sequence[ShimValve],
    drawer_mm: Mapping[Millimetres, int],
    series: MadeSeries | None,
    policy: Policy | str,
    *,
    tolerance_mm: Millimetres = 0.0,
    lengths: LengthFormatter = IN_MM,
) -> Plan:
    """Plan one kind of shim for an engine.

    Opening and closing shims of desmodromic valves do not interchange: plan each kind by itself, with
    its own drawer and series.

    Parameters
    ----------
    valves : sequence of ShimValve
        Every clearance the shims of this kind set; each key once.
    drawer_mm : mapping of thickness to count
        Shims in stock of the right diameter.
    series : MadeSeries or None
        What can be bought; None where nothing can.
    policy : Policy
        What is aimed at once every valve is inside its range.
    tolerance_mm : float or Decimal
        How far from the target counts as on it, so that no shim is moved for less.
    lengths : LengthFormatter
        How the reasons write clearances; shims are told in mm, in which they are marked.

    Returns
    -------
    Plan
        The best there is for the policy; among equally good ones, that which moves the fewest shims.
        A valve that nothing fits is named, and the others are planned all the same.

    Raises
    ------
    ValueError
        A valve is named twice, a count is below zero, or the policy is unknown.
    """
    _check(valves, drawer_mm)
    policy = Policy(policy)

    def plan_without(kept: set[str]) -> Plan:
        """The plan that leaves these camshafts in place."""
        moving = [valve for valve in valves if valve.camshaft not in kept]
        rows = {valve.key: _kept_row(valve) for valve in valves if valve.camshaft in kept}
        problem = _Problem(moving, drawer_mm, series, policy, nanometres(tolerance_mm), lengths)
        columns = problem.solve(problem.costs)
        rows |= {valve.key: problem.row(i, columns[i]) for i, valve in enumerate(moving)}
        return Plan(policy, tuple(rows[valve.key] for valve in valves), problem.is_only(columns))

    if policy is not Policy.FEWEST_CAMSHAFTS:
        return plan_without(set())
    return _fewest_lifted(plan_without, _in_order(valves))


def _fewest_lifted(plan_without: Callable[[set[str]], Plan], in_order: list[str]) -> Plan:
    """Leave in place as many camshafts as all valves can do without.

    A camshaft whose valves are all in range comes off only where another needs one of its shims.
    """
    plan = plan_without(set(in_order))
    if plan.feasible or not in_order:
        return plan
    out_of_reach = len(plan_without(set()).impossible)
    for left_in in range(len(in_order), 0, -1):
        plans = [plan_without(set(kept)) for kept in combinations(in_order, left_in)]
        enough = [plan for plan in plans if len(plan.impossible) == out_of_reach]
        if enough:
            return min(enough, key=lambda plan: (plan.sum_abs_deviation_mm, plan.to_buy_mm.total()))
    return plan_without(set())


def _check(valves: Sequence[ShimValve], drawer_mm: Mapping[Millimetres, int]) -> None:
    twice = [key for key, times in Counter(valve.key for valve in valves).items() if times > 1]
    if twice:
        raise ValueError(f"The valve {twice[0]} is named twice.")
    for thickness_mm, count in drawer_mm.items():
        if count < 0:
            raise ValueError(f"The drawer cannot hold {count} shims of {format_mm(thickness_mm)} mm.")


def _in_order(valves: Sequence[ShimValve]) -> list[str]:
    """Camshafts that need not come off for their own sake: all their valves are certainly in range."""
    calm = {valve.camshaft: True for valve in valves}
    for valve in valves:
        calm[valve.camshaft] &= valve.certainly_in_range
    return [camshaft for camshaft, is_calm in calm.items() if is_calm]


def _kept_row(valve: ShimValve) -> PlanRow:
    why = f"in range, as all valves of the {valve.camshaft or 'camshaft'}: it stays in place"
    return PlanRow(valve, Origin.STAYS, float(valve.fitted_mm), None, float(valve.measured_mm), why)


@dataclass(frozen=True)
class _AtHand:
    """One shim that is there already."""

    size_nm: int
    from_index: int | None  # the valve it sits in; None in the drawer


class _Problem:
    """The assignment of shims to valves as a cost matrix.

    Columns: the shims at hand; one bought shim for each valve; one 'nothing' for each valve, dearer than
    anything else so that it is taken only where nothing fits.
    """

    def __init__(
        self,
        valves: Sequence[ShimValve],
        drawer_mm: Mapping[Millimetres, int],
        series: MadeSeries | None,
        policy: Policy,
        tolerance_nm: int,
        lengths: LengthFormatter,
    ) -> None:
        self.lengths = lengths
        self.valves = valves
        self.at_hand = _shims_at_hand(valves, drawer_mm)
        self.bought = [nearest_made_nm(valve, series) if series else None for valve in valves]
        self.sizes = self._sizes()  # what each valve would get in each column; -1 where it cannot
        self.costs = self._costs(policy, tolerance_nm)

    def _sizes(self) -> NDArray[np.int64]:
        count = len(self.valves)
        sizes = np.full((count, len(self.at_hand) + 2 * count), -1, dtype=np.int64)
        hand = np.array([shim.size_nm for shim in self.at_hand], dtype=np.int64)
        for i, (valve, bought) in enumerate(zip(self.valves, self.bought, strict=True)):
            clearance = valve.total_nm - hand
            fits = (nanometres(valve.low_mm) <= clearance) & (clearance <= nanometres(valve.high_mm))
            sizes[i, : len(hand)] = np.where(fits, hand, -1)
            if bought is not None:
                sizes[i, len(hand) + i] = bought
        return sizes

    def _costs(self, policy: Policy, tolerance_nm: int) -> NDArray[np.float64]:
        count, hand = len(self.valves), len(self.at_hand)
        ideal = np.array([valve.total_nm - valve.goal_nm for valve in self.valves], dtype=np.int64)
        off = np.abs(self.sizes - ideal[:, None])
        off[off <= tolerance_nm] = 0
        off[self.sizes < 0] = 0
        bought = np.zeros_like(off)
        bought[:, hand : hand + count] = 1
        # of equal plans the one that leaves most shims where they are, then takes least from the drawer
        trouble = np.ones_like(off)
        trouble[:, [j for j, shim in enumerate(self.at_hand) if shim.from_index is None]] = 2
        for j, shim in enumerate(self.at_hand):
            if shim.from_index is not None:
                trouble[shim.from_index, j] = 0
        # Each aim weighs more than all that follow it can add up to. The whole stays far below 2^53, up to
        # which the solver's floating point counts exactly.
        aims = [bought, off] if policy is Policy.FEWEST_NEW else [off, bought]
        cost = trouble
        for aim in reversed(aims):
            cost = aim * (int(cost.max(initial=0)) * count + 1) + cost
        self.trouble_weight = int(trouble.max(initial=0)) * count + 1
        self.nothing = int(cost.max(initial=0)) * count + 1
        forbidden = self.sizes < 0
        forbidden[:, hand + count :] = False
        cost[:, hand + count :] = self.nothing
        return np.where(forbidden, np.inf, cost.astype(np.float64))

    def solve(self, costs: NDArray[np.float64]) -> list[int]:
        """The column that each valve takes."""
        from scipy.optimize import linear_sum_assignment

        rows, columns = linear_sum_assignment(costs)
        return [int(column) for column in columns[np.argsort(rows)]]

    def is_only(self, columns: list[int]) -> bool:
        """Whether every other choice of sizes is worse; who gives a shim of the same size does not matter."""
        best = self._worth(columns, self.costs)
        never = self.nothing * len(columns) + 1  # dearer than the whole of any plan
        for i, column in enumerate(columns):
            costs = self.costs.copy()
            costs[i, self._same(i, column)] = never
            if self._worth(self.solve(costs), costs) == best:
                return False
        return True

    def _worth(self, columns: list[int], costs: NDArray[np.float64]) -> int:
        """Cost without the last aim, which only chooses between plans that are as good."""
        return int(sum(costs[i, column] // self.trouble_weight for i, column in enumerate(columns)))

    def _same(self, i: int, column: int) -> NDArray[np.bool_]:
        """Columns that give this valve the same: a bought shim, nothing, or one at hand of the same size."""
        hand = len(self.at_hand)
        places = np.arange(self.sizes.shape[1])
        if column >= hand:
            bought = column < hand + len(self.valves)
            return (places >= hand) & ((places < hand + len(self.valves)) == bought)
        return (places < hand) & (self.sizes[i] == self.sizes[i, column])

    def row(self, i: int, column: int) -> PlanRow:
        valve, size = self.valves[i], int(self.sizes[i, column])
        if size < 0:
            return PlanRow(valve, Origin.NONE, None, None, None, self._why_nothing(i))
        origin, from_key = self._origin(i, column)
        predicted = millimetres(valve.total_nm - size)
        return PlanRow(
            valve, origin, millimetres(size), from_key, predicted, self._why(i, size, origin, from_key)
        )

    def _origin(self, i: int, column: int) -> tuple[Origin, str | None]:
        if column >= len(self.at_hand):
            return Origin.BUY, None
        giver = self.at_hand[column].from_index
        if giver is None:
            return Origin.STOCK, None
        return (Origin.STAYS, None) if giver == i else (Origin.VALVE, self.valves[giver].key)

    def _why(self, i: int, size: int, origin: Origin, from_key: str | None) -> str:
        valve = self.valves[i]
        givers = {other.key: other.name for other in self.valves}
        where = {
            Origin.STAYS: "stays in",
            Origin.VALVE: f"from {givers.get(from_key or '', '')}",
            Origin.STOCK: "from the drawer",
            Origin.BUY: "to buy",
        }[origin]
        off = valve.total_nm - size - valve.goal_nm
        if off == 0:
            return f"{where}, exactly on target"
        way = "looser" if off > 0 else "tighter"
        return f"{where}, {self.lengths(millimetres(abs(off)))} {way} than the target"

    def _why_nothing(self, i: int) -> str:
        valve = self.valves[i]
        needed = format_mm((valve.total_nm - valve.goal_nm) / NANOMETRES_PER_MM)
        return (
            f"{valve.name} needs a shim of {needed} mm; none at hand or made brings it between "
            f"{self.lengths.format_number(valve.low_mm)} and {self.lengths(valve.high_mm)}."
        )


def _shims_at_hand(valves: Sequence[ShimValve], drawer_mm: Mapping[Millimetres, int]) -> list[_AtHand]:
    """Every shim in the engine, and those in the drawer that fit somewhere, none more often than valves."""
    engine = [_AtHand(nanometres(valve.fitted_mm), i) for i, valve in enumerate(valves)]
    drawer = [
        _AtHand(nanometres(thickness_mm), None)
        for thickness_mm, count in drawer_mm.items()
        if any(valve.fits(nanometres(thickness_mm)) for valve in valves)
        for _ in range(min(count, len(valves)))
    ]
    return engine + drawer
