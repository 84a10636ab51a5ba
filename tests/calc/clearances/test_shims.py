"""Shim arithmetic, marks and plans; plans are held against exhaustive search."""

from collections import Counter
from decimal import Decimal
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.calc.clearances.shim_plan import Origin, Plan, Policy, plan_shims
from jobs.calc.clearances.shims import (
    MadeSeries,
    ShimValve,
    clearance_with_mm,
    nearest_made_mm,
    new_shim_mm,
    read_mark,
    round_to_printed_table,
)

SERIES = MadeSeries(1.20, 3.50, 0.05)
FINE = MadeSeries(1.200, 2.900, 0.025)


def valve(
    key: str, fitted: float, measured: float, *, low: float = 0.17, high: float = 0.23, target: float = 0.20
) -> ShimValve:
    return ShimValve(
        key, fitted, measured, low, high, target, label=f"valve {key}", camshaft="intake camshaft"
    )


# One shim


@given(st.floats(1.2, 3.5), st.floats(0.02, 0.5), st.floats(0.05, 0.4))
def test_new_shim_leaves_the_target(fitted: float, measured: float, target: float) -> None:
    new = new_shim_mm(fitted, measured, target)
    assert clearance_with_mm(fitted, measured, new) == pytest.approx(target, abs=2e-6)


def test_too_tight_calls_for_a_thinner_shim() -> None:
    assert new_shim_mm(2.40, 0.10, 0.20) == 2.30


def test_records_decimals_give_the_same() -> None:
    assert new_shim_mm(Decimal("2.64"), Decimal("0.15"), Decimal("0.18")) == 2.61


def test_of_two_made_sizes_equally_near_the_looser_is_taken() -> None:
    # ideal 2.325, between 2.30 and 2.35: the thinner leaves 0.225 mm
    assert nearest_made_mm(valve("1", 2.40, 0.125), SERIES) == 2.30


def test_nearest_made_size_stays_inside_the_range() -> None:
    # target at the upper limit: ideal 2.32, the nearer 2.30 would leave 0.25 mm
    assert nearest_made_mm(valve("1", 2.40, 0.15, target=0.23), SERIES) == 2.35


def test_no_made_size_in_range_is_none() -> None:
    assert nearest_made_mm(valve("1", 2.40, 0.125, low=0.19, high=0.21), SERIES) is None
    assert nearest_made_mm(valve("1", 1.20, 0.10), SERIES) is None  # thinner than the thinnest


def test_end_of_the_series_is_made() -> None:
    assert nearest_made_mm(valve("1", 1.25, 0.15), SERIES) == 1.20
    assert nearest_made_mm(valve("1", 3.45, 0.25), SERIES) == 3.50


@pytest.mark.parametrize(
    ("number", "sold"), [(150, 150), (152, 150), (153, 155), (156, 155), (157, 160), (199, 200)]
)
def test_printed_table_is_followed(number: int, sold: int) -> None:
    assert round_to_printed_table(number) == sold  # Yamaha XP500 manual p. 3-7


# Marks and series


@pytest.mark.parametrize(
    ("text", "thickness_mm"),
    [("155", 1.55), ("1.55", 1.55), ("1,55", 1.55), (" 1.550 mm", 1.55), ("1775", 1.775), ("262", 2.62)],
)
def test_mark_is_read(text: str, thickness_mm: float) -> None:
    assert read_mark(text).thickness_mm == thickness_mm


@pytest.mark.parametrize("text", ["", "ab", "15", "1.", "-155", "1.5.5", "17777", "²55", "155/160"])
def test_what_is_no_mark_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a shim marking"):
        read_mark(text)


@pytest.mark.parametrize("text", ["0.05", "015", "95.0"])
def test_mark_of_no_believable_shim_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not believable"):
        read_mark(text)


@pytest.mark.parametrize("text", ["177", "178"])
def test_mark_that_hides_a_third_decimal_is_questioned(text: str) -> None:
    mark = read_mark(text, FINE)
    assert mark.thickness_mm == 1.775
    assert mark.could_be_mm == (1.775, float(text) / 100)
    assert mark.question is not None and "measure this shim" in mark.question


@pytest.mark.parametrize("text", ["170", "175", "1.775"])
def test_mark_of_a_made_size_is_not_questioned(text: str) -> None:
    assert read_mark(text, FINE).question is None


def test_size_that_is_not_sold_is_questioned() -> None:
    mark = read_mark("262", SERIES)
    assert mark.thickness_mm == 2.62
    assert mark.question is not None and "not among the sizes made" in mark.question


