"""The surface through holds, against engines whose mixture is known at every point."""

import numpy as np
import pytest

from jobs.calc.mixture.grid import MixtureGrid, build_mixture_grid, compute_correction
from tests.calc.mixture.test_grid import Array, correlated

COLUMNS, ROWS, SAMPLES = 8, 5, 20
RPM, LOAD = np.arange(COLUMNS) * 500.0 + 3000, np.arange(ROWS) * 10.0 + 10


def rough(rng: np.random.Generator) -> Array:
    """Lambda at every point, off by 3 % from cell to cell as in a table that nobody has tuned."""
    return rng.normal(0.9, 0.03, (ROWS, COLUMNS))


def between(truth: Array, column: Array, row: Array) -> Array:
    """Read the truth as an engine control does, bilinearly; beyond the edges the line goes on."""
    c, r = (np.clip(np.floor(at).astype(int), 0, n - 2) for at, n in ((column, COLUMNS), (row, ROWS)))
    x, y = column - c, row - r
    low = truth[r, c] * (1 - x) + truth[r, c + 1] * x
    return low * (1 - y) + (truth[r + 1, c] * (1 - x) + truth[r + 1, c + 1] * x) * y


def hold_everywhere(
    rng: np.random.Generator,
    truth: Array,
    holds: int,
    spread: float,
    *,
    at: float = 0.0,
    scatter: float = 0.05,
) -> MixtureGrid:
    """Hold every cell so often, ``at`` this share of a cell above its point; holds differ by ``spread``."""
    count = COLUMNS * ROWS * holds
    cell = np.arange(count) // holds
    column = cell % COLUMNS + at + rng.uniform(-scatter, scatter, count)
    row = cell // COLUMNS + rng.uniform(-scatter, scatter, count)
    lambda_ = between(truth, column, row) + rng.normal(0, spread, count)
    sensed = lambda_[:, None] + correlated(rng, (count, SAMPLES), 0.008, 6.0)
    speed = 3000 + 500 * (column[:, None] + rng.normal(0, 0.01, (count, SAMPLES)))
    load = np.repeat(10 + 10 * row, SAMPLES)
    return build_mixture_grid(
        speed.ravel(), load, sensed.ravel(), RPM, LOAD, hold=np.arange(count).repeat(SAMPLES)
    )


@pytest.mark.parametrize(
    ("holds", "at", "scatter"),
    [(2, 0.0, 0.05), (3, 0.0, 0.05), (5, 0.0, 0.05), (3, 0.4, 0.0), (4, 0.0, 0.45)],
)
@pytest.mark.parametrize("spread", [0.004, 0.010])
def test_interval_covers_the_truth_95_percent(holds: int, at: float, scatter: float, spread: float) -> None:
    rng = np.random.default_rng(21)
    inside, size = 0, 0
    for _ in range(25):
        truth = rough(rng)
        grid = hold_everywhere(rng, truth, holds, spread, at=at, scatter=scatter)
        inside += int(np.sum(np.abs(grid.mean - truth)[grid.visited] <= grid.half_width_95[grid.visited]))
        size += int(grid.visited.sum())
    assert 0.93 <= inside / size <= 0.97


@pytest.mark.parametrize("spread", [0.004, 0.010, 0.020])
def test_cells_that_get_a_correction_are_no_lucky_ones(spread: float) -> None:
    rng = np.random.default_rng(22)
    inside, given, size = 0, 0, 0
    for _ in range(25):
        truth = rough(rng)
        grid = hold_everywhere(rng, truth, 3, spread)
        found = compute_correction(grid, 0.9)
        inside += int(np.sum(np.abs(grid.mean - truth)[found.given] <= grid.half_width_95[found.given]))
        given, size = given + int(found.given.sum()), size + truth.size
    if spread > 0.015:  # three such holds can never give a correction that is certain enough
        assert given / size < 0.05
    else:
        assert given / size > 0.9
        assert inside / given > 0.93


def test_gradient_does_not_bias_holds_beside_the_points() -> None:
    """Holds 0.4 of a cell above each point, with 0.06 from cell to cell: the mean of a cell is 0.024 off."""
    rng = np.random.default_rng(23)
    truth = np.tile(0.7 + 0.06 * np.arange(COLUMNS), (ROWS, 1))
    errors = [hold_everywhere(rng, truth, 3, 0.004, at=0.4, scatter=0).mean - truth for _ in range(20)]
    assert abs(np.mean(errors)) < 0.0005
    assert np.abs(np.mean(errors, axis=(0, 1))).max() < 0.003


