import numpy as np
import pytest

from jobs.calc.dyno.comparison import RunComparison, Verdict, compare, compare_values
from jobs.calc.dyno.curves import Curve, apply_factor, power_curve

SPEED = np.arange(4_000.0, 10_001.0, 10.0)
BEFORE_KW, AFTER_KW = [98.4, 98.9, 98.1], [101.2, 100.6, 101.5]


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


def test_gain_over_a_band_has_welchs_interval() -> None:
    """Three runs each, difference 2.633333 kW, df 3.938462, 1.64783 to 3.618836 (scipy's Welch interval)."""
    found = compare(flats(BEFORE_KW), flats(AFTER_KW))
    for band in found.bands:
        power = band.mean_power
        assert power.difference == pytest.approx(2.633333, abs=1e-5)
        assert power.df == pytest.approx(3.938462, abs=1e-5)
        assert (power.ci_low, power.ci_high) == pytest.approx((1.64783, 3.618836), abs=1e-5)
        assert power.verdict is Verdict.MORE
        assert power.assumed_pct is None
    here = found.engine_speed_rpm == 7_000
    assert found.power.ci_low[here] == pytest.approx(1.64783, abs=1e-5)
    # 2.633333 kW at 7,000 1/min is 3.5924 N·m
    assert found.torque.difference[here] == pytest.approx(3.5924, abs=1e-4)


def test_swapped_groups_give_less() -> None:
    assert compare(flats(AFTER_KW), flats(BEFORE_KW)).bands[0].mean_power.verdict is Verdict.LESS


def test_difference_within_scatter_is_not_called_equal() -> None:
    found = compare(flats([111.7, 112.6, 112.0]), flats([112.1, 112.9, 111.8, 112.4]))
    power = found.bands[0].mean_power
    assert power.verdict is Verdict.NO_DIFFERENCE
    assert "3 runs before, 4 runs after" in power.sentence
    assert "does not make them equal" in power.sentence


def test_single_runs_take_spread_from_assumed_repeatability() -> None:
    """1 % of 100 and of 103 kW: SE = √(1² + 1.03²) = 1.43558, half-width 1.959964·1.43558 = 2.81369."""
    found = compare([flat(100)], [flat(103)])
    power = found.bands[0].mean_power
    assert (power.ci_low, power.ci_high) == pytest.approx((3 - 2.81369, 3 + 2.81369), abs=1e-4)
    assert power.verdict is Verdict.MORE
    assert found.assumed
    assert power.assumed_pct == 1.0
    assert "1 % is assumed" in power.sentence
    rougher = compare([flat(100)], [flat(103)], assumed_repeatability_pct=1.5).bands[0].mean_power
    assert rougher.verdict is Verdict.NO_DIFFERENCE


def test_one_single_run_marks_comparison_as_assumed() -> None:
    found = compare(flats(BEFORE_KW), [flat(103)])
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
    assert power.sentence.startswith("Mean power: 2.6 kW more (95 % interval 1.6 kW to 3.6 kW;")
    # 2.633 kW is 3.58 PS
    assert power.describe(lambda kw: f"{kw * 1.35962:.2f} PS").startswith("Mean power: 3.58 PS more")


def test_difference_in_pct_is_of_the_value_before() -> None:
    power = compare(flats([100, 100.2, 99.8]), flats([104, 104.1, 103.9])).bands[0].mean_power
    assert power.difference_pct == pytest.approx(4.0)


def test_comparison_flags_what_weakens_it() -> None:
    steady = flats([98.4, 98.9, 98.1])
    assert codes(compare(steady, flats(AFTER_KW))) == []
    assert codes(compare(steady, flats([100, 100, 100]))) == ["same-run"]
    assert codes(compare(steady, flats([100, 100.4]))) == ["two-runs"]
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
        ([flat(1)], [flat(1)], {"bands": {"odd": (9_000, 5_000)}}, "'odd' has to end above"),
        ([flat(1)], [flat(1)], {"assumed_repeatability_pct": 0}, "repeatability"),
    ],
)
def test_incomparable_runs_are_refused(before, after, options, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        compare(before, after, **options)


def test_side_without_values_is_refused() -> None:
    with pytest.raises(ValueError, match="Peak power"):
        compare_values("Peak power", "kW", [], [1.0])


def coverage(runs_before: int, runs_after: int, trials: int, seed: int) -> float:
    """How often the interval of the mean power holds the true 2 kW, from noisy samples to the band."""
    rng = np.random.default_rng(seed)
    speed = np.linspace(4_000, 10_000, 200)

    def runs(true_kw: float, count: int) -> list[Curve]:
        level = true_kw * (1 + 0.01 * rng.normal(size=count))
        return [power_curve(speed, kw + rng.normal(0, 0.5, speed.size)) for kw in level]

    held = 0
    for _ in range(trials):
        found = (
            compare(runs(100, runs_before), runs(102, runs_after), {"all": (5_000, 9_000)})
            .bands[0]
            .mean_power
        )
        held += found.ci_low <= 2 <= found.ci_high
    return held / trials


@pytest.mark.slow
@pytest.mark.parametrize(("runs_before", "runs_after"), [(3, 4), (1, 1), (1, 3)])
def test_intervals_contain_the_truth_95_times_in_100(runs_before: int, runs_after: int) -> None:
    """Also where a single run leans on the assumed 1 %, which is the simulated runs' own."""
    assert 0.93 <= coverage(runs_before, runs_after, trials=1_000, seed=21) <= 0.97
