"""Shim plans, held against exhaustive search and the largest matching."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.calc.clearances.shim_plan import Origin, PlanCandidate, Policy, plan_shims
from jobs.calc.clearances.shims import AvailableSizes, ShimValve
from tests.reference.closed_forms import WholeValve, every_shim_choice

SIZES = AvailableSizes(1.20, 3.50, 0.05)


def valve(key: str, fitted: float, measured: float) -> ShimValve:
    return ShimValve(
        key, fitted, measured, 0.17, 0.23, 0.20, label=f"valve {key}", camshaft="intake camshaft"
    )


def all_in_range(plan: PlanCandidate) -> bool:
    served = [row for row in plan.rows if row.predicted_mm is not None]
    return all(float(row.valve.low_mm) <= row.predicted_mm <= float(row.valve.high_mm) for row in served)


def test_plan_swaps_shims_before_buying_any() -> None:
    plan = plan_shims([valve("1", 2.40, 0.12), valve("2", 2.30, 0.28)], {}, SIZES, Policy.FEWEST_NEW)
    assert [(row.in_mm, row.origin, row.from_key) for row in plan.rows] == [
        (2.30, Origin.VALVE, "2"),
        (2.40, Origin.VALVE, "1"),
    ]
    assert [row.predicted_mm for row in plan.rows] == [0.22, 0.18]
    assert not plan.to_buy_mm


def test_target_policy_prefers_target_to_saving_a_shim() -> None:
    valves = [valve("1", 2.40, 0.12), valve("2", 2.30, 0.28)]
    plan = plan_shims(valves, {2.32: 1}, SIZES, Policy.TARGET)
    # 1 is exactly right with 2.32 from stock; 2 needs 2.38, of which 2.40 is nearest
    assert [(row.in_mm, row.predicted_mm) for row in plan.rows] == [(2.32, 0.2), (2.4, 0.18)]
    assert plan.from_stock_mm == Counter({2.32: 1})
    assert [row.origin for row in plan.rows] == [Origin.STOCK, Origin.VALVE]  # 2.30 comes out


def test_plan_takes_no_shim_from_stock_twice() -> None:
    valves = [valve("1", 2.40, 0.10), valve("2", 2.40, 0.10)]
    one = plan_shims(valves, {2.30: 1}, SIZES, Policy.FEWEST_NEW)
    assert (one.from_stock_mm[2.30], one.to_buy_mm[2.30]) == (1, 1)
    two = plan_shims(valves, {2.30: 5}, SIZES, Policy.FEWEST_NEW)
    assert (two.from_stock_mm[2.30], two.to_buy_mm.total()) == (2, 0)


def test_plan_moves_no_shim_when_all_are_on_target() -> None:
    valves = [valve(str(i), 2.40, 0.20) for i in range(4)]
    for policy in Policy:
        plan = plan_shims(valves, {2.40: 4}, SIZES, policy)
        assert {row.origin for row in plan.rows} == {Origin.STAYS}
        assert plan.camshafts_lifted == ()


def test_valve_keeps_its_shim_when_within_tolerance_of_target() -> None:
    valves = [valve("1", 2.40, 0.205)]
    assert plan_shims(valves, {2.405: 1}, None, Policy.TARGET).rows[0].origin is Origin.STOCK
    kept = plan_shims(valves, {2.405: 1}, None, Policy.TARGET, tolerance_mm=0.01)
    assert kept.rows[0].origin is Origin.STAYS
    assert kept.sum_abs_deviation_mm == 0.005


@pytest.mark.parametrize(
    ("blades", "low", "high"), [(0.02, 0.10, 0.15), (0.03, 0.10, 0.15), (0.05, 0.16, 0.24)]
)
@pytest.mark.parametrize("policy", Policy)
def test_no_valve_said_to_be_in_range_is_out_within_its_bracket(
    blades: float, low: float, high: float, policy: Policy
) -> None:
    rng, sizes = np.random.default_rng(3), AvailableSizes(1.20, 3.50, 0.025)
    certain = 0
    for _ in range(40):
        true = rng.uniform(0.05, 0.35, 4)
        goes = np.floor(true / blades) * blades
        valves = [
            ShimValve(
                str(i),
                2.40,
                goes[i] + blades / 2,
                low,
                high,
                camshaft=f"camshaft {i % 2}",
                half_width_mm=blades / 2,
            )
            for i in range(4)
        ]
        for row, clearance in zip(plan_shims(valves, {}, sizes, policy).rows, true, strict=True):
            if row.in_mm is not None and "cannot show" not in row.why:
                certain += 1
                assert low <= clearance + 2.40 - row.in_mm <= high
    assert certain > 0


def test_plan_says_when_blades_cannot_tell_and_prefers_a_shim_that_is_certain() -> None:
    # 0.10 to 0.14 by blades 0.04 apart: 2.40 leaves 0.12 ± 0.02 in 0.11 to 0.21, 2.35 leaves 0.17 ± 0.02
    coarse = ShimValve("1", 2.40, 0.12, 0.11, 0.21, 0.13, half_width_mm=0.02)
    (row,) = plan_shims([coarse], {}, SIZES, Policy.TARGET).rows
    assert (row.in_mm, row.predicted_mm) == (2.35, 0.17)
    assert "cannot show" not in row.why
    (kept,) = plan_shims([coarse], {}, None, Policy.TARGET).rows
    assert kept.origin is Origin.STAYS
    assert "These blades cannot show whether that is in range" in kept.why


@pytest.mark.parametrize(
    ("measured", "end"), [(0.17, "lower"), (0.23, "upper"), (0.175, "lower"), (0.19, "")]
)
def test_valve_left_at_its_very_limit_is_named(measured: float, end: str) -> None:
    (row,) = plan_shims([valve("1", 2.40, measured)], {}, None, Policy.TARGET).rows
    assert (f"very {end} limit" in row.why) if end else ("limit" not in row.why)


def test_shim_in_doubt_is_not_moved_without_a_word() -> None:
    doubtful = ShimValve("2", 2.30, 0.28, 0.17, 0.23, 0.20, label="valve 2", doubt="may be 2.30 or 2.325 mm")
    plan = plan_shims([valve("1", 2.40, 0.12), doubtful], {}, None, Policy.FEWEST_NEW)
    assert plan.rows[0].from_key == "2"
    assert "The shim that goes in may be 2.30 or 2.325 mm: measure it" in plan.rows[0].why
    assert "The shim that comes out may be 2.30 or 2.325 mm: measure it" in plan.rows[1].why


def two_camshafts() -> list[ShimValve]:
    return [
        ShimValve("1-intake", 2.40, 0.18, 0.17, 0.23, 0.20, camshaft="intake camshaft"),
        ShimValve("2-intake", 2.45, 0.22, 0.17, 0.23, 0.20, camshaft="intake camshaft"),
        ShimValve("1-exhaust", 2.60, 0.20, 0.25, 0.31, 0.28, camshaft="exhaust camshaft"),
        ShimValve("2-exhaust", 2.60, 0.30, 0.25, 0.31, 0.28, camshaft="exhaust camshaft"),
    ]


def test_fewest_camshafts_leaves_camshaft_in_range_alone() -> None:
    plan = plan_shims(two_camshafts(), {2.38: 1, 2.47: 1}, SIZES, Policy.FEWEST_CAMSHAFTS)
    assert plan.camshafts_lifted == ("exhaust camshaft",)
    assert [row.origin for row in plan.rows[:2]] == [Origin.STAYS, Origin.STAYS]
    assert plan.rows[0].predicted_mm == 0.18
    assert all_in_range(plan)
    lifted = plan_shims(two_camshafts(), {2.38: 1, 2.47: 1}, SIZES, Policy.TARGET).camshafts_lifted
    assert lifted == ("intake camshaft", "exhaust camshaft")


def test_fewest_camshafts_lifts_camshaft_when_a_valve_is_not_certain() -> None:
    unsure = ShimValve("1", 2.40, 0.20, 0.17, 0.23, 0.20, camshaft="intake", half_width_mm=0.05)
    sure = ShimValve("2", 2.40, 0.26, 0.25, 0.31, 0.28, camshaft="exhaust", half_width_mm=0.01)
    plan = plan_shims([unsure, sure], {2.42: 1}, None, Policy.FEWEST_CAMSHAFTS)
    assert "all valves of the exhaust" in plan.rows[1].why
    assert "exactly on target" in plan.rows[0].why


def test_impossible_valve_is_named_and_others_are_planned() -> None:
    valves = [valve("1", 1.20, 0.10), valve("2", 2.40, 0.15)]
    plan = plan_shims(valves, {}, SIZES, Policy.TARGET)
    assert [row.valve.key for row in plan.impossible] == ["1"]
    assert plan.rows[0].in_mm is None and plan.rows[0].predicted_mm is None
    assert "valve 1 needs a 1.10 mm shim" in plan.rows[0].why
    assert plan.rows[1].in_mm == 2.35


def test_plan_is_empty_when_there_are_no_valves() -> None:
    for policy in Policy:
        plan = plan_shims([], {2.40: 3}, SIZES, policy)
        assert plan.rows == () and plan.sum_abs_deviation_mm == 0


def test_plan_row_gives_reason() -> None:
    plan = plan_shims([valve("1", 2.40, 0.12), valve("2", 2.30, 0.28)], {}, SIZES, Policy.FEWEST_NEW)
    assert plan.rows[0].why == "from valve 2, 0.02 mm looser than the target"


def test_plan_is_refused_when_input_makes_no_sense() -> None:
    with pytest.raises(ValueError, match="named twice"):
        plan_shims([valve("1", 2.4, 0.2), valve("1", 2.4, 0.2)], {}, SIZES, Policy.TARGET)
    with pytest.raises(ValueError, match="cannot hold -1"):
        plan_shims([valve("1", 2.4, 0.2)], {2.4: -1}, SIZES, Policy.TARGET)


# Against exhaustive search. Everything in whole hundredths, so that the search needs no rounding.

Hundredths = tuple[int, int]  # shim fitted, clearance measured


def worth(plan: PlanCandidate) -> tuple[int, int, int]:
    return len(plan.impossible), round(plan.sum_abs_deviation_mm * 100), plan.to_buy_mm.total()


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(225, 240), st.integers(5, 35)), min_size=1, max_size=4),
    st.lists(st.integers(215, 250), max_size=3),
    st.sampled_from([None, 5, 10]),
)
def test_plan_equals_exhaustive_search(engine: list[Hundredths], stock: list[int], step: int | None) -> None:
    valves = [valve(str(i), fitted / 100, found / 100) for i, (fitted, found) in enumerate(engine)]
    stock_mm = Counter(shim / 100 for shim in stock)
    sizes = AvailableSizes(1.20, 3.50, step / 100) if step else None
    whole = [WholeValve(fitted, measured, 17, 23, 20) for fitted, measured in engine]
    choices = list(every_shim_choice(whole, stock, range(120, 351, step) if step else []))
    least = min(choice.unserved for choice in choices)
    served = [choice for choice in choices if choice.unserved == least]

    target = plan_shims(valves, stock_mm, sizes, Policy.TARGET)
    assert worth(target) == (least, *min((choice.deviation, choice.bought) for choice in served))
    fewest = plan_shims(valves, stock_mm, sizes, Policy.FEWEST_NEW)
    bought, deviation = min((choice.bought, choice.deviation) for choice in served)
    assert worth(fewest) == (least, deviation, bought)
    # one camshaft works them all: it comes off only where one valve is out of range
    in_range = all(17 <= measured <= 23 for _, measured in engine)
    lifted = plan_shims(valves, stock_mm, sizes, Policy.FEWEST_CAMSHAFTS)
    assert lifted.camshafts_lifted == () if in_range else worth(lifted) == worth(target)

    for plan in (target, fewest, lifted):
        assert all_in_range(plan)
        taken = Counter(plan.from_stock_mm)
        assert all(taken[size] <= stock_mm[size] for size in taken)
        givers = [
            row.from_key or row.valve.key for row in plan.rows if row.origin in (Origin.STAYS, Origin.VALVE)
        ]
        assert len(givers) == len(set(givers))


# Random engines of any size, each valve with its own range


@st.composite
def engines(draw: st.DrawFn) -> list[ShimValve]:
    valves = []
    for number in range(draw(st.integers(1, 16))):
        low = draw(st.integers(5, 30))
        high = low + draw(st.integers(0, 12))
        valves.append(
            ShimValve(
                key=str(number),
                fitted_mm=draw(st.integers(170, 290)) / 100,
                measured_mm=draw(st.integers(0, 60)) / 100,
                low_mm=low / 100,
                high_mm=high / 100,
                target_mm=draw(st.one_of(st.none(), st.integers(low, high).map(lambda each: each / 100))),
                label=f"valve {number}",
                camshaft=draw(st.sampled_from(["intake", "exhaust"])),
            )
        )
    return valves


def most_served(valves: list[ShimValve], shims: list[int], sizes: AvailableSizes | None) -> int:
    """How many valves can be in range at once: the largest matching, found by augmenting paths."""
    at_hand = [round(float(valve.fitted_mm) * 100) for valve in valves] + shims

    def fits(valve: ShimValve, shim: int) -> bool:
        total = round(float(valve.fitted_mm) * 100) + round(float(valve.measured_mm) * 100)
        return round(float(valve.low_mm) * 100) <= total - shim <= round(float(valve.high_mm) * 100)

    bought = [size // 10_000 for size in sizes.sizes_nm] if sizes else []
    can_buy = [any(fits(valve, size) for size in bought) for valve in valves]
    taken: dict[int, int] = {}

    def place(v: int, seen: set[int]) -> bool:
        for shim in (j for j, size in enumerate(at_hand) if fits(valves[v], size) and j not in seen):
            seen.add(shim)
            if shim not in taken or place(taken[shim], seen):
                taken[shim] = v
                return True
        return False

    # A valve that can get a new shim need not take one from the others.
    return sum(can_buy) + sum(place(v, set()) for v in range(len(valves)) if not can_buy[v])


@settings(max_examples=200, deadline=None)
@given(
    engines(),
    st.lists(st.integers(160, 300), max_size=40),
    st.sampled_from([None, AvailableSizes(1.20, 3.50, 0.05), AvailableSizes(1.90, 2.30, 0.05)]),
)
def test_plan_serves_as_many_valves_as_the_largest_matching(
    valves: list[ShimValve], shims: list[int], sizes: AvailableSizes | None
) -> None:
    stock_mm = Counter(shim / 100 for shim in shims)
    most = most_served(valves, shims, sizes)
    for policy in Policy:
        plan = plan_shims(valves, stock_mm, sizes, policy)
        assert len(valves) - len(plan.impossible) == most
        assert all_in_range(plan)
        for row in plan.impossible:
            assert row.valve.name in row.why
            assert "No shim in stock or available size brings it within" in row.why


@settings(max_examples=100, deadline=None)
@given(engines(), st.lists(st.integers(160, 300), max_size=40))
def test_fewest_camshafts_leaves_all_in_range_alone_when_every_size_is_on_sale(
    valves: list[ShimValve], shims: list[int]
) -> None:
    # in steps of a hundredth every valve can be served by a bought shim
    every_size = AvailableSizes(0.50, 9.00, 0.01)
    plan = plan_shims(valves, Counter(shim / 100 for shim in shims), every_size, Policy.FEWEST_CAMSHAFTS)
    assert not plan.impossible
    out = {
        valve.camshaft
        for valve in valves
        if not float(valve.low_mm) <= float(valve.measured_mm) <= float(valve.high_mm)
    }
    assert set(plan.camshafts_lifted) == out


def test_fewest_camshafts_lifts_camshaft_in_range_when_only_its_shim_helps() -> None:
    # Nothing to buy, no stock. The exhaust valve needs 2.50 + 0.10 - 0.20 = 2.40, which the intake
    # valve has; the intake valve, on 2.40 + 0.20 = 2.60 together, stays in range 0.05 to 0.35 with 2.50.
    exhaust = ShimValve("exhaust", 2.50, 0.10, 0.17, 0.23, 0.20, camshaft="exhaust")
    intake = ShimValve("intake", 2.40, 0.20, 0.05, 0.35, 0.20, camshaft="intake")
    plan = plan_shims([exhaust, intake], {}, None, Policy.FEWEST_CAMSHAFTS)
    assert [row.predicted_mm for row in plan.rows] == [0.20, 0.10]
    assert plan.camshafts_lifted == ("exhaust", "intake")
