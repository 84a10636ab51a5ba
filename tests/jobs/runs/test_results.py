"""A run's figures: observed, corrected, and what its reader has to know."""

import numpy as np
import pytest

from fixtures.bikes import true_curve
from jobs.calc.dyno.repeats import summarise_repeats
from jobs.models import Run
from jobs.runs.sweep_limits import rows_between
from tests.factories import make_job
from tests.jobs.run_files import HEADER, attach_demo, attach_sweep, demo_runs, figures_of, sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db

AIR = {"temperature_c": 20.0, "pressure_kpa": 100.0, "humidity_pct": 50.0}
# By hand: water at 20 °C has 2.339 kPa (steam tables), half of that is 1.170, dry 98.830 kPa, so
# (99 / 98.830)^1.2 · (293.15 / 298.15)^0.6 = 1.00206 · 0.98990
ISO_1585 = 0.99195
# DIN 70020 at its own 20 °C: 101.325 / 100
DIN_70020 = 1.01325


@pytest.fixture
def tuner(staff):
    return staff[Role.TUNER]


@pytest.fixture
def job(shop):
    return make_job()


def codes(figures) -> set[str]:
    return {flag.code for flag in figures.flags}


def at(figures_curve, engine_speed_rpm: float) -> float:
    return float(figures_curve.power_kw[figures_curve.engine_speed_rpm == engine_speed_rpm][0])


def test_the_curve_is_the_one_the_file_was_made_from(job, tuner, shop) -> None:
    figures = figures_of(attach_sweep(job, tuner).run, shop)
    # 6,000 / 200 and, with T = P / (2πn/60), 30,000 W / 628.32 1/s
    assert at(figures.observed, 6000) == pytest.approx(30, rel=1e-4)
    assert figures.observed.torque_nm[figures.observed.engine_speed_rpm == 6000][0] == pytest.approx(
        47.746, rel=1e-4
    )
    assert figures.lambda_ is not None
    assert np.nanmax(np.abs(figures.lambda_ - 0.88)) < 1e-9


def test_without_the_air_the_curve_is_the_observed_one_and_says_so(job, tuner, shop) -> None:
    figures = figures_of(attach_sweep(job, tuner).run, shop)
    assert not figures.is_corrected
    assert figures.curve is figures.observed
    assert "no-air" in codes(figures)


def test_corrected_by_the_shops_standard_with_the_observed_kept(job, tuner, shop) -> None:
    figures = figures_of(attach_sweep(job, tuner, **AIR).run, shop)
    assert figures.correction.standard.name == "ISO 1585"
    assert figures.correction.factor == pytest.approx(ISO_1585, abs=5e-5)
    assert at(figures.curve, 6000) == pytest.approx(30 * ISO_1585, rel=2e-4)
    assert at(figures.observed, 6000) == pytest.approx(30, rel=1e-4)
    assert figures.curve.observed is figures.observed
    assert "no-air" not in codes(figures)


def test_what_came_corrected_is_taken_back_first(job, tuner, shop) -> None:
    shop.correction_standard = "din_70020"
    figures = figures_of(attach_sweep(job, tuner, corrected_by="iso_1585", **AIR).run, shop)
    assert at(figures.observed, 6000) == pytest.approx(30 / ISO_1585, rel=2e-4)
    assert at(figures.curve, 6000) == pytest.approx(30 / ISO_1585 * DIN_70020, rel=2e-4)


def test_the_factor_that_the_file_states_goes_before_one_from_its_air(job, tuner, shop) -> None:
    run = attach_sweep(job, tuner, corrected_by="sae_j607", file_factor=0.98, **AIR).run
    figures = figures_of(run, shop)
    assert at(figures.observed, 6000) == pytest.approx(30 / 0.98, rel=1e-4)
    assert at(figures.curve, 6000) == pytest.approx(30 / 0.98 * ISO_1585, rel=2e-4)


def test_corrected_figures_of_unknown_air_give_no_curve(job, tuner, shop) -> None:
    figures = figures_of(attach_sweep(job, tuner, corrected_by="iso_1585").run, shop)
    assert figures.curve is None
    assert "Enter the air of the run or the factor" in figures.reason


