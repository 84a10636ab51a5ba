import numpy as np
import pytest
import scipy.stats

from jobs.calc.dyno.comparison import RunComparison, compare, compare_values
from jobs.calc.dyno.curve_difference import CurveDifference, Region, Verdict, compare_curves
from jobs.calc.dyno.curves import Curve, apply_factor, power_curve
from jobs.calc.dyno.design import Design
from jobs.calc.dyno.spread import (
    RunSpread,
    SessionSpread,
    ShopSpread,
    assumed_spread,
    run_spread,
    slope_spread,
)

SPEED = np.arange(4_000.0, 10_001.0, 10.0)
BEFORE_KW, AFTER_KW = [98.4, 98.9, 98.1], [101.2, 100.6, 101.5]
STUDENTS = tuple(scipy.stats.ttest_ind(AFTER_KW, BEFORE_KW).confidence_interval())


def flat(power_kw: float, speed: np.ndarray = SPEED) -> Curve:
    return power_curve(speed, np.full(speed.size, power_kw))


def flats(powers: list[float]) -> list[Curve]:
    return [flat(power) for power in powers]


def codes(found: RunComparison) -> list[str]:
    return [flag.code for flag in found.flags]


def test_default_bands_split_the_common_speeds() -> None:
    found = compare([flat(98)], [flat(99)]).bands
    assert [(band.name, band.from_rpm, band.to_rpm) for band in found] == [
        ("whole", 4_000, 10_000),
        ("drive band", 6_400, 8_500),
        ("top", 8_500, 10_000),
    ]


def test_gain_over_a_band_has_students_interval() -> None:
    """Three runs each, difference 2.633333 kW, df 4, 1.650946 to 3.615720 (scipy's ttest_ind, equal spread).

    The runs of one shop have one spread: with Welch's, two groups of two had no use.
    """
    found = compare(flats(BEFORE_KW), flats(AFTER_KW))
    for band in found.bands:
        power = band.mean_power
        assert power.difference == pytest.approx(2.633333, abs=1e-5)
        assert power.df == 4
        assert (power.ci_low, power.ci_high) == pytest.approx(STUDENTS, abs=1e-5)
        assert power.verdict is Verdict.MORE
        assert power.assumed_pct is None
    # Flat curves differ in nothing but their level, so the band over all speeds is Student's, too.
    here = found.engine_speed_rpm == 7_000
    assert found.power.ci_low[here] == pytest.approx(STUDENTS[0], abs=1e-3)
    # 2.633333 kW at 7,000 1/min is 3.5924 N·m
    assert found.torque.difference[here] == pytest.approx(3.5924, abs=1e-4)


def test_swapped_groups_give_less() -> None:
    assert compare(flats(AFTER_KW), flats(BEFORE_KW)).bands[0].mean_power.verdict is Verdict.LESS


def test_difference_within_scatter_is_not_called_equal() -> None:
    found = compare(flats([111.7, 112.6, 112.0]), flats([112.1, 112.9, 111.8, 112.4]))
    power = found.bands[0].mean_power
    assert power.verdict is Verdict.NO_DIFFERENCE
    assert "3 runs before, 4 runs after" in power.sentence
    assert "This does not prove they are equal" in power.sentence


def test_single_runs_take_spread_from_assumed_repeatability() -> None:
    """1 % of 100 and of 103 kW: SE = √(1² + 1.03²) = 1.43558, half-width 1.959964·1.43558 = 2.81369."""
    found = compare([flat(100)], [flat(103)])
    power = found.bands[0].mean_power
    assert (power.ci_low, power.ci_high) == pytest.approx((3 - 2.81369, 3 + 2.81369), abs=1e-4)
    assert power.verdict is Verdict.MORE
    assert found.assumed
    assert power.assumed_pct == 1.0
    assert "1 % is assumed" in power.sentence
    rougher = compare([flat(100)], [flat(103)], spread=assumed_spread(1.5, 300)).bands[0].mean_power
    assert rougher.verdict is Verdict.NO_DIFFERENCE


def test_three_repeats_measure_the_spread_for_a_single_run() -> None:
    """Pooled: SE = s·√(1/3 + 1) with s of the three and 2 degrees of freedom (scipy, one group of one)."""
    found = compare(flats(BEFORE_KW), [flat(103)])
    power = found.bands[0].mean_power
    half = scipy.stats.t.ppf(0.975, 2) * np.std(BEFORE_KW, ddof=1) * np.sqrt(4 / 3)
    assert not found.assumed
    assert (power.ci_high - power.ci_low) / 2 == pytest.approx(half)


