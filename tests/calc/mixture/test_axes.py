"""Suggested axes: round, rising, and over what was measured."""

import numpy as np
import pytest

from jobs.calc.mixture.axes import USUAL_LOADS_PCT, suggest_load_axis, suggest_speed_axis


def test_speed_axis_has_steps_of_500_over_what_was_held() -> None:
    assert suggest_speed_axis([np.linspace(2600, 4400, 200)]) == [2500, 3000, 3500, 4000, 4500]


def test_speed_axis_has_wider_steps_when_range_is_wide() -> None:
    axis = suggest_speed_axis([np.linspace(1000, 14_000, 5000)])
    assert set(np.diff(axis)) == {1000}
    assert len(axis) <= 24


def test_speed_axis_ignores_a_spike() -> None:
    speeds = np.append(np.linspace(3000, 4000, 500), 16_000)
    assert suggest_speed_axis([speeds]) == [3000, 3500, 4000]


def test_speed_axis_has_two_points_when_one_speed_was_held() -> None:
    assert suggest_speed_axis([np.full(50, 5000.0)]) == [5000, 5500]


@pytest.mark.parametrize("given", [[], [[]], [[np.nan, np.nan]]])
def test_speed_axis_is_empty_when_nothing_was_measured(given) -> None:
    assert suggest_speed_axis(given) == []


def test_load_axis_has_the_median_of_each_hold_once() -> None:
    """A run that rolls on from closed still has its hold in the middle."""
    rng = np.random.default_rng(1)
    held = [np.concatenate([[0, 5, np.nan], level + rng.normal(0, 0.1, 200)]) for level in (40, 20, 20.6, 80)]
    assert suggest_load_axis(held) == [20, 40, 80]


def test_load_axis_is_the_usual_one_when_fewer_than_two_loads_were_held() -> None:
    assert suggest_load_axis([np.full(50, 100.0)]) == list(USUAL_LOADS_PCT)
    assert suggest_load_axis([]) == list(USUAL_LOADS_PCT)
