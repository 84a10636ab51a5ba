"""Mixture grid, correction and warnings against held runs of which the truth is known."""

import numpy as np
import numpy.typing as npt
import pytest

from jobs.calc.mixture.grid import (
    MixtureGrid,
    NoCorrectionReason,
    UnusedReason,
    build_mixture_grid,
    compute_correction,
    expand_target,
)
from jobs.calc.mixture.steady import RunChannels, collect_steady_samples
from jobs.calc.mixture.warnings import find_lean_regions, find_warnings

Array = npt.NDArray[np.float64]

RPM = np.array([3000.0, 4000.0, 5000.0, 6000.0, 7000.0])
LOAD = np.array([10.0, 20.0, 40.0, 70.0, 100.0])


def correlated(rng: np.random.Generator, shape: tuple[int, ...], sd: float, samples: float) -> Array:
    """First-order scatter along the last axis, of this spread, forgetting within about this many samples."""
    keep = np.exp(-1 / samples)
    walk = np.empty(shape)
    walk[..., 0] = rng.normal(0, sd, shape[:-1])
    for i in range(1, shape[-1]):
        walk[..., i] = keep * walk[..., i - 1] + rng.normal(0, sd * np.sqrt(1 - keep**2), shape[:-1])
    return walk


def error_share(speed: Array, load: Array) -> Array:
    """How far the simulated engine is off its target: leaner with load, and a little with speed."""
    return 0.06 * (load - 10) / 90 - 0.02 * (speed - 5000) / 2000


def held_run(rng: np.random.Generator, load_pct: float, delay_ms: float) -> RunChannels:
    """Up in steps of 500 1/min, each held for 1.5 s, at 20 Hz, wanted lambda 0.90, sensed late."""
    steps = np.arange(2500.0, 6001.0, 500.0)
    begins = np.arange(steps.size) * 1.75
    corners = np.ravel(np.column_stack([begins, begins + 1.5]))
    time_s = np.arange(0, corners[-1], 0.05)
    speed = np.interp(time_s, corners, np.repeat(steps, 2)) + rng.normal(0, 4, time_s.size)
    load = np.full(time_s.size, load_pct)
    burnt = 0.90 * (1 + error_share(speed, load))
    sensed = np.interp(time_s - delay_ms / 1000, time_s, burnt)
    return RunChannels(time_s, speed, load, load, sensed + correlated(rng, time_s.shape, 0.003, 3.0))


@pytest.mark.parametrize("delay_ms", [80, 150, 220, 300])
def test_correction_recovers_known_error_and_only_where_held(delay_ms: float) -> None:
    rng = np.random.default_rng(delay_ms)
    runs = [held_run(rng, load, delay_ms) for load in (20.0, 40.0, 70.0) for _ in range(2)]
    samples = collect_steady_samples(runs, delay_ms)
    grid = build_mixture_grid(
        samples.engine_speed_rpm, samples.load_pct, samples.lambda_, RPM, LOAD, hold=samples.hold
    )
    found = compute_correction(grid, 0.90)
    truth = 1 + error_share(RPM[None, 1:4], LOAD[1:4, None])
    np.testing.assert_allclose(found.multiplier[1:4, 1:4], truth, rtol=0.005)
    never_held = np.ones((5, 5), dtype=bool)
    never_held[1:4, :4] = False
    assert not found.given[never_held].any()
    assert (found.reason[~grid.visited] == NoCorrectionReason.NOT_VISITED).all()


def one_cell(lambda_: list[float], hold: list[int] | None = None, **more: float) -> MixtureGrid:
    size = len(lambda_)
    speed = np.full(size, more.get("speed", 4000.0))
    load = np.full(size, more.get("load", 40.0))
    return build_mixture_grid(speed, load, lambda_, RPM, LOAD, hold=[0] * size if hold is None else hold)


