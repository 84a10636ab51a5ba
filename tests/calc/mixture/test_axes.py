"""Suggested axes: round, rising, over what was measured, and wide enough for corrections."""

import numpy as np
import pytest

from jobs.calc.mixture.axes import USUAL_LOADS_PCT, suggest_axes
from jobs.calc.mixture.grid import build_mixture_grid, compute_correction
from jobs.calc.mixture.steady import SteadySamples, collect_steady_samples
from tests.calc.mixture.test_grid import Array, held_run


def samples(speed: Array, load: Array, hold: Array) -> SteadySamples:
    size = speed.size
    return SteadySamples(
        speed, load, np.full(size, 0.9), hold.astype(int), np.zeros(size, int), np.arange(size), {}
    )


def one_sweep(low: float, high: float, size: int = 2000) -> SteadySamples:
    return samples(np.linspace(low, high, size), np.full(size, 40.0), np.zeros(size))


def test_speed_axis_covers_what_was_held_in_wider_steps_when_the_range_is_wide() -> None:
    assert suggest_axes(one_sweep(2600, 4400))[0] == [2500, 3000, 3500, 4000, 4500]
    wide = suggest_axes(one_sweep(1000, 14_000, 5000))[0]
    assert set(np.diff(wide)) == {1000}
    assert len(wide) <= 24


def test_speed_axis_ignores_a_spike_and_has_two_points_at_least() -> None:
    speed = np.append(np.linspace(3000, 4000, 500), 16_000)
    spiked = samples(speed, np.full(501, 40.0), np.zeros(501))
    assert suggest_axes(spiked)[0] == [3000, 3500, 4000]
    assert suggest_axes(one_sweep(5000, 5000))[0] == [5000, 5500]


def test_load_axis_has_each_load_that_was_held_once() -> None:
    rng = np.random.default_rng(1)
    load = np.concatenate([level + rng.normal(0, 0.1, 200) for level in (40, 20, 20.6, 80)])
    assert suggest_axes(samples(np.full(800, 5000.0), load, np.arange(800) // 200))[1] == [20, 40, 80]


def test_load_axis_is_the_usual_one_when_fewer_than_two_loads_were_held() -> None:
    assert suggest_axes(one_sweep(5000, 6000))[1] == list(USUAL_LOADS_PCT)
    nothing = np.zeros(0)
    assert suggest_axes(samples(nothing, nothing, nothing)) == ([], list(USUAL_LOADS_PCT))


@pytest.mark.parametrize(("passes", "step"), [(1, 1000), (3, 500)])
def test_one_pass_over_suggested_axes_gives_corrections(passes: int, step: float) -> None:
    """Runs at three openings in steps of 500 rpm: one pass has three holds for a cell of 1,000 rpm."""
    rng = np.random.default_rng(6)
    runs = [held_run(rng, load, 150) for load in (20.0, 40.0, 70.0) for _ in range(passes)]
    held = collect_steady_samples(runs, 150)
    rpm_axis, load_axis = suggest_axes(held)
    assert set(np.diff(rpm_axis)) == {step}
    assert load_axis == [20, 40, 70]
    grid = build_mixture_grid(
        held.engine_speed_rpm, held.load_pct, held.lambda_, rpm_axis, load_axis, hold=held.hold
    )
    given = compute_correction(grid, 0.9).given
    assert given.sum() >= 0.5 * grid.visited.sum()