def test_two_runs_against_one_still_need_the_assumed_repeatability() -> None:
    """One degree of freedom: Student's factor of 12.7 would say nothing."""
    found = compare(flats(BEFORE_KW[:2]), [flat(103)])
    assert found.assumed
    assert found.bands[0].mean_power.assumed_pct == 1.0


def test_each_band_has_its_own_difference() -> None:
    """A gain at the top only: 5 kW above 9,000 1/min, nothing below."""
    lifted = [power_curve(SPEED, p + np.where(SPEED > 9_000, 5.0, 0.0)) for p in (98.5, 98.6, 98.4)]
    bands = {"low": (4_000.0, 8_000.0), "high": (9_200.0, 10_000.0)}
    low, high = compare(flats([98.5, 98.4, 98.6]), lifted, bands).bands
    verdicts = (low.mean_power.verdict, high.mean_power.verdict)
    assert verdicts == (Verdict.NO_DIFFERENCE, Verdict.MORE)
    assert high.mean_power.difference == pytest.approx(5, abs=0.01)
    assert high.peak_power.difference == pytest.approx(5, abs=0.01)
    # over 800 1/min: 5 kW · 800 1/min
    assert high.area.difference == pytest.approx(4_000, abs=10)


def test_highest_value_of_a_band_is_not_above_the_peak_of_the_curve() -> None:
    """A round top at 7,950 1/min with noise: bands on both sides of it, around it and far from it."""
    noise = np.random.default_rng(8).normal(0, 1, (6, SPEED.size))
    runs = [power_curve(SPEED, 100 - 6 * ((SPEED - 7_950) / 1_000) ** 2 + each) for each in noise]
    bands = {
        "whole": (float(SPEED.min()), float(SPEED.max())),
        "around": (6_000.0, 9_000.0),
        "below": (4_000.0, 7_900.0),
        "above": (8_000.0, 10_000.0),
        "far": (4_000.0, 6_000.0),
    }
    found = {band.name: band.peak_power for band in compare(runs[:3], runs[3:], bands).bands}
    for side in ("before", "after"):
        whole = getattr(found["whole"], side)
        assert whole == pytest.approx(100, abs=0.3)
        for name in ("around", "below", "above"):
            assert whole - 0.3 < getattr(found[name], side) <= whole
        assert getattr(found["far"], side) == pytest.approx(100 - 6 * 1.95**2, abs=1.0)


def test_speeds_that_a_run_lacks_are_not_compared() -> None:
    short = flat(100, SPEED[SPEED <= 8_000])
    found = compare([flat(98), flat(98.2), short], flats([99, 99.1]))
    assert np.isfinite(found.power.difference[found.engine_speed_rpm <= 8_000]).all()
    assert np.isnan(found.power.difference[found.engine_speed_rpm > 8_000]).all()
    assert found.bands[0].to_rpm == 8_000


def test_band_outside_the_runs_is_not_measured() -> None:
    found = compare(flats(BEFORE_KW), flats(AFTER_KW), {"beyond": (11_000, 12_000)}).bands[0]
    values = (found.mean_power, found.mean_torque, found.peak_power, found.peak_torque, found.area)
    assert not any(value.measured for value in values)
    assert found.mean_power.verdict is Verdict.NOT_MEASURED
    assert "not measured" in found.mean_power.sentence


def test_sentence_is_in_the_readers_unit() -> None:
    power = compare(flats(BEFORE_KW), flats(AFTER_KW)).bands[0].mean_power
    assert power.sentence.startswith("Mean power: 2.6 kW more (95 % interval 1.7 kW to 3.6 kW;")
    # 2.633 kW is 3.58 PS
    assert power.describe(lambda kw: f"{kw * 1.35962:.2f} PS").startswith("Mean power: 3.58 PS more")


def test_difference_in_pct_is_of_the_value_before() -> None:
    power = compare(flats([100, 100.2, 99.8]), flats([104, 104.1, 103.9])).bands[0].mean_power
    assert power.difference_pct == pytest.approx(4.0)


def test_comparison_flags_what_weakens_it() -> None:
    steady = flats([98.4, 98.9, 98.1])
    assert codes(compare(steady, flats(AFTER_KW))) == []
    assert codes(compare(steady, flats([100, 100, 100]))) == ["same-run"]
    assert codes(compare(flats([98, 99.1, 100, 101.1]), steady)) == []
    assert codes(compare(flats([98, 99.1, 100, 101.1]), flats([98, 98.9, 100.1, 101]))) == ["order"]
    warmer = compare(steady, flats(AFTER_KW), temperatures_c=([20, 21, 22], [33, 34, 35]))
    assert codes(warmer) == ["temperature"]
    corrected = [apply_factor(curve, 1.02) for curve in flats(AFTER_KW)]
    assert codes(compare(steady, corrected)) == ["mixed-correction"]