def test_series_lists_its_sizes_exactly() -> None:
    assert len(FINE) == 69  # Honda SH300i manual p. 4-10
    assert FINE.sizes_mm[:3] == [1.2, 1.225, 1.25]
    assert FINE.sizes_mm[-1] == 2.9
    assert 1.775 in FINE and 1.77 not in FINE


@pytest.mark.parametrize("ends", [(1.2, 2.9, 0), (2.9, 1.2, 0.05), (0, 1.2, 0.05)])
def test_impossible_series_is_refused(ends: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="above zero"):
        MadeSeries(*ends)


# Plans


def test_valves_swap_their_shims_before_any_is_bought() -> None:
    plan = plan_shims([valve("1", 2.40, 0.12), valve("2", 2.30, 0.28)], {}, SERIES, Policy.FEWEST_NEW)
    assert [(row.in_mm, row.origin, row.from_key) for row in plan.rows] == [
        (2.30, Origin.VALVE, "2"),
        (2.40, Origin.VALVE, "1"),
    ]
    assert [row.predicted_mm for row in plan.rows] == [0.22, 0.18]
    assert not plan.to_buy_mm and not plan.left_over_mm


def test_target_is_put_before_saving_a_shim() -> None:
    valves = [valve("1", 2.40, 0.12), valve("2", 2.30, 0.28)]
    plan = plan_shims(valves, {2.32: 1}, SERIES, Policy.TARGET)
    # 1 is exactly right with the drawer's 2.32; 2 needs 2.38, of which 2.40 is nearest
    assert [(row.in_mm, row.predicted_mm) for row in plan.rows] == [(2.32, 0.2), (2.4, 0.18)]
    assert plan.from_stock_mm == Counter({2.32: 1})
    assert plan.left_over_mm == Counter({2.30: 1})


def test_drawer_gives_no_shim_twice() -> None:
    valves = [valve("1", 2.40, 0.10), valve("2", 2.40, 0.10)]
    one = plan_shims(valves, {2.30: 1}, SERIES, Policy.FEWEST_NEW)
    assert (one.from_stock_mm[2.30], one.to_buy_mm[2.30]) == (1, 1)
    two = plan_shims(valves, {2.30: 5}, SERIES, Policy.FEWEST_NEW)
    assert (two.from_stock_mm[2.30], two.to_buy_mm.total()) == (2, 0)


def test_equal_plans_move_no_shim_for_nothing() -> None:
    valves = [valve(str(i), 2.40, 0.20) for i in range(4)]
    for policy in Policy:
        plan = plan_shims(valves, {2.40: 4}, SERIES, policy)
        assert {row.origin for row in plan.rows} == {Origin.STAYS}
        assert plan.camshafts_lifted == ()


def test_valve_on_target_within_the_tolerance_keeps_its_shim() -> None:
    valves = [valve("1", 2.40, 0.205)]
    assert plan_shims(valves, {2.405: 1}, None, Policy.TARGET).rows[0].origin is Origin.STOCK
    kept = plan_shims(valves, {2.405: 1}, None, Policy.TARGET, tolerance_mm=0.01)
    assert kept.rows[0].origin is Origin.STAYS
    assert kept.sum_abs_deviation_mm == 0.005


def two_camshafts() -> list[ShimValve]:
    return [
        ShimValve("1-intake", 2.40, 0.18, 0.17, 0.23, 0.20, camshaft="intake camshaft"),
        ShimValve("2-intake", 2.45, 0.22, 0.17, 0.23, 0.20, camshaft="intake camshaft"),
        ShimValve("1-exhaust", 2.60, 0.20, 0.25, 0.31, 0.28, camshaft="exhaust camshaft"),
        ShimValve("2-exhaust", 2.60, 0.30, 0.25, 0.31, 0.28, camshaft="exhaust camshaft"),
    ]


def test_camshaft_with_all_valves_in_range_is_left_alone() -> None:
    plan = plan_shims(two_camshafts(), {2.38: 1, 2.47: 1}, SERIES, Policy.FEWEST_CAMSHAFTS)
    assert plan.camshafts_lifted == ("exhaust camshaft",)
    assert [row.origin for row in plan.rows[:2]] == [Origin.STAYS, Origin.STAYS]
    assert plan.rows[0].predicted_mm == 0.18
    assert all(row.in_range for row in plan.rows)
    lifted = plan_shims(two_camshafts(), {2.38: 1, 2.47: 1}, SERIES, Policy.TARGET).camshafts_lifted
    assert lifted == ("intake camshaft", "exhaust camshaft")


