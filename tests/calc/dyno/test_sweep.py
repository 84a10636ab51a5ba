import numpy as np
import pytest

from jobs.calc.dyno.sweep import Sweep, check_run, find_pulls, find_sweep
from tests.calc.simulated_runs import TO_RPM, Run, simulate, true_power_kw


@pytest.fixture
def run() -> Run:
    return simulate(np.random.default_rng(8))


def ends_rpm(run: Run, sweep: Sweep) -> tuple[float, float]:
    return float(run.engine_speed_rpm[sweep.start]), float(run.engine_speed_rpm[sweep.stop - 1])


def test_sweep_excludes_roll_on_and_overrun(run: Run) -> None:
    sweep = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s)
    assert sweep.found
    assert run.throttle_pct[sweep.rows].min() > 94
    first, last = ends_rpm(run, sweep)
    # The throttle is fully open from 1.6 s on; the simulated run turns then at about 3,300 1/min.
    assert 3_200 < first < 3_450
    assert last == pytest.approx(TO_RPM, abs=60)


@pytest.mark.parametrize("with_time", [True, False])
def test_sweep_is_found_from_speed_alone(run: Run, with_time: bool) -> None:
    sweep = find_sweep(run.engine_speed_rpm, time_s=run.time_s if with_time else None)
    first, last = ends_rpm(run, sweep)
    assert first < 3_500
    # Nobody recorded how the hand closed the throttle: the last 0.15 s may be part of it, 200 1/min here.
    assert TO_RPM - 250 < last < TO_RPM
    # No overrun, and almost nothing of the second at idle.
    assert run.time_s[sweep.start] > 0.9


def test_dropouts_do_not_cut_the_sweep(run: Run) -> None:
    whole = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s)
    speed, throttle = run.engine_speed_rpm.copy(), run.throttle_pct.copy()
    middle = (whole.start + whole.stop) // 2
    speed[middle : middle + 5] = 0
    speed[middle + 30] = 55_000
    speed[middle + 60 : middle + 63] -= 150
    throttle[middle + 90 : middle + 95] = np.nan
    assert find_sweep(speed, throttle, run.time_s) == whole


def test_reversed_run_has_the_same_sweep(run: Run) -> None:
    whole = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s)
    back = find_sweep(run.engine_speed_rpm[::-1], run.throttle_pct[::-1], run.time_s[::-1])
    rows = run.time_s.size
    assert (back.start, back.stop) == (rows - whole.stop, rows - whole.start)


def test_shuffled_run_is_used_whole_with_a_reason(run: Run) -> None:
    shuffled = np.random.default_rng(9).permutation(run.engine_speed_rpm)
    sweep = find_sweep(shuffled)
    assert (sweep.start, sweep.stop, sweep.found) == (0, shuffled.size, False)
    assert "every row is used" in sweep.reason


def test_run_at_one_speed_has_no_sweep() -> None:
    held = 5_000 + np.random.default_rng(1).normal(0, 10, 800)
    assert not find_sweep(held).found


def test_largest_of_several_sweeps_is_chosen(run: Run) -> None:
    short = run.engine_speed_rpm.clip(max=8_000)
    speed = np.concatenate([short, run.engine_speed_rpm, short])
    throttle = np.tile(run.throttle_pct, 3)
    sweep = find_sweep(speed, throttle)
    assert short.size < sweep.start < sweep.stop < 2 * short.size


