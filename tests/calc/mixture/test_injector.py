"""Injector duty against the definition, and in runs with wild samples."""

import numpy as np
import pytest

from jobs.calc.mixture.injector import find_injector_duty


@pytest.mark.parametrize(
    ("opening_ms", "rpm", "turns", "duty"),
    [
        (8.0, 12_000, 2, 80.0),  # two turns take 10 ms
        (5.0, 6_000, 1, 50.0),  # one turn takes 10 ms
        (12.0, 10_000, 2, 100.0),  # as the usual ms · rpm / 1200
        (2.5, 1_500, 2, 3.125),
    ],
)
def test_duty_is_opening_time_over_time_between_openings(
    opening_ms: float, rpm: float, turns: float, duty: float
) -> None:
    found = find_injector_duty(np.full(20, rpm), np.full(20, opening_ms), turns)
    assert found.duty_pct == pytest.approx([duty], rel=1e-12)


def test_highest_duty_is_found_by_engine_speed_without_wild_samples() -> None:
    speed = np.linspace(3000, 11_990, 900)
    opening = 4.0 + 3.0 * (speed - 3000) / 9000
    opening[300], opening[400] = 60.0, np.nan
    found = find_injector_duty(speed, opening, 2)
    # 6.997 ms at 11,990 1/min: 69.9 %
    assert found.duty_pct[found.highest] == pytest.approx(69.9, abs=0.2)
    assert found.engine_speed_rpm[found.highest] == 11_875
    assert (np.diff(found.duty_pct) > 0).all()
    assert found.opening_ms[found.highest] == pytest.approx(7.0, abs=0.02)


def test_part_throttle_at_one_speed_does_not_hide_full_load() -> None:
    speed = np.full(200, 9000.0)
    opening = np.where(np.arange(200) < 150, 3.0, 10.0)
    assert find_injector_duty(speed, opening, 2).duty_pct.tolist() == [75.0]


@pytest.mark.parametrize(
    ("speed", "opening", "turns", "words"),
    [
        ([3000, 3000], [4], 2, "same number of samples"),
        ([3000] * 20, [np.nan] * 20, 2, "too few samples"),
        (np.arange(1000.0, 9000.0, 300.0), np.full(27, 4.0), 2, "too few samples"),
        ([3000] * 20, [4] * 20, 0, "turns"),
    ],
)
def test_duty_is_refused_when_input_makes_no_sense(speed, opening, turns: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        find_injector_duty(speed, opening, turns)