def test_camshaft_of_a_valve_that_cannot_be_told_is_lifted() -> None:
    unsure = ShimValve("1", 2.40, 0.20, 0.17, 0.23, 0.20, camshaft="intake", half_width_mm=0.05)
    sure = ShimValve("2", 2.40, 0.26, 0.25, 0.31, 0.28, camshaft="exhaust", half_width_mm=0.01)
    plan = plan_shims([unsure, sure], {2.42: 1}, None, Policy.FEWEST_CAMSHAFTS)
    assert "all valves of the exhaust" in plan.rows[1].why
    assert "exactly on target" in plan.rows[0].why


def test_impossible_valve_is_named_and_the_rest_is_planned() -> None:
    valves = [valve("1", 1.20, 0.10), valve("2", 2.40, 0.15)]
    plan = plan_shims(valves, {}, SERIES, Policy.TARGET)
    assert not plan.feasible
    assert [row.valve.key for row in plan.impossible] == ["1"]
    assert plan.rows[0].in_mm is None and plan.rows[0].predicted_mm is None
    assert "valve 1 needs a shim of 1.10 mm" in plan.rows[0].why
    assert plan.rows[1].in_mm == 2.35


def test_nothing_to_plan_is_an_empty_plan() -> None:
    for policy in Policy:
        plan = plan_shims([], {2.40: 3}, SERIES, policy)
        assert plan.rows == () and plan.feasible and plan.sum_abs_deviation_mm == 0


def test_why_is_said_in_words() -> None:
    plan = plan_shims([valve("1", 2.40, 0.12), valve("2", 2.30, 0.28)], {}, SERIES, Policy.FEWEST_NEW)
    assert plan.rows[0].why == "from valve 2, 0.02 mm looser than the target"


def test_senseless_plan_is_refused() -> None:
    with pytest.raises(ValueError, match="named twice"):
        plan_shims([valve("1", 2.4, 0.2), valve("1", 2.4, 0.2)], {}, SERIES, Policy.TARGET)
    with pytest.raises(ValueError, match="cannot hold -1"):
        plan_shims([valve("1", 2.4, 0.2)], {2.4: -1}, SERIES, Policy.TARGET)
    with pytest.raises(ValueError, match="cheapest"):
        plan_shims([], {}, SERIES, "cheapest")
    with pytest.raises(ValueError, match="not believable"):
        valve("1", 240, 0.2)


# Against exhaustive search. Everything in whole hundredths, so that the search needs no rounding.

Hundredths = tuple[int, int]  # shim fitted, clearance found
LOW, HIGH, GOAL = 17, 23, 20


def every_choice(engine: list[Hundredths], drawer: list[int], step: int | None) -> list[tuple[int, int, int]]:
    """(valves left without a shim, sum of deviations, shims bought) of every possible assignment."""
    at_hand = [fitted for fitted, _ in engine] + drawer
    choices = []
    for fitted, found in engine:
        total = fitted + found
        mine: list[tuple[str, int, int]] = [("none", 0, 0)]
        mine += [
            ("hand", j, abs(total - shim - GOAL))
            for j, shim in enumerate(at_hand)
            if LOW <= total - shim <= HIGH
        ]
        if step:
            made = [s for s in range(120, 351, step) if LOW <= total - s <= HIGH]
            mine += [("buy", 0, min(abs(total - s - GOAL) for s in made))] if made else []
        choices.append(mine)
    worths = []
    for pick in product(*choices):
        used = [j for kind, j, _ in pick if kind == "hand"]
        if len(used) == len(set(used)):
            kinds = [kind for kind, _, _ in pick]
            worths.append((kinds.count("none"), sum(off for _, _, off in pick), kinds.count("buy")))
    return worths


def worth(plan: Plan) -> tuple[int, int, int]:
    return len(plan.impossible), round(plan.sum_abs_deviation_mm * 100), plan.to_buy_mm.total()


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(225, 240), st.integers(5, 35)), min_size=1, max_size=4),
    st.lists(st.integers(215, 250), max_size=3),
    st.sampled_from([None, 5, 10]),
)
def test_plan_equals_exhaustive_search(engine: list[Hundredths], drawer: list[int], step: int | None) -> None:
    valves = [valve(str(i), fitted / 100, found / 100) for i, (fitted, found) in enumerate(engine)]
    drawer_mm = Counter(shim / 100 for shim in drawer)
    series = MadeSeries(1.20, 3.50, step / 100) if step else None
    worths = every_choice(engine, drawer, step)
    least = min(left_out for left_out, _, _ in worths)
    served = [w for w in worths if w[0] == least]

    target = plan_shims(valves, drawer_mm, series, Policy.TARGET)
    assert worth(target) == min(served)
    fewest = plan_shims(valves, drawer_mm, series, Policy.FEWEST_NEW)
    assert worth(fewest) == min(served, key=lambda w: (w[2], w[1]))
    # one camshaft works them all: it comes off only where one valve is out of range
    calm = all(LOW <= found <= HIGH for _, found in engine)
    lifted = plan_shims(valves, drawer_mm, series, Policy.FEWEST_CAMSHAFTS)
    assert lifted.camshafts_lifted == () if calm else worth(lifted) == worth(target)

    for plan in (target, fewest, lifted):
        assert all(row.in_range for row in plan.rows if row.origin is not Origin.NONE)
        taken = Counter(plan.from_stock_mm)
        assert all(taken[size] <= drawer_mm[size] for size in taken)
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


