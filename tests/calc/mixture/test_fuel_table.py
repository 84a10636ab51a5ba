"""A corrected fuel table: exact where covered, untouched elsewhere."""

from dataclasses import replace

import numpy as np
import pytest

from jobs.calc.mixture.fuel_table import apply_to_table, compare_passes, fill_gaps, find_table_step
from jobs.calc.mixture.grid import MixtureCorrection, NoCorrectionReason, compute_correction
from tests.calc.mixture.test_grid import LOAD, RPM, Array, well_measured


def by_hand(multiplier: Array) -> MixtureCorrection:
    return MixtureCorrection(
        rpm_axis=RPM,
        load_axis=LOAD,
        multiplier=multiplier,
        wanted=multiplier,
        limited=multiplier == 1.15,
        filled=np.zeros(multiplier.shape, dtype=bool),
        uncertain=np.zeros(multiplier.shape, dtype=bool),
        reason=np.where(np.isnan(multiplier), "not visited", ""),
    )


def test_table_on_axes_of_the_grid_is_multiplied_cell_by_cell() -> None:
    multiplier = np.full((5, 5), np.nan)
    multiplier[2, 3] = 1.05
    applied = apply_to_table((RPM, LOAD), np.full((5, 5), 4.00), by_hand(multiplier), step=0.01)
    assert applied.after[2, 3] == 4.20
    assert applied.changed.sum() == 1


def test_correction_is_bilinear_between_corrected_points() -> None:
    multiplier = np.full((5, 5), np.nan)
    multiplier[1:3, 1:3] = [[1.00, 1.10], [1.04, 1.06]]
    applied = apply_to_table(
        ([4000, 4500, 5000], [20, 30, 40]), np.full((3, 3), 10.0), by_hand(multiplier), step=0.001
    )
    # the middle is the mean of the four: 1.05
    np.testing.assert_allclose(
        applied.after, [[10, 10.5, 11], [10.2, 10.5, 10.8], [10.4, 10.5, 10.6]], atol=1e-12
    )


def test_table_is_unchanged_outside_what_was_measured() -> None:
    multiplier = np.full((5, 5), np.nan)
    multiplier[1:3, 1:3] = 1.1
    rng = np.random.default_rng(2)
    table = rng.uniform(1, 9, (30, 40))
    speed, load = np.linspace(1000, 12000, 40), np.linspace(0, 100, 30)
    applied = apply_to_table((speed, load), table, by_hand(multiplier), step=0.01)
    inside = ((load >= 20) & (load <= 40))[:, None] & ((speed >= 4000) & (speed <= 5000))[None, :]
    np.testing.assert_array_equal(applied.covered, inside)
    np.testing.assert_array_equal(applied.after[~inside], table[~inside])
    np.testing.assert_allclose(applied.after[inside], 1.1 * table[inside], atol=0.005 + 1e-9)


@pytest.mark.parametrize(("step", "after"), [(0.05, 4.20), (0.25, 4.25), (1.0, 4.0), (0.001, 4.212)])
def test_corrected_cells_are_rounded_to_step(step: float, after: float) -> None:
    applied = apply_to_table((RPM, LOAD), np.full((5, 5), 4.05), by_hand(np.full((5, 5), 1.04)), step=step)
    assert applied.after[0, 0] == after


def test_table_is_unchanged_when_there_is_no_correction() -> None:
    table = np.round(np.random.default_rng(1).uniform(1, 9, (5, 5)), 2)
    applied = apply_to_table((RPM, LOAD), table, by_hand(np.full((5, 5), np.nan)), step=0.01)
    np.testing.assert_array_equal(applied.after, table)
    assert not applied.covered.any()


def test_empty_cell_stays_empty() -> None:
    table = np.full((5, 5), 4.0)
    table[1, 1] = np.nan
    applied = apply_to_table((RPM, LOAD), table, by_hand(np.full((5, 5), 1.1)), step=0.01)
    assert np.isnan(applied.after[1, 1])
    assert not applied.covered[1, 1]


def test_table_marks_cells_with_limited_correction() -> None:
    multiplier = np.full((5, 5), 1.02)
    multiplier[4, 4] = 1.15
    applied = apply_to_table((RPM, LOAD), np.full((5, 5), 4.0), by_hand(multiplier), step=0.01)
    assert [tuple(cell) for cell in np.argwhere(applied.limited)] == [(4, 4)]


@pytest.mark.parametrize(
    ("table", "step"),
    [
        ([[1.25, 2.5], [3.0, 4.1]], 0.01),
        ([[120, 131], [99, 140]], 1.0),
        (np.arange(1, 41).reshape(5, 8) * 0.05, 0.05),
        ([[0.125, np.nan], [0.5, 1]], 0.001),
    ],
)
def test_step_is_found_from_the_table(table: list[list[float]], step: float) -> None:
    assert find_table_step(table) == pytest.approx(step, rel=1e-12)