def held_run() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return steps of 250 1/min, a second each, with the grip at 80 %; then shut, slowing down."""
    time = np.arange(0, 40, 0.05)
    steps = 3_000 + 250 * np.minimum(np.floor(time / 1.25), 26)
    grip = np.interp(time, [0.2, 0.5, 34, 34.15], [4.0, 80.0, 80.0, 0.0])
    noise = np.random.default_rng(3)
    return (
        time,
        steps - 350 * np.maximum(time - 34.1, 0) + noise.normal(0, 4, time.size),
        np.clip(grip + noise.normal(0, 0.1, time.size), 0, 100),
    )


def test_held_run_is_cut_to_the_open_throttle() -> None:
    time, speed, grip = held_run()
    held = find_sweep(speed, grip, time)
    assert not held.found
    assert "with the throttle open" in held.reason
    assert grip[held.rows].min() > 78
    assert time[held.start] < 0.6
    assert time[held.stop - 1] > 33.9


def test_closing_throttle_of_a_slow_channel_is_cut() -> None:
    """The throttle is logged at every tenth row only: between open and shut it counts as closing."""
    time, speed, grip = held_run()
    slow = np.where(np.arange(time.size) % 10 == 0, grip, np.nan)
    assert time[find_sweep(speed, slow, time).stop - 1] <= 34


def test_table_of_few_rows_is_one_sweep() -> None:
    sweep = find_sweep(np.arange(3_000, 9_001, 250.0))
    assert (sweep.start, sweep.stop, sweep.found) == (0, 25, True)


def test_fall_of_the_engine_speed_is_never_bridged() -> None:
    rise = np.arange(3_000.0, 11_000.0, 8.0)
    for fall in ([], [9_000.0, 6_000.0], np.linspace(11_000, 3_000, 25)):
        speed = np.concatenate([rise, fall, rise])
        sweep = find_sweep(speed)
        assert sweep.stop <= rise.size
        assert sweep.other_pulls == 1
        assert np.all(np.diff(speed[sweep.rows]) > 0)


def test_every_row_belongs_to_one_pull(run: Run) -> None:
    speed = np.tile(run.engine_speed_rpm, 3)
    pulls = find_pulls(speed)
    rows = run.engine_speed_rpm.size
    assert [pull.rows.size for pull in pulls] == pytest.approx([rows] * 3, abs=120)
    np.testing.assert_array_equal(np.concatenate([pull.rows for pull in pulls]), np.arange(3 * rows))
    for pull in pulls:
        assert pull.to_rpm == pytest.approx(TO_RPM, abs=100)


def test_single_pull_and_steady_running_are_not_several(run: Run) -> None:
    assert len(find_pulls(run.engine_speed_rpm, run.time_s)) == 1
    assert find_pulls(5_000 + np.random.default_rng(1).normal(0, 10, 800)) == ()
    assert find_pulls(np.full(20, np.nan)) == ()


def test_rows_set_by_hand_are_used_as_given(run: Run) -> None:
    assert find_sweep(run.engine_speed_rpm, start=100, stop=400).rows == slice(100, 400)
    assert find_sweep(run.engine_speed_rpm, stop=400).rows == slice(0, 400)


@pytest.mark.parametrize(("start", "stop"), [(400, 100), (-1, 100), (0, 10_000_000), (5, 5)])
def test_rows_outside_the_run_are_refused(run: Run, start: int, stop: int) -> None:
    with pytest.raises(ValueError, match="are outside the run"):
        find_sweep(run.engine_speed_rpm, start=start, stop=stop)


def test_run_without_engine_speed_is_refused() -> None:
    for speed in ([], [np.nan, 0.0, np.nan]):
        with pytest.raises(ValueError, match="zero or missing in every row"):
            find_sweep(speed)


def test_channels_of_different_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="the same number of samples"):
        find_sweep([1_000, 2_000, 3_000], [100, 100])


def codes(run: Run, **channels: np.ndarray) -> dict[str, str]:
    speed = channels.pop("engine_speed_rpm", run.engine_speed_rpm)
    sweep = find_sweep(run.engine_speed_rpm, run.throttle_pct, run.time_s)
    return {flag.code: flag.sentence for flag in check_run(speed, sweep, **channels)}


def test_good_run_has_no_flags(run: Run) -> None:
    speed = run.engine_speed_rpm
    power = true_power_kw(speed)
    found = codes(
        run,
        throttle_pct=run.throttle_pct,
        power_kw=power,
        torque_nm=power * 1000 / (speed * np.pi / 30),
        road_speed_kmh=speed / 55,
    )
    assert found == {}


def test_dropouts_and_spikes_are_counted_in_flags(run: Run) -> None:
    speed = run.engine_speed_rpm.copy()
    speed[[400, 401, 500]] = 0
    speed[600] += 2_000
    found = codes(run, engine_speed_rpm=speed)
    assert "3 samples" in found["dropout"]
    assert "1 sample " in found["spike"]


def test_throttle_below_95_pct_is_flagged(run: Run) -> None:
    assert "minimum 88 %" in codes(run, throttle_pct=np.where(run.time_s > 5, 88.0, 100.0))["throttle"]
    assert "throttle" not in codes(run, throttle_pct=np.full(run.time_s.size, np.nan))


def test_slip_is_flagged_in_pct(run: Run) -> None:
    speed = run.engine_speed_rpm
    slipping = np.where((speed > 8_000) & (speed < 9_500), 0.94, 1.0)
    sentence = codes(run, road_speed_kmh=speed / 55 * slipping)["slip"]
    # 1/0.94 − 1 = 6.4 %
    assert "by 6 %" in sentence


def test_unknown_air_and_passed_limits_are_flagged(run: Run) -> None:
    sweep = find_sweep(run.engine_speed_rpm)
    flags = check_run(run.engine_speed_rpm, sweep, air_known=False, factor_note="Factor 1.09 is above 1.07.")
    assert [flag.code for flag in flags] == ["no-air", "factor"]
    assert flags[1].sentence == "Factor 1.09 is above 1.07."


def test_run_without_sweep_is_flagged(run: Run) -> None:
    held = np.full(200, 5_000.0)
    assert [flag.code for flag in check_run(held, find_sweep(held))] == ["no-sweep"]