def most_served(valves: list[ShimValve], shims: list[int], series: MadeSeries | None) -> int:
    """How many valves can be in range at once: the largest matching, found by augmenting paths."""
    at_hand = [round(float(valve.fitted_mm) * 100) for valve in valves] + shims

    def fits(valve: ShimValve, shim: int) -> bool:
        total = round(float(valve.fitted_mm) * 100) + round(float(valve.measured_mm) * 100)
        return round(float(valve.low_mm) * 100) <= total - shim <= round(float(valve.high_mm) * 100)

    bought = [round(size * 100) for size in series.sizes_mm] if series else []
    can_buy = [any(fits(valve, size) for size in bought) for valve in valves]
    taken: dict[int, int] = {}

    def place(v: int, seen: set[int]) -> bool:
        for shim in (j for j, size in enumerate(at_hand) if fits(valves[v], size) and j not in seen):
            seen.add(shim)
            if shim not in taken or place(taken[shim], seen):
                taken[shim] = v
                return True
        return False

    # Whoever can buy need not take one from the others.
    return sum(can_buy) + sum(place(v, set()) for v in range(len(valves)) if not can_buy[v])


@settings(max_examples=200, deadline=None)
@given(
    engines(),
    st.lists(st.integers(160, 300), max_size=40),
    st.sampled_from([None, MadeSeries(1.20, 3.50, 0.05), MadeSeries(1.90, 2.30, 0.05)]),
)
def test_no_valve_is_left_out_of_range_where_it_could_be_in(
    valves: list[ShimValve], shims: list[int], series: MadeSeries | None
) -> None:
    drawer_mm = Counter(shim / 100 for shim in shims)
    most = most_served(valves, shims, series)
    for policy in Policy:
        plan = plan_shims(valves, drawer_mm, series, policy)
        assert len(valves) - len(plan.impossible) == most
        assert plan.feasible == (most == len(valves))
        assert all(row.in_range for row in plan.rows if row.origin is not Origin.NONE)
        for row in plan.impossible:
            assert row.valve.name in row.why
            assert "none at hand or made brings it between" in row.why


@settings(max_examples=100, deadline=None)
@given(engines(), st.lists(st.integers(160, 300), max_size=40))
def test_a_camshaft_in_range_stays_in_where_shims_can_be_bought(
    valves: list[ShimValve], shims: list[int]
) -> None:
    # in steps of a hundredth every valve can be served by a bought shim
    every_size = MadeSeries(0.50, 9.00, 0.01)
    plan = plan_shims(valves, Counter(shim / 100 for shim in shims), every_size, Policy.FEWEST_CAMSHAFTS)
    assert plan.feasible
    out = {
        valve.camshaft
        for valve in valves
        if not float(valve.low_mm) <= float(valve.measured_mm) <= float(valve.high_mm)
    }
    assert set(plan.camshafts_lifted) == out


def test_a_camshaft_in_range_comes_off_where_its_shim_alone_can_help() -> None:
    # Nothing to buy, an empty drawer. The exhaust valve needs 2.50 + 0.10 - 0.20 = 2.40, which the intake
    # valve has; the intake valve, on 2.40 + 0.20 = 2.60 together, stays in range 0.05 to 0.35 with 2.50.
    exhaust = ShimValve("exhaust", 2.50, 0.10, 0.17, 0.23, 0.20, camshaft="exhaust")
    intake = ShimValve("intake", 2.40, 0.20, 0.05, 0.35, 0.20, camshaft="intake")
    plan = plan_shims([exhaust, intake], {}, None, Policy.FEWEST_CAMSHAFTS)
    assert [row.predicted_mm for row in plan.rows] == [0.20, 0.10]
    assert plan.camshafts_lifted == ("exhaust", "intake")