def test_a_factor_beyond_its_standards_limits_is_flagged(job, tuner, shop) -> None:
    figures = figures_of(
        attach_sweep(job, tuner, temperature_c=38.0, pressure_kpa=98.0, humidity_pct=40.0).run, shop
    )
    assert "factor" in codes(figures)


def test_a_pressure_reduced_to_sea_level_is_questioned(job, tuner, shop) -> None:
    shop.elevation_m = 900
    figures = figures_of(
        attach_sweep(job, tuner, temperature_c=20.0, pressure_kpa=101.3, humidity_pct=50.0).run, shop
    )
    assert "air-pressure" in codes(figures)
    shop.elevation_m = 40
    assert "air-pressure" not in codes(figures_of(Run.objects.get(), shop))


def test_torque_alone_gives_the_same_curve(job, tuner, shop) -> None:
    speed = np.linspace(3000, 11_000, 801)
    torque = speed / 200 * 1000 / (speed * np.pi / 30)
    rows = [f"{i / 100},{n:.1f},{t:.5f}" for i, (n, t) in enumerate(zip(speed, torque, strict=True))]
    data = "\n".join(["Time (s),Engine speed (rpm),Torque (Nm)", *rows]).encode()
    assert at(figures_of(attach_sweep(job, tuner, data).run, shop).observed, 6000) == pytest.approx(
        30, rel=1e-4
    )


def test_a_half_open_sweep_is_flagged_and_a_held_run_is_not(job, tuner, shop) -> None:
    data = sweep_csv().replace(b",100.0,", b",40.0,")
    run = attach_sweep(job, tuner, data, **AIR).run
    assert "throttle" in codes(figures_of(run, shop))
    run.kind = Run.Kind.HELD
    run.save()
    held = figures_of(run, shop)
    assert "throttle" not in codes(held)
    assert any("held part open" in flag.sentence for flag in held.flags)


def test_an_idle_run_tells_its_speed(job, tuner, shop) -> None:
    rows = "\n".join(f"{i / 10},{1300 + (20 if i % 2 else -20)},0" for i in range(200))
    data = f"Time (s),Engine speed (rpm),Power (kW)\n{rows}".encode()
    figures = figures_of(attach_sweep(job, tuner, data, kind="idle").run, shop)
    assert figures.curve is None
    assert figures.reason == "Idle: 1300 1/min, standard deviation 20 1/min."


def test_what_has_no_curve_says_why(job, tuner, shop) -> None:
    rows = "\n".join(f"{i / 100},{3000 + 10 * i}" for i in range(300))
    no_power = attach_sweep(job, tuner, f"Time (s),Engine speed (rpm)\n{rows}".encode(), name="a").run
    assert figures_of(no_power, shop).reason == "The file has neither power nor torque."
    powers = "\n".join(f"{i / 100},{20 + i / 10}" for i in range(300))
    no_speed = attach_sweep(job, tuner, f"Time (s),Power (kW)\n{powers}".encode(), name="b").run
    assert "no engine speed" in figures_of(no_speed, shop).reason
    refused = attach_sweep(job, tuner, b"GIF89a" + bytes(30), name="c.gif").run
    assert "picture" in figures_of(refused, shop).reason
    unnamed = attach_sweep(job, tuner, b"A;B\n" + b"3000;1\n" * 50, name="d").run
    assert "not named yet" in figures_of(unnamed, shop).reason


def test_limits_by_hand_are_kept_to(job, tuner, shop) -> None:
    run = attach_sweep(job, tuner).run
    run.sweep_start, run.sweep_stop = 100, 601  # 4,000 to 9,000 1/min, 10 1/min a sample
    run.save()
    curve = figures_of(run, shop).observed
    assert (curve.measured_from_rpm, curve.measured_to_rpm) == (4000, 9000)
    run.sweep_stop = 5000
    run.save()
    assert "do not lie within" in figures_of(run, shop).reason


def test_rows_between_two_engine_speeds(job, tuner) -> None:
    run = attach_sweep(job, tuner).run
    assert rows_between(run, 4000, 9000) == (100, 601)
    with pytest.raises(ValueError, match="no samples from"):
        rows_between(run, 20_000, 21_000)


