"""Throttle maps, their differences in words, and torque by grip."""

import numpy as np
import numpy.typing as npt
import pytest

from jobs.calc.throttle.tables import (
    ThrottleMap,
    compare_maps,
    compute_torque_by_grip,
    find_steeper_ends,
    lookup_plate,
    measure_linearity,
)

Array = npt.NDArray[np.float64]
GRIP = np.array([0.0, 10.0, 20.0, 50.0, 100.0])
RPM = np.array([2000.0, 6000.0, 10000.0])


def table(plate: list[float]) -> ThrottleMap:
    """Return the same plate opening at every engine speed."""
    return ThrottleMap(GRIP, RPM, np.repeat(np.array(plate, dtype=float)[:, None], 3, axis=1))


STRAIGHT = [0.0, 10.0, 20.0, 50.0, 100.0]
CALM = [0.0, 5.0, 12.4, 40.0, 100.0]


def test_gains_agree_with_hand_calculation() -> None:
    assert table(CALM).gains == pytest.approx({10.0: 0.5, 20.0: 0.62, 50.0: 0.8})
    assert table(STRAIGHT).gains == pytest.approx({10.0: 1.0, 20.0: 1.0, 50.0: 1.0})


def test_gain_is_mean_of_all_engine_speeds() -> None:
    plate = np.array([[0.0, 0.0, 0.0], [10, 20, 30], [20, 30, 40], [50, 60, 70], [100, 100, 100]])
    modes = ThrottleMap(GRIP, RPM, plate)
    assert modes.gains[10.0] == pytest.approx(2.0)


def test_good_map_has_no_problem() -> None:
    assert table(STRAIGHT).find_problems() == ()
    assert table(CALM).find_problems() == ()


@pytest.mark.parametrize(
    ("plate", "code", "words"),
    [
        ([0, 10, 8, 50, 100], "falls", "closes from 10 % to 8 %"),
        ([4, 10, 20, 50, 100], "open-at-closed-grip", "4 % open"),
        ([0, 60, 70, 80, 100], "steep", "6.0 times as far"),
    ],
)
def test_each_problem_of_map_is_named(plate: list[float], code: str, words: str) -> None:
    (flag,) = table(plate).find_problems()
    assert flag.code == code
    assert words in flag.sentence


def test_map_has_problem_and_no_gain_when_it_does_not_reach_both_ends() -> None:
    short = ThrottleMap(GRIP[1:4], RPM, np.ones((3, 3)) * GRIP[1:4, None])
    assert [flag.code for flag in short.find_problems()] == ["no-closed-grip", "no-full-grip"]
    assert np.isnan(short.gains[10.0])


def test_largest_step_is_where_plate_moves_most_for_grip() -> None:
    step = table(CALM).largest_step
    # (100 − 40)/50 = 1.2 beats (40 − 12.4)/30 = 0.92
    assert (step.gain, step.from_grip_pct, step.to_grip_pct) == (pytest.approx(1.2), 50, 100)


def test_map_comparison_gives_largest_difference_and_sentences() -> None:
    found = compare_maps(table(STRAIGHT), table(CALM), ("A", "B"))
    assert found.sentences == (
        "Over the first 10 % of the grip, B opens 50 % less than A.",
        "Over the first 20 % of the grip, B opens 38 % less than A.",
        "Over the first 50 % of the grip, B opens 20 % less than A.",
    )
    assert found.largest_pct == pytest.approx(-10)
    assert found.at_grip_pct == 50


def test_map_comparison_says_more_or_alike() -> None:
    turned = compare_maps(table(CALM), table(STRAIGHT), ("Rain", "Sport"))
    assert "Over the first 10 % of the grip, Sport opens 100 % more than Rain." in turned.sentences[0]
    same = compare_maps(table(CALM), table(CALM), ("A", "B"))
    assert same.largest_pct == 0
    assert all("opens like A." in sentence for sentence in same.sentences)


def test_maps_on_different_axes_are_compared_where_they_overlap() -> None:
    other = ThrottleMap([0, 25, 60, 100], [4000, 8000], np.repeat([[0.0], [25], [60], [90]], 2, axis=1))
    found = compare_maps(table(STRAIGHT), other, ("A", "B"))
    assert found.largest_pct == pytest.approx(-10)
    assert found.at_grip_pct == 100
    with pytest.raises(ValueError, match="no engine speed in common"):
        compare_maps(
            table(STRAIGHT), ThrottleMap([0, 100], [11_000, 12_000], [[0, 0], [100, 100]]), ("A", "B")
        )


def test_plate_is_looked_up_between_points_and_never_beyond() -> None:
    modes = table(CALM)
    assert lookup_plate(modes, 15, 3000) == pytest.approx(8.7)
    assert np.isnan(lookup_plate(modes, 15, 1000))
    assert np.isnan(lookup_plate(modes, 15, 10_001))


@pytest.mark.parametrize(
    ("grip", "plate", "word"),
    [
        ([0, 50, 100], [[0, 0], [50, 50]], "cells"),
        ([0, 100], [[0, 0], [100, 120]], "holds 120"),
        ([0, 100], [[0, 0], [100, np.nan]], "is empty"),
        ([0, 110], [[0, 0], [100, 100]], "0 to 100"),
        ([100, 0], [[0, 0], [100, 100]], "must increase"),
    ],
)
def test_map_is_refused_when_axes_or_cells_are_wrong(
    grip: list[float], plate: list[list[float]], word: str
) -> None:
    with pytest.raises(ValueError, match=word):
        ThrottleMap(grip, [2000, 4000], plate)


