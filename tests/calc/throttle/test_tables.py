"""Throttle tables, their differences in words, and torque by grip."""

import numpy as np
import numpy.typing as npt
import pytest

from jobs.calc.throttle.tables import ThrottleTable, difference, plate_at, torque_by_grip

Array = npt.NDArray[np.float64]
GRIP = np.array([0.0, 10.0, 20.0, 50.0, 100.0])
RPM = np.array([2000.0, 6000.0, 10000.0])


def table(plate: list[float]) -> ThrottleTable:
    """The same plate opening at every engine speed."""
    return ThrottleTable(GRIP, RPM, np.repeat(np.array(plate, dtype=float)[:, None], 3, axis=1))


STRAIGHT = [0.0, 10.0, 20.0, 50.0, 100.0]
CALM = [0.0, 5.0, 12.4, 40.0, 100.0]


def test_gain_by_hand() -> None:
    assert table(CALM).gains() == pytest.approx({10.0: 0.5, 20.0: 0.62, 50.0: 0.8})
    assert table(STRAIGHT).gains() == pytest.approx({10.0: 1.0, 20.0: 1.0, 50.0: 1.0})


def test_gain_at_one_speed_and_as_mean() -> None:
    plate = np.array([[0.0, 0.0, 0.0], [10, 20, 30], [20, 30, 40], [50, 60, 70], [100, 100, 100]])
    modes = ThrottleTable(GRIP, RPM, plate)
    assert modes.gain(10, at_rpm=4000) == pytest.approx(1.5)
    assert modes.gain(10) == pytest.approx(2.0)
    assert np.isnan(modes.gain(10, at_rpm=12_000))


def test_a_good_table_has_nothing_against_it() -> None:
    assert table(STRAIGHT).checks() == ()
    assert table(CALM).checks() == ()


@pytest.mark.parametrize(
    ("plate", "code", "words"),
    [
        ([0, 10, 8, 50, 100], "falls", "closes from 10 % to 8 %"),
        ([4, 10, 20, 50, 100], "open-at-closed-grip", "4 % open"),
        ([0, 10, 20, 50, 85], "not-full-at-full-grip", "only to 85 %"),
        ([0, 60, 70, 80, 100], "steep", "6.0 times as far"),
    ],
)
def test_each_fault_is_named(plate: list[float], code: str, words: str) -> None:
    (flag,) = table(plate).checks()
    assert flag.code == code
    assert words in flag.sentence


def test_table_that_does_not_reach_the_ends_says_so() -> None:
    short = ThrottleTable(GRIP[1:4], RPM, np.ones((3, 3)) * GRIP[1:4, None])
    assert [flag.code for flag in short.checks()] == ["no-closed-grip", "no-full-grip"]
    assert np.isnan(short.gain(10))


def test_largest_step_is_where_the_plate_moves_most_for_the_grip() -> None:
    step = table(CALM).largest_step
    # (100 − 40)/50 = 1.2 beats (40 − 12.4)/30 = 0.92
    assert (step.gain, step.from_grip_pct, step.to_grip_pct) == (pytest.approx(1.2), 50, 100)


def test_difference_in_numbers_and_in_words() -> None:
    found = difference(table(STRAIGHT), table(CALM))
    assert found.faster == pytest.approx({10.0: -0.5, 20.0: -0.38, 50.0: -0.2})
    assert found.sentences[1] == "B opens 38 % slower than A over the first fifth of the grip."
    assert found.largest_pct == pytest.approx(-10)
    assert found.at_grip_pct == 50


def test_difference_the_other_way_and_none() -> None:
    turned = difference(table(CALM), table(STRAIGHT), ("Rain", "Sport"))
    assert "Sport opens 100 % faster than Rain over the first tenth" in turned.sentence
    same = difference(table(CALM), table(CALM))
    assert same.largest_pct == 0
    assert all("opens as A does" in said for said in same.sentences)