def test_rows_between_leaves_roll_on_and_over_run_out(job, tuner) -> None:
    """Held at 5,000, then swept to 9,000, then falling again through all of it."""
    speed = np.concatenate([np.full(100, 5000.0), np.linspace(5000, 9000, 401), np.linspace(9000, 3000, 301)])
    grip = np.where(np.arange(speed.size) < 100, 10, np.where(np.arange(speed.size) < 501, 100, 0))
    rows = [
        f"{i / 50:.2f},{n:.1f},{n / 200:.3f},{g},0.88"
        for i, (n, g) in enumerate(zip(speed, grip, strict=True))
    ]
    run = attach_sweep(job, tuner, "\n".join([HEADER, *rows]).encode()).run
    start, stop = rows_between(run, 6000, 8000)
    assert (speed[start], speed[stop - 1]) == (6000, 8000)
    assert 100 <= start < stop <= 501


def test_a_short_lean_spike_in_lambda_is_not_taken_for_an_outlier(job, tuner, shop) -> None:
    data = sweep_csv().decode().split("\n")
    spiked = [line.replace("0.880", "1.400") if 400 <= i <= 405 else line for i, line in enumerate(data)]
    figures = figures_of(attach_sweep(job, tuner, "\n".join(spiked).encode()).run, shop)
    near = np.abs(figures.curve.engine_speed_rpm - 7000) < 100
    assert np.nanmax(figures.lambda_[near]) > 0.95


def test_runs_of_one_kind_have_one_smoothing_width_wherever_they_are_shown(job, tuner, shop) -> None:
    dense = attach_sweep(job, tuner, name="dense.csv").run
    assert figures_of(dense, shop).curve.width_rpm == 300
    assert "width" not in codes(figures_of(dense, shop))
    # 81 rows: one sample every 100 1/min, of which 300 1/min hold three
    thin = attach_sweep(job, tuner, sweep_csv(rows=81), name="thin.csv").run
    for run in (dense, thin):
        assert figures_of(run, shop).curve.width_rpm == 600
        assert "width" in codes(figures_of(run, shop))


def test_excluded_thin_file_does_not_widen_the_smoothing_of_the_others(job, tuner, shop) -> None:
    dense = attach_sweep(job, tuner, name="dense.csv").run
    thin = attach_sweep(job, tuner, sweep_csv(rows=81), name="thin.csv").run
    thin.set_aside, thin.set_aside_reason = True, "too few samples"
    thin.save()
    assert figures_of(dense, shop).curve.width_rpm == 300
    assert figures_of(thin, shop).curve.width_rpm == 600


def test_a_lost_channel_file_is_no_error_of_the_page(job, tuner, shop) -> None:
    run = attach_sweep(job, tuner).run
    run.channels.storage.delete(run.channels.name)
    assert "can't be opened" in figures_of(run, shop).reason


@pytest.mark.parametrize("bike", ["marl", "tern", "lodra"])
@pytest.mark.parametrize("when", ["before", "after"])
def test_the_true_curve_of_the_demo_comes_back(job, tuner, shop, bike, when) -> None:
    """Through files, units, air and smoothing; what stays is the scatter that was put in.

    A whole run scatters by 0.5 % (one standard deviation), so the level of a mean of three is good to
    3 · 0.5 % / √3 = 0.87 %. Its shape is hit by the scatter of samples alone and is held to 0.5 %.
    """
    shop.correction_standard = "sae_j1349"  # the reference air of the truth
    runs = [attach_demo(job, tuner, entry) for entry in demo_runs(bike) if entry["when"] == when]
    mean = summarise_repeats([figures_of(run, shop).curve for run in runs])
    speed, power = mean.engine_speed_rpm, mean.power.mean
    _, truth = true_curve(bike, when, speed)
    # within half a window of the ends one side alone decides
    inside = np.isfinite(power) & np.isfinite(truth) & (speed > speed[0] + 150) & (speed < speed[-1] - 150)
    ratio = power[inside] / truth[inside]
    assert inside.mean() > 0.9
    level = float(np.mean(ratio))
    assert level == pytest.approx(1, abs=0.0087)
    assert np.abs(ratio / level - 1).max() < 0.005