def test_map_is_parsed_from_pasted_text() -> None:
    pasted = ThrottleMap.from_text("grip\t2000\t6000\n0\t0\t0\n50\t30,5\t40\n100\t100\t100\n")
    assert pasted.plate_pct[1, 0] == 30.5


def measured(plates: tuple[float, ...]) -> tuple[Array, Array, Array]:
    """Held runs at these plates with torque = 0.8 N·m/% · plate + 2 N·m per 1,000 1/min, and scatter."""
    rng = np.random.default_rng(8)
    speed = np.tile(np.linspace(3000, 9000, 1200), len(plates))
    plate = np.repeat(plates, 1200) + rng.normal(0, 0.1, speed.size)
    return speed, plate, 0.8 * plate + 0.002 * speed + rng.normal(0, 0.3, speed.size)


def test_torque_by_grip_agrees_with_hand_calculation() -> None:
    found = compute_torque_by_grip(table(CALM), *measured((5.0, 20.0, 40.0, 70.0)), at_rpm=[4000, 8000])
    at = np.searchsorted(found.grip_pct, [20, 30, 40, 50])
    torque = found.torque_nm[at]
    # grip 20, 30, 40, 50 % -> plate 12.4, 21.6, 30.8, 40 %; 0.8·12.4 + 8 = 17.92 N·m at 4,000 1/min
    np.testing.assert_allclose(torque[:, 0], [17.92, 25.28, 32.64, 40.0], atol=0.25)
    np.testing.assert_allclose(torque[:, 1], [25.92, 33.28, 40.64, 48.0], atol=0.25)
    # 0.92 % of plate for 1 % of grip, 0.8 N·m for 1 % of plate
    np.testing.assert_allclose(found.sensitivity_nm_per_pct[at[1:3]], 0.736, atol=0.03)


def test_torque_by_grip_stays_inside_what_was_measured() -> None:
    found = compute_torque_by_grip(table(STRAIGHT), *measured((20.0, 40.0)), at_rpm=[2500, 5000, 9500])
    assert np.isnan(found.torque_nm[:, [0, 2]]).all()
    known = found.grip_pct[np.isfinite(found.torque_nm[:, 1])]
    assert known.min() >= 19
    assert known.max() <= 41
    assert np.isfinite(found.torque_nm[(found.grip_pct > 21) & (found.grip_pct < 39), 1]).all()


def test_torque_by_grip_is_refused_for_one_opening_or_unequal_channels() -> None:
    speed = np.linspace(3000, 9000, 50)
    with pytest.raises(ValueError, match="two plate openings"):
        compute_torque_by_grip(table(STRAIGHT), speed, np.full(50, 30.0), speed / 100, at_rpm=[5000])
    with pytest.raises(ValueError, match="same number of samples"):
        compute_torque_by_grip(table(STRAIGHT), speed, speed[:2], speed, at_rpm=[5000])


def test_straight_plate_has_no_deviation_and_a_bent_one_its_own() -> None:
    grip = np.linspace(0, 100, 21)
    straight = measure_linearity(grip, 0.9 * grip + 5)
    assert straight is not None
    assert (straight.slope, straight.rms_pct) == (pytest.approx(0.9), pytest.approx(0, abs=1e-9))
    # y = x²/100: least squares gives y = x − 100/6, so +16.7 % at the ends and −8.3 % in the middle
    fine = np.linspace(0, 100, 2001)
    bent = measure_linearity(fine, fine**2 / 100)
    assert bent is not None
    assert bent.slope == pytest.approx(1.0, abs=1e-3)
    assert abs(bent.largest_pct) == pytest.approx(100 / 6, abs=0.05)
    assert bent.at_grip_pct in (0, 100)
    # root mean square of x²/100 − x + 100/6 over 0 to 100: 100·√(1/180)
    assert bent.rms_pct == pytest.approx(100 / np.sqrt(180), abs=0.02)


def test_linearity_is_not_known_from_too_little() -> None:
    assert measure_linearity([0, 10, 20], [0, 1, 2]) is None
    assert measure_linearity([0, 5, 10, 15], [0, 1, 2, 3]) is None
    assert measure_linearity([0, 50, 70, 100], [np.nan, 1, 2, 3]) is None
    assert measure_linearity([0, 30, 60, 100], [4, 4, 4, 4]) is None
    with pytest.raises(ValueError, match="same number of samples"):
        measure_linearity([0, 1], [0])


def test_mode_that_stops_short_has_a_cap_and_no_problem() -> None:
    capped = table([0, 10, 20, 50, 85])
    assert capped.find_problems() == ()
    assert capped.cap == (85, capped.rpm[0])
    assert table(STRAIGHT).cap is None


def test_end_of_the_grip_is_compared_between_modes() -> None:
    """Over the last 20 % of the grip a straight table moves 1 % for 1 %."""
    grip, rpm = np.array([0.0, 20, 80, 100]), np.array([2000.0, 6000])
    late, straight = (
        ThrottleMap(grip, rpm, np.repeat(np.array(plate, dtype=float)[:, None], 2, axis=1))
        for plate in ([0, 5, 60, 100], [0, 20, 80, 100])
    )
    assert straight.end_gain == pytest.approx(1.0)
    assert late.end_gain == pytest.approx(2.0)
    (sentence,) = find_steeper_ends({"Wet": late, "Sport": straight})
    assert sentence.startswith("Wet opens less than Sport at first but ends steeper: 2.00 against 1.00")
    assert find_steeper_ends({"Sport": straight, "Track": straight}) == []
