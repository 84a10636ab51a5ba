"""Axes that runs suggest: round, rising, and over what was measured."""

import numpy as np
import pytest

from jobs.calc.mixture.axes import USUAL_LOADS_PCT, load_axis, speed_axis


def test_speeds_are_every_500_over_what_was_held() -> None:
    assert speed_axis([np.linspace(2600, 4400, 200)]) == [2500, 3000, 3500, 4000, 4500]


def test_a_wide_range_gets_a_wider_step() -> None:
    axis = speed_axis([np.linspace(1000, 14_000, 5000)])
    assert set(np.diff(axis)) == {1000}
    assert len(axis) <= 24


def test_a_spike_adds_no_row() -> None:
    speeds = np.append(np.linspace(3000, 4000, 500), 16_000)
    assert speed_axis([speeds]) == [3000, 3500, 4000]


def test_one_speed_still_makes_an_axis_of_two_points() -> None:
    assert speed_axis([np.full(50, 5000.0)]) == [5000, 5500]


@pytest.mark.parametrize("given", [[], [[]], [[np.nan, np.nan]]])
def test_nothing_measured_suggests_nothing(given) -> None:
    assert speed_axis(given) == []


def test_loads_are_the_middles_of_the_holds_each_once() -> None:
    """A run that rolls on from closed still has its hold in the middle."""
    rng = np.random.default_rng(1)
    held = [np.concatenate([[0, 5, np.nan], level + rng.normal(0, 0.1, 200)]) for level in (40, 20, 20.6, 80)]
    assert load_axis(held) == [20, 40, 80]


def test_one_load_alone_is_no_axis() -> None:
    assert load_axis([np.full(50, 100.0)]) == list(USUAL_LOADS_PCT)
    assert load_axis([]) == list(USUAL_LOADS_PCT)