def test_cell_statistics_agree_with_hand_calculation() -> None:
    # two holds of five on the point: means 0.90 and 0.92, mean 0.91; s² of all ten 10·0.01²/9;
    # spread of the holds 0.01·√2, half-width t(0.975, 1)·0.01·√2/√2 = 12.706·0.01
    grid = one_cell([0.90] * 5 + [0.92] * 5, [0] * 5 + [1] * 5)
    assert grid.mean[2, 1] == pytest.approx(0.91, abs=1e-12)
    assert grid.sd[2, 1] == pytest.approx(np.sqrt(10 * 0.01**2 / 9), rel=1e-9)
    assert grid.half_width_95[2, 1] == pytest.approx(12.7062 * 0.01, rel=1e-5)
    assert (grid.n[2, 1], grid.holds[2, 1]) == (10, 2)
    assert grid.n.sum() == 10
    assert np.isnan(np.delete(grid.mean.ravel(), 2 * 5 + 1)).all()


def test_cell_has_mean_but_no_interval_and_no_correction_when_held_once() -> None:
    grid = one_cell([0.95] * 50)
    assert grid.mean[2, 1] == pytest.approx(0.95)
    assert np.isnan(grid.half_width_95[2, 1])
    assert compute_correction(grid, 0.9).reason[2, 1] == NoCorrectionReason.TOO_FEW


def test_hold_counts_once_when_it_crosses_a_boundary_repeatedly() -> None:
    speed = np.where(np.arange(40) % 2, 4490.0, 4510.0)
    grid = build_mixture_grid(
        speed, np.full(40, 40), np.full(40, 0.9), RPM, LOAD, hold=np.zeros(40, dtype=int)
    )
    assert list(grid.holds[2]) == [0, 1, 1, 0, 0]


@pytest.mark.parametrize(
    ("speed", "load", "cell"),
    [
        (7000.0, 100.0, (4, 4)),  # wide open stays
        (2500.0, 5.0, (0, 0)),  # the outer boundaries belong to the table
        (7500.0, 115.0, (4, 4)),
        (4499.9, 54.9, (2, 1)),  # half-way between 4,000 and 5,000, and between 40 and 70
        (4500.0, 55.0, (3, 2)),
    ],
)
def test_cells_meet_half_way_between_points(speed: float, load: float, cell: tuple[int, int]) -> None:
    grid = one_cell([0.9] * 5, speed=speed, load=load)
    assert grid.n[cell] == 5


def test_cell_counts_agree_with_histogram() -> None:
    rng = np.random.default_rng(4)
    speed, load = rng.uniform(2500, 7500, 40_000), rng.uniform(5, 115, 40_000)
    counted = build_mixture_grid(speed, load, np.full(40_000, 0.9), RPM, LOAD, hold=np.zeros(40_000))
    edges = ([5, 15, 30, 55, 85, 115], [2500, 3500, 4500, 5500, 6500, 7500])
    np.testing.assert_array_equal(counted.n, np.histogram2d(load, speed, bins=edges)[0])


def test_unused_samples_are_counted_by_reason() -> None:
    lambda_ = [0.9] * 6 + [np.nan, 0.9, 1.60, 0.65]
    speed = [4000.0] * 6 + [4000.0, 9000.0, 4000.0, 4000.0]
    stray = ([6000.0] * 3, [0.9] * 3)
    grid = build_mixture_grid(
        speed + stray[0], np.full(13, 40.0), lambda_ + stray[1], RPM, LOAD, hold=[0] * 13
    )
    assert grid.unused == {
        UnusedReason.NOT_MEASURED: 1,
        UnusedReason.OUTSIDE: 1,
        UnusedReason.END_OF_SCALE: 2,
        UnusedReason.BRIEF: 3,
    }
    assert grid.n.sum() == 6
    assert grid.end_of_scale[2, 1] == 1  # the rich end is no danger


def test_grid_is_empty_when_there_is_no_sample() -> None:
    grid = build_mixture_grid([], [], [], RPM, LOAD, hold=[])
    assert not grid.visited.any()
    assert find_warnings(grid, 0.9)[0].code == "no-samples"