def test_hold_between_two_points_counts_for_both() -> None:
    # on the straight line from 0.90 at 3,000 to 0.96 at 3,500: 0.93 half-way
    speed = np.repeat([3000.0, 3250.0, 3500.0], 10)
    lambda_ = np.repeat([0.90, 0.93, 0.96], 10)
    grid = build_mixture_grid(speed, np.full(30, 10.0), lambda_, RPM, LOAD, hold=np.arange(30) // 10)
    np.testing.assert_allclose(grid.mean[0, :2], [0.90, 0.96], atol=1e-4)
    assert list(grid.support[0, :3]) == [2, 2, 0]
    assert np.isnan(grid.mean[0, 2])


def test_row_beside_one_that_was_not_visited_follows_its_other_neighbour() -> None:
    """Loads of 12, 22 and 32 % in a table of 10 to 50 %: 0.80, 0.90 and 1.00 at its points, 0.01 per cent."""
    load = np.repeat([12.0, 22.0, 32.0], 40)
    lambda_ = 0.70 + 0.01 * load + np.tile(np.repeat([-0.001, 0.001], 20), 3)
    grid = build_mixture_grid(np.full(120, 3000.0), load, lambda_, RPM, LOAD, hold=np.arange(120) // 10)
    np.testing.assert_allclose(grid.mean[:3, 0], [0.80, 0.90, 1.00], atol=1e-3)
    assert (grid.half_width_95[:3, 0] < 0.002).all()
    assert not grid.visited[3:].any()


def test_cell_that_was_not_visited_gets_nothing() -> None:
    grid = hold_everywhere(np.random.default_rng(24), np.full((ROWS, COLUMNS), 0.9), 3, 0.004, at=0.4)
    wider = build_mixture_grid([3200.0] * 20, [10.0] * 20, [0.9] * 20, RPM, LOAD, hold=np.arange(20) // 5)
    assert grid.visited.all()
    assert [tuple(cell) for cell in np.argwhere(np.isfinite(wider.mean))] == [(0, 0)]


def test_cell_that_scatters_more_than_the_others_keeps_its_own_interval() -> None:
    rng = np.random.default_rng(25)
    hold = np.arange(COLUMNS * ROWS * 4)
    lambda_ = 0.9 + rng.normal(0, 0.002, hold.size)
    lambda_[8:12] = [0.86, 0.94, 0.87, 0.93]  # the third cell of the first row
    cell = hold // 4
    grid = build_mixture_grid(
        *(np.repeat(values, 5) for values in (RPM[cell % COLUMNS], LOAD[cell // COLUMNS], lambda_)),
        RPM,
        LOAD,
        hold=hold.repeat(5),
    )
    # by hand: s of the four is 0.0408, t(3) = 3.18, so 3.18·0.0408/2 = 0.065
    assert grid.half_width_95[0, 2] == pytest.approx(0.065, rel=0.05)
    assert np.median(grid.half_width_95) < 0.01


def test_hold_that_hunts_across_a_boundary_is_one_observation() -> None:
    """Three holds half-way between two points, the needle on both sides: three means and their spread."""
    wave = np.where(np.arange(40) % 20 < 10, 3210.0, 3290.0)
    speed = np.tile(wave, 3)
    lambda_ = np.repeat([0.89, 0.90, 0.91], 40)
    grid = build_mixture_grid(speed, np.full(120, 10.0), lambda_, RPM, LOAD, hold=np.arange(120) // 40)
    assert (grid.hold_sd, grid.df) == (pytest.approx(0.01, rel=0.02), pytest.approx(2, abs=0.1))
    assert list(grid.support[0, :3]) == [3, 3, 0]


@pytest.mark.parametrize("passes", [2, 3])
@pytest.mark.parametrize(("drift", "between"), [(0.0, 0.0), (0.005, 0.0), (0.0, 0.003)])
def test_interval_knows_how_runs_differ(passes: int, drift: float, between: float) -> None:
    """Runs of 1.5 s holds in steps of half a cell; lambda drifts within 5 s, or a whole run is off."""
    rng, inside = np.random.default_rng(31), []
    place = np.tile(np.arange(0, COLUMNS - 0.9, 0.5), 4 * passes)
    steps = place.size // (4 * passes)
    run = np.repeat(np.arange(4 * passes), steps)
    load = 10 + 10 * (run // passes)
    for _ in range(60):
        off = (correlated(rng, (4 * passes, steps), drift, 5 / 1.75) if drift else 0.0) + rng.normal(
            0, between, (4 * passes, 1)
        )
        lambda_ = 0.9 + 0.02 * np.sin(place / 2) + np.broadcast_to(off, (4 * passes, steps)).ravel()
        lambda_ = np.repeat(lambda_ + rng.normal(0, 0.003, place.size), 10)
        grid = build_mixture_grid(
            np.repeat(3000 + 500 * place, 10),
            np.repeat(load, 10),
            lambda_ + rng.normal(0, 0.006, lambda_.size),
            RPM,
            LOAD,
            hold=np.arange(place.size).repeat(10),
            run=np.repeat(run, 10),
        )
        truth = 0.9 + 0.02 * np.sin(np.arange(COLUMNS) / 2)
        inside.append(np.mean((np.abs(grid.mean - truth) <= grid.half_width_95)[grid.visited]))
    assert 0.93 <= np.mean(inside) <= 0.985