def test_tables_on_different_axes_are_compared_where_both_are() -> None:
    other = ThrottleTable([0, 25, 60, 100], [4000, 8000], np.repeat([[0.0], [25], [60], [90]], 2, axis=1))
    found = difference(table(STRAIGHT), other)
    assert found.largest_pct == pytest.approx(-10)
    assert found.at_grip_pct == 100
    with pytest.raises(ValueError, match="no engine speed in common"):
        difference(table(STRAIGHT), ThrottleTable([0, 100], [11_000, 12_000], [[0, 0], [100, 100]]))


def test_plate_between_points_and_never_beyond() -> None:
    modes = table(CALM)
    assert plate_at(modes, 15, 3000) == pytest.approx(8.7)
    assert np.isnan(plate_at(modes, 15, 1000))
    assert np.isnan(plate_at(modes, 15, 10_001))


@pytest.mark.parametrize(
    ("grip", "plate", "word"),
    [
        ([0, 50, 100], [[0, 0], [50, 50]], "cells"),
        ([0, 100], [[0, 0], [100, 120]], "holds 120"),
        ([0, 100], [[0, 0], [100, np.nan]], "is empty"),
        ([0, 110], [[0, 0], [100, 100]], "0 to 100"),
        ([100, 0], [[0, 0], [100, 100]], "must rise"),
    ],
)
def test_what_is_no_throttle_table_is_refused(grip: list[float], plate: list[list[float]], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        ThrottleTable(grip, [2000, 4000], plate)


def test_table_from_pasted_text() -> None:
    pasted = ThrottleTable.from_text("grip\t2000\t6000\n0\t0\t0\n50\t30,5\t40\n100\t100\t100\n")
    assert pasted.plate_pct[1, 0] == 30.5


def measured(plates: tuple[float, ...]) -> tuple[Array, Array, Array]:
    """Held runs at these plates with torque = 0.8 N·m/% · plate + 2 N·m per 1,000 1/min, and scatter."""
    rng = np.random.default_rng(8)
    speed = np.tile(np.linspace(3000, 9000, 1200), len(plates))
    plate = np.repeat(plates, 1200) + rng.normal(0, 0.1, speed.size)
    return speed, plate, 0.8 * plate + 0.002 * speed + rng.normal(0, 0.3, speed.size)


def test_torque_by_grip_goes_through_the_table() -> None:
    found = torque_by_grip(
        table(CALM), *measured((5.0, 20.0, 40.0, 70.0)), at_rpm=[4000, 8000], grip_pct=[20, 30, 40, 50, 60]
    )
    # grip 20, 30, 40, 50 % -> plate 12.4, 21.6, 30.8, 40 %; 0.8·12.4 + 8 = 17.92 N·m at 4,000 1/min
    np.testing.assert_allclose(found.torque_nm[:4, 0], [17.92, 25.28, 32.64, 40.0], atol=0.25)
    np.testing.assert_allclose(found.torque_nm[:4, 1], [25.92, 33.28, 40.64, 48.0], atol=0.25)
    # 0.92 % of plate for 1 % of grip, 0.8 N·m for 1 % of plate
    np.testing.assert_allclose(found.sensitivity_nm_per_pct[1:3], 0.736, atol=0.03)


def test_torque_by_grip_stays_within_what_was_measured() -> None:
    found = torque_by_grip(table(STRAIGHT), *measured((20.0, 40.0)), at_rpm=[2500, 5000, 9500])
    assert np.isnan(found.torque_nm[:, [0, 2]]).all()
    known = found.grip_pct[np.isfinite(found.torque_nm[:, 1])]
    assert known.min() >= 19
    assert known.max() <= 41
    assert np.isfinite(found.torque_nm[(found.grip_pct > 21) & (found.grip_pct < 39), 1]).all()


def test_torque_by_grip_needs_more_than_one_opening() -> None:
    speed = np.linspace(3000, 9000, 50)
    with pytest.raises(ValueError, match="two plate openings"):
        torque_by_grip(table(STRAIGHT), speed, np.full(50, 30.0), speed / 100, at_rpm=[5000])
    with pytest.raises(ValueError, match="belong together"):
        torque_by_grip(table(STRAIGHT), speed, speed[:2], speed, at_rpm=[5000])