@pytest.mark.parametrize(
    ("before", "after", "options", "message"),
    [
        ([], [flat(1)], {}, "at least one run before"),
        ([flat(1)], [], {}, "at least one run before"),
        ([flat(1, SPEED[SPEED < 6_000])], [flat(1, SPEED[SPEED > 7_000])], {}, "no engine speed in common"),
        ([flat(1)], [flat(1)], {"bands": {"odd": (9_000, 5_000)}}, "'odd' must be above its start"),
    ],
)
def test_incomparable_runs_are_refused(before, after, options, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        compare(before, after, **options)


def test_side_without_values_is_refused() -> None:
    with pytest.raises(ValueError, match="Peak power"):
        compare_values("Peak power", "kW", [], [1.0], RunSpread(1.0, 10), SessionSpread(0.5, np.inf))


def shop_with(sd_pct: float, df: float) -> ShopSpread:
    run = RunSpread(sd_pct, df)
    return ShopSpread(run, run, run, 0.0, SessionSpread(0.5, np.inf))


def test_shop_spread_stands_behind_single_runs_with_its_degrees_of_freedom() -> None:
    """0.8 % with 10 degrees of freedom: 2.228139·√(0.8² + 0.824²)."""
    found = compare([flat(100)], [flat(103)], spread=shop_with(0.8, 10)).bands[0].mean_power
    assert found.df == pytest.approx(10)
    assert found.ci_high - found.difference == pytest.approx(2.228139 * np.hypot(0.8, 0.824), rel=1e-5)
    assert found.assumed_pct is None


def test_shop_spread_is_pooled_with_that_of_the_runs() -> None:
    """s² = (4·s_own² + 12·s_shop²)/16 in the unit of each side, t of 16 degrees of freedom 2.119905."""
    found = compare(flats(BEFORE_KW), flats(AFTER_KW), spread=shop_with(0.5, 12)).bands[0].mean_power
    own = (np.var(BEFORE_KW, ddof=1) + np.var(AFTER_KW, ddof=1)) / 2
    sides = [(4 * own + 12 * (0.005 * np.mean(side)) ** 2) / 16 for side in (BEFORE_KW, AFTER_KW)]
    assert found.df == pytest.approx(16)
    assert found.ci_high - found.difference == pytest.approx(2.119905 * np.sqrt(sum(sides) / 3), rel=1e-5)


def test_runs_that_scatter_more_than_the_shops_stand_for_themselves() -> None:
    found = compare(flats([98, 100, 96]), flats([103, 99, 101]), spread=shop_with(0.2, 30))
    assert codes(found) == ["wild"]
    assert found.bands[0].mean_power.df == 4
    assert "of these runs alone" in found.contents


def test_no_difference_names_what_would_have_been_seen() -> None:
    """Three runs each, 4 degrees of freedom: 3.071 s in 4 of 5 (noncentral t, see test_design)."""
    before, after = [100.0, 100.3, 99.7], [100.1, 100.4, 99.8]
    found = compare(flats(before), flats(after)).bands[0].mean_power
    assert found.verdict is Verdict.NO_DIFFERENCE
    assert found.smallest == pytest.approx(3.071 * 0.3, abs=1e-3)
    assert "A real difference of 0.9 kW would show up 4 times in 5." in found.sentence


def test_contents_name_drift_and_sessions() -> None:
    simple = compare(flats(BEFORE_KW), flats(AFTER_KW)).contents
    assert "leaves out a drift over the runs (the baseline was not run again" in simple
    assert "strapping down again or of another day (all runs were made in one session)" in simple
    sides = [False] * 3 + [True] * 3 + [False] * 3
    again = compare(flats(BEFORE_KW * 2), flats(AFTER_KW), design=Design.from_runs(sides)).contents
    assert "covers the scatter from run to run (of these runs alone) and the drift from run to run" in again
    restrapped = Design.from_runs([False] * 3 + [True] * 3, [0] * 3 + [1] * 3)
    two = compare(flats(BEFORE_KW), flats(AFTER_KW), design=restrapped).contents
    assert (
        "covers the scatter from run to run (of these runs alone) and the effect of strapping down again"
        in two
    )
    assert "0.5 %, assumed" in two


def test_drift_is_taken_out_if_the_baseline_is_run_again() -> None:
    """Runs fall by 0.1 kW each, the change adds 2 kW: without the drift the mean of B is 1.7 kW too low."""
    levels = [100.0 - 0.1 * i + 2 * (3 <= i < 6) for i in range(9)]
    sides = [3 <= i < 6 for i in range(9)]
    before = [level for level, is_after in zip(levels, sides, strict=True) if not is_after]
    found = compare(flats(before), flats(levels[3:6]), design=Design.from_runs(sides)).bands[0].mean_power
    assert found.difference == pytest.approx(2.0, abs=1e-6)
    once = compare(flats(levels[:3]), flats(levels[3:6])).bands[0].mean_power
    assert once.difference == pytest.approx(1.7, abs=1e-6)


# --- where the difference is


THREE_EACH = Design.from_runs([False] * 3 + [True] * 3)
GRID = np.arange(3_000.0, 11_001.0, 50.0)
# Gaussian weights of 75 1/min, scaled to unit variance: columns are the grid's points.
SMOOTHING = np.exp(-0.5 * ((np.arange(GRID.size + 24)[:, None] - 12 - np.arange(GRID.size)) / 1.5) ** 2)
SMOOTHING /= np.sqrt(np.square(SMOOTHING).sum(axis=0))


def simulated_power(rng: np.random.Generator, count: int, gain: np.ndarray | float = 0.0) -> np.ndarray:
    """Power [kW] of runs whose level scatters by 0.4 % and whose samples are smoothed over 300 1/min."""
    hill = 100 - 30 * ((GRID - 8_500) / 5_000) ** 2
    smooth = rng.normal(size=(count, GRID.size + 24)) @ SMOOTHING
    level = 0.004 * rng.normal(size=(count, 1))
    return np.asarray(hill * (1 + gain) * (1 + level + 0.0015 * smooth))


def compare_simulated(
    rng: np.random.Generator, design: Design, spread: ShopSpread, gain: np.ndarray | float = 0.0
) -> CurveDifference:
    values = simulated_power(rng, design.after.size)
    values[design.after] = simulated_power(rng, design.counts[1], gain)
    return compare_curves(values, GRID, design, spread, 300)


def shop_of(rng: np.random.Generator, jobs: int = 10) -> ShopSpread:
    """Spread of a shop with so many groups of three repeats."""
    groups = [(simulated_power(rng, 3),) for _ in range(jobs)]
    mean = run_spread([(power.mean(axis=1),) for (power,) in groups])
    slope = slope_spread(groups, [GRID] * jobs)
    return ShopSpread(mean, mean, run_spread(groups), slope, SessionSpread(0.5, np.inf))


@pytest.mark.parametrize("runs", [1, 3])
def test_band_over_engine_speed_holds_everywhere_95_times_in_100(runs: int) -> None:
    rng = np.random.default_rng(40 + runs)
    spreads = [shop_of(rng) for _ in range(150)]
    design = Design.from_runs([False] * runs + [True] * runs)
    held = [not compare_simulated(rng, design, spreads[i % 150]).regions for i in range(1_200)]
    assert 0.93 <= np.mean(held) <= 0.97


def test_gain_in_a_part_of_the_range_is_found_and_named() -> None:
    """3 % from 6,500 to 9,500 1/min, which the mean over everything hides: found nearly always, in place."""
    rng = np.random.default_rng(44)
    spread = shop_of(rng)
    gain = 0.03 * ((GRID >= 6_500) & (GRID <= 9_500))
    found = [compare_simulated(rng, THREE_EACH, spread, gain) for _ in range(100)]
    seen = [f.regions[0] for f in found if len(f.regions) == 1 and f.regions[0].verdict is Verdict.MORE]
    assert len(seen) >= 93
    assert np.median([r.from_rpm for r in seen]) == pytest.approx(6_500, abs=100)
    assert np.median([r.to_rpm for r in seen]) == pytest.approx(9_500, abs=100)
    assert "more between about 6500 and 9500 rpm" in CurveDifference(
        found[0].difference, found[0].ci_low, found[0].ci_high, 3.0, (Region(6_480, 9_530, Verdict.MORE),)
    ).describe("Power")


def test_stretches_closer_than_the_smoothing_are_one() -> None:
    rng = np.random.default_rng(45)
    gain = 0.04 * ((GRID >= 4_000) & (GRID <= 6_000)) - 0.04 * (GRID >= 9_000)
    found = compare_simulated(rng, THREE_EACH, shop_of(rng), gain)
    assert [region.verdict for region in found.regions] == [Verdict.MORE, Verdict.LESS]
    assert found.describe("Power").startswith("Power: more between about 4000 and 6000 rpm, less between")