def well_measured(lambda_by_cell: Array) -> MixtureGrid:
    """Four holds of ten samples in every cell, with the least of scatter between them."""
    mean = np.repeat(lambda_by_cell.ravel(), 40) + np.tile(np.repeat([-0.001, 0.001, -0.001, 0.001], 10), 25)
    speed = np.tile(np.repeat(RPM, 40), 5)
    return build_mixture_grid(speed, np.repeat(LOAD, 200), mean, RPM, LOAD, hold=np.arange(1000) // 10)


def test_correction_is_measured_over_target_up_to_limit_of_one_pass() -> None:
    lambda_by_cell = np.full((5, 5), 0.90)
    lambda_by_cell[2, 2], lambda_by_cell[4, 4] = 0.945, 1.20
    found = compute_correction(well_measured(lambda_by_cell), 0.90)
    # the smoothness takes a few thousandths from the step of a single cell
    assert found.multiplier[2, 2] == pytest.approx(1.05, abs=0.005 * 0.05)
    assert found.multiplier[4, 4] == 1.15
    assert found.wanted[4, 4] == pytest.approx(1.20 / 0.90, abs=0.005 * 0.33)
    assert [tuple(cell) for cell in np.argwhere(found.limited)] == [(4, 4)]
    assert found.given.all()


def test_correction_is_not_given_when_cell_is_too_uncertain() -> None:
    grid = one_cell([0.85] * 5 + [0.95] * 5 + [0.90] * 5, [0] * 5 + [1] * 5 + [2] * 5)
    found = compute_correction(grid, 0.9)
    assert found.reason[2, 1] == NoCorrectionReason.UNCERTAIN
    assert not found.given.any()


def test_correction_is_not_given_when_sensor_is_at_end_of_scale() -> None:
    lambda_ = ([0.9] * 8 + [1.7] * 4) * 3
    found = compute_correction(one_cell(lambda_, list(np.arange(36) // 12)), 0.9)
    assert found.reason[2, 1] == NoCorrectionReason.END_OF_SCALE


def test_uncertain_cells_are_corrected_on_demand_and_marked() -> None:
    # three cells: held once, held three times with scatter, held three times without
    lambda_ = [0.93] * 5 + [0.85] * 5 + [0.95] * 5 + [0.90] * 5 + [0.90] * 15
    speed = np.repeat([3000.0, *[5000.0] * 3, *[7000.0] * 3], 5)
    load = np.repeat([10.0, *[40.0] * 3, *[100.0] * 3], 5)
    grid = build_mixture_grid(speed, load, lambda_, RPM, LOAD, hold=np.arange(35) // 5)
    assert not compute_correction(grid, 0.9).uncertain.any()
    asked = compute_correction(grid, 0.9, with_uncertain=True)
    assert asked.reason[0, 0] == NoCorrectionReason.TOO_FEW
    assert asked.reason[2, 2] == NoCorrectionReason.UNCERTAIN
    assert [tuple(cell) for cell in np.argwhere(asked.uncertain)] == [(0, 0), (2, 2), (4, 4)]
    assert asked.multiplier[0, 0] == pytest.approx(0.93 / 0.90, abs=1e-3)
    np.testing.assert_array_equal(asked.given, grid.visited)


@pytest.mark.parametrize("target", [0.9, np.linspace(1.0, 0.88, 5), np.linspace(1.0, 0.88, 25).reshape(5, 5)])
def test_target_expands_from_one_value_by_load_or_by_cell(target: npt.ArrayLike) -> None:
    wanted = expand_target(target, well_measured(np.full((5, 5), 0.9)))
    assert wanted.shape == (5, 5)
    assert wanted[0, 0] == np.ravel(target)[0]
    assert wanted[4, 4] == np.ravel(target)[-1]


@pytest.mark.parametrize(
    ("target", "word"), [([0.9, 0.9], r"one per load \(5\)"), (13.0, "not a plausible"), (np.nan, "missing")]
)
def test_target_is_refused_when_shape_or_value_is_impossible(target: npt.ArrayLike, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        expand_target(target, well_measured(np.full((5, 5), 0.9)))


def test_warning_of_lean_high_load_comes_first_with_place_and_amount() -> None:
    lambda_by_cell = np.full((5, 5), 0.90)
    lambda_by_cell[4, 3], lambda_by_cell[3, 2] = 0.99, 0.94
    lambda_by_cell[0, 0] = 1.05  # as lean, but at small load
    flags = find_warnings(well_measured(lambda_by_cell), 0.90, load_name="grip")
    assert [flag.code for flag in flags] == ["lean-at-high-load", "lean-at-high-load"]
    assert "100 % grip and 6000 rpm: up to 10.0 % leaner than target" in flags[0].sentence
    assert "70 % grip and 5000 rpm: up to 4.4 %" in flags[1].sentence


def test_cells_side_by_side_are_one_warning_of_the_whole_region() -> None:
    lambda_by_cell = np.full((5, 5), 0.90)
    lambda_by_cell[3, 1:4], lambda_by_cell[4, 2] = 0.94, 0.96
    grid = well_measured(lambda_by_cell)
    (flag,) = find_warnings(grid, 0.90, load_name="grip")
    assert "70 to 100 % grip and 4000 to 6000 rpm: up to 6.7 % leaner" in flag.sentence
    assert "target 0.900, at 5000 rpm and 100 % grip" in flag.sentence
    (region,) = find_lean_regions(grid, 0.90)
    assert np.argwhere(region.cells).tolist() == [[3, 1], [3, 2], [3, 3], [4, 2]]


@pytest.mark.parametrize(("lambda_", "is_grave"), [(0.96, False), (1.02, True)])
def test_seconds_are_spoken_of_only_without_excess_of_fuel(lambda_: float, is_grave: bool) -> None:
    lambda_by_cell = np.full((5, 5), 0.90)
    lambda_by_cell[4, 2] = lambda_
    (flag,) = find_warnings(well_measured(lambda_by_cell), 0.90)
    assert ("within seconds" in flag.sentence) == is_grave
    assert ("Do not hold full load there for long" in flag.sentence) == (not is_grave)


def test_no_warning_when_all_cells_are_on_target() -> None:
    assert find_warnings(well_measured(np.full((5, 5), 0.90)), 0.90) == ()


def test_warning_of_end_of_scale_at_high_load_comes_before_all() -> None:
    speed, load = np.full(20, 6000.0), np.full(20, 100.0)
    grid = build_mixture_grid(speed, load, np.full(20, 1.60), RPM, LOAD, hold=[0] * 20)
    flags = find_warnings(grid, 0.9)
    assert flags[0].code == "end-of-scale"
    assert "at high load" in flags[0].sentence
    assert "20 samples" in flags[0].sentence
    assert "within seconds" in flags[0].sentence


def test_warning_points_to_sensor_when_every_cell_is_off_alike() -> None:
    assert "implausible" in [flag.code for flag in find_warnings(well_measured(np.full((5, 5), 0.72)), 0.90)]


def test_warning_counts_cells_with_few_holds() -> None:
    flags = find_warnings(one_cell([0.9] * 20), 0.9)
    assert [flag.code for flag in flags] == ["too-few"]
    assert "1 cell has fewer than 3 holds (of 1 with data)" in flags[0].sentence


def test_grid_is_refused_when_lambda_column_holds_air_fuel_ratio() -> None:
    with pytest.raises(ValueError, match="air-fuel ratio"):
        one_cell([13.2] * 20)


@pytest.mark.parametrize(
    ("axis", "word"),
    [
        ([3000], "two values"),
        ([3000, 3000], "increase"),
        ([4000, 3000], "increase"),
        ([1, np.nan], "missing"),
    ],
)
def test_axis_is_refused_when_it_does_not_rise(axis: list[float], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        build_mixture_grid([3000], [40], [0.9], axis, LOAD, hold=[0])


def test_grid_is_refused_when_channels_differ_in_length() -> None:
    with pytest.raises(ValueError, match="same number of samples"):
        build_mixture_grid([3000, 3100], [40], [0.9], RPM, LOAD, hold=[0])


def test_correction_is_refused_for_a_single_hold() -> None:
    with pytest.raises(ValueError, match="two holds"):
        compute_correction(one_cell([0.9] * 20), 0.9, min_holds=1)
