"""The visits behind the cells of a mixture grid are those that the grid counts."""

import numpy as np
import pytest

from jobs.calc.mixture.grid import build_mixture_grid
from jobs.calc.mixture.steady import RunChannels, SteadySamples, collect_steady_samples
from jobs.calc.mixture.visits import find_visits
from tests.calc.mixture.test_grid import LOAD, RPM, held_run


def samples() -> SteadySamples:
    rng = np.random.default_rng(4)
    return collect_steady_samples(
        [held_run(rng, load, 150) for load in (20.0, 40.0, 70.0) for _ in range(2)], 150
    )


def test_visits_add_up_to_counts_of_the_grid() -> None:
    given = samples()
    grid = build_mixture_grid(
        given.engine_speed_rpm, given.load_pct, given.lambda_, RPM, LOAD, hold=given.hold
    )
    n, holds = np.zeros(grid.n.shape, dtype=int), np.zeros(grid.n.shape, dtype=int)
    for visit in find_visits(given, RPM, LOAD):
        n[visit.row, visit.column] += visit.n
        holds[visit.row, visit.column] += 1
    np.testing.assert_array_equal(n, grid.n)
    np.testing.assert_array_equal(holds, grid.holds)


def test_visit_names_its_run_samples_and_mean() -> None:
    time_s = np.arange(0, 4, 0.1)
    held = np.where(time_s < 2, 4000.0, 5000.0)
    quiet = np.full(time_s.size, 40.0)
    runs = [RunChannels(time_s, held, quiet, quiet, np.where(held < 4500, 0.90, 0.95)) for _ in range(2)]
    first, second, *others = find_visits(collect_steady_samples(runs, 0), RPM, LOAD)
    assert (first.run, first.row, first.column) == (0, 2, 1)
    assert (second.run, second.row, second.column) == (0, 2, 2)
    assert (first.lambda_, second.lambda_) == (pytest.approx(0.90), pytest.approx(0.95))
    # samples 0 to 19 are held at 4,000; those within 0.15 s of the leap see it move
    assert first.first == 0
    assert 16 <= first.last <= 19
    assert first.n == first.last - first.first + 1
    assert [visit.run for visit in others] == [1, 1]


def test_visits_are_none_when_no_sample_is_inside_the_axes() -> None:
    assert find_visits(samples(), [9000, 10000], LOAD) == []