def test_step_is_as_fine_as_table_was_written() -> None:
    assert find_table_step([10.0, 10.5, 11.0], decimals=2) == pytest.approx(0.01)
    # but many values that are all multiples of a half show their step themselves
    assert find_table_step(np.arange(30) * 0.5, decimals=2) == pytest.approx(0.5)


def test_opening_time_is_corrected_only_beyond_its_dead_time() -> None:
    multiplier = np.full((5, 5), 1.10)
    opening_ms = np.full((5, 5), 5.0)
    opening_ms[0, 0] = 0.0  # fuel cut: it delivers nothing, and so it stays
    applied = apply_to_table((RPM, LOAD), opening_ms, by_hand(multiplier), step=0.001, dead_time=1.0)
    # by hand: 1.0 + 4.0·1.10
    np.testing.assert_allclose(applied.after.ravel()[1:], 5.4, atol=1e-9)
    assert applied.after[0, 0] == 0


@pytest.mark.parametrize("dead_time", [5.0, -0.1, np.nan])
def test_dead_time_is_refused_when_impossible(dead_time: float) -> None:
    with pytest.raises(ValueError, match="dead time"):
        apply_to_table(
            (RPM, LOAD), np.full((5, 5), 5.0), by_hand(np.full((5, 5), 1.1)), step=0.01, dead_time=dead_time
        )


def test_gap_is_not_filled_when_sensor_was_at_end_of_scale() -> None:
    multiplier = np.full((5, 5), np.nan)
    multiplier[2, [1, 3]] = [1.02, 1.06]
    reason = np.full((5, 5), NoCorrectionReason.NOT_VISITED, dtype=object)
    assert fill_gaps(replace(by_hand(multiplier), reason=reason)).filled.sum() == 1
    reason[2, 2] = NoCorrectionReason.END_OF_SCALE
    assert not fill_gaps(replace(by_hand(multiplier), reason=reason)).filled.any()


def test_corrected_engine_comes_to_the_target_in_second_pass() -> None:
    # an engine whose lambda goes with the reciprocal of the fuel
    first = np.full((5, 5), 0.90) * (1 + 0.08 * np.linspace(0, 1, 5))[:, None]
    found = compute_correction(well_measured(first), 0.90)
    applied = apply_to_table((RPM, LOAD), np.full((5, 5), 5.0), found, step=0.001)
    second = first * 5.0 / applied.after
    np.testing.assert_allclose(second, 0.90, rtol=2e-4)
    passes = compare_passes(well_measured(first), well_measured(second), 0.90)
    assert passes.closer.sum() == 20
    assert not passes.further.any()
    assert "Of 25 cells measured well in both passes, 20 are closer" in passes.sentence


def test_pass_comparison_names_cells_that_became_worse() -> None:
    good, bad = np.full((5, 5), 0.90), np.full((5, 5), 0.90)
    bad[2, 2] = 0.95
    passes = compare_passes(well_measured(good), well_measured(bad), 0.90)
    assert [tuple(cell) for cell in np.argwhere(passes.further)] == [(2, 2)]


def test_gap_between_two_measured_cells_is_filled_and_marked() -> None:
    multiplier = np.full((5, 5), np.nan)
    multiplier[2, [1, 3]] = [1.02, 1.06]
    multiplier[[0, 2], 0] = [1.00, 1.03]  # loads 10 and 40; 20 lies a third of the way
    filled = fill_gaps(by_hand(multiplier))
    assert filled.multiplier[2, 2] == pytest.approx(1.04)
    assert filled.multiplier[1, 0] == pytest.approx(1.01)
    assert filled.filled.sum() == 2
    applied = apply_to_table((RPM, LOAD), np.full((5, 5), 4.0), filled, step=0.01)
    np.testing.assert_array_equal(applied.filled, filled.filled)


def test_step_is_refused_when_table_is_empty() -> None:
    with pytest.raises(ValueError, match="is empty"):
        find_table_step(np.full((5, 5), np.nan))


@pytest.mark.parametrize(
    ("axes", "table", "word"),
    [
        ((RPM, LOAD), np.ones((5, 4)), "5 loads and 5"),
        ((RPM[::-1], LOAD), np.ones((5, 5)), "must increase"),
    ],
)
def test_table_is_refused_when_shape_or_axes_are_wrong(
    axes: tuple[Array, Array], table: Array, word: str
) -> None:
    with pytest.raises(ValueError, match=word):
        apply_to_table(axes, table, by_hand(np.ones((5, 5))), step=0.01)


def test_passes_are_refused_on_different_axes() -> None:
    first = well_measured(np.full((5, 5), 0.9))
    with pytest.raises(ValueError, match="same axes"):
        compare_passes(first, replace(first, rpm_axis=RPM + 1), 0.9)
