"""Runs that hold a roller's speed and no power: power by its inertia, losses by a coast-down, slip."""

import re
from html import unescape

import numpy as np
import pytest
from django.urls import reverse
from scipy.integrate import solve_ivp

from jobs.models import Run
from tests.calc.roller_sweeps import TO_RPM, roller_sweep, true_power_kw
from tests.factories import make_bike, make_engine, make_job
from tests.jobs.run_files import attach_sweep, get_result
from tests.reference.closed_forms import coasting_speed, speed_under_power
from workshop.models import Role

pytestmark = pytest.mark.django_db

INERTIA_KGM2, RADIUS_M, POWER_KW = 12.0, 0.25, 40.0
RPM = 30 / np.pi
CONSTANT_NM, SQUARE_NMS2 = 3.0, 2e-4
RPM_PER_KMH = 60.0


@pytest.fixture
def roller(shop):
    shop.roller_inertia_kgm2, shop.roller_radius_m = INERTIA_KGM2, RADIUS_M
    shop.save()
    return shop


@pytest.fixture
def tuner(staff):
    return staff[Role.TUNER]


def surface_kmh(speed_rad_s):
    return speed_rad_s * RADIUS_M * 3.6


def roller_csv(time, speed_rad_s, engine=True, slip=0.0) -> bytes:
    """Roller speed in 1/min and engine speed; slip makes the engine run ahead towards the end."""
    header = "Time (s),Roller speed (rpm)" + (",Engine speed (rpm)" if engine else "")
    lines = [header]
    for t, speed in zip(time, speed_rad_s, strict=True):
        ahead = 1 + slip * (t / time[-1]) ** 4
        more = f",{surface_kmh(speed) * RPM_PER_KMH * ahead:.2f}" if engine else ""
        lines.append(f"{t:.3f},{speed * RPM:.4f}{more}")
    return "\n".join(lines).encode()


TIME = np.arange(0, 6, 0.01)


def without_loss() -> np.ndarray:
    """From 60 rad/s with 40 kW at the roller: ω = √(ω₀² + 2·P·t/J)."""
    return np.asarray(speed_under_power(INERTIA_KGM2, 60.0, POWER_KW, TIME))


def with_loss() -> np.ndarray:
    """Integrate the same with losses, J·dω/dt = P/ω − c₀ − c₂·ω², by SciPy."""

    def rate(_, speed):
        return (1000 * POWER_KW / speed - CONSTANT_NM - SQUARE_NMS2 * speed**2) / INERTIA_KGM2

    return solve_ivp(rate, (0, 6), [60.0], t_eval=TIME, rtol=1e-9, atol=1e-9).y[0]


def inside(result):
    """Power on the grid without the ends, where the window is one-sided."""
    power = result.curve.power_kw
    return power[np.isfinite(power)][3:-3]


def test_power_is_derived_from_the_roller_speed(roller, tuner) -> None:
    run = attach_sweep(make_job(), tuner, roller_csv(TIME, without_loss())).run
    result = get_result(run, roller)
    assert inside(result) == pytest.approx(POWER_KW, rel=2e-3)
    notes = " ".join(flag.sentence for flag in result.flags)
    # A slope over half of the shop's 300 1/min: 0.3 s, as before, would be about 370 1/min of this sweep.
    assert "inertia 12 kg·m², slope over 150 rpm (" in notes
    assert "This job has no coast-down run" in notes


def test_power_says_that_the_bikes_rotating_parts_are_left_out(roller, tuner) -> None:
    result = get_result(attach_sweep(make_job(), tuner, roller_csv(TIME, without_loss())).run, roller)
    notes = " ".join(flag.sentence for flag in result.flags)
    assert "only the power that accelerates the roller" in notes
    assert "9 to 16 % below the crank" in notes


def test_inertia_of_the_bike_is_added_once_it_is_entered(roller, tuner) -> None:
    """The engine turns 60 · 0.25 · 3.6 · π/30 = 5.655 times for the roller: 0.025 · 5.655² = 0.799 kg·m².

    The rear wheel, 180/55ZR17, rolls 3.05 · (431.8 + 2 · 99) mm = 1.921 m, so it turns 1.571 / 1.921 = 0.818
    times: 0.6 · 0.818² = 0.401 kg·m². In all 13.2 kg·m² for the roller's 12, so power rises by 10.0 %.
    """
    engine = make_engine(engine_inertia_kgm2=0.025, wheel_inertia_kgm2=0.6)
    bike = make_bike(engine_spec=engine, rear_tyre="180/55ZR17")
    run = attach_sweep(make_job(bike=bike), tuner, roller_csv(TIME, without_loss())).run
    result = get_result(run, roller)
    assert inside(result) == pytest.approx(POWER_KW * (1 + 1.2 / 12), rel=3e-3)
    notes = " ".join(flag.sentence for flag in result.flags)
    assert "The bike's rotating parts are included, 9.1 % of the total inertia" in notes
    assert "at 5.7 turns per roller turn, rear wheel 0.6 kg·m² at 0.8" in notes


@pytest.mark.parametrize("rpm_per_s", [2_467, 453])
def test_overrun_in_the_file_does_not_bend_the_top(roller, tuner, rpm_per_s) -> None:
    sweep = roller_sweep(rpm_per_s)
    roller.roller_inertia_kgm2 = sweep.inertia_kgm2
    lines = ["Time (s),Roller speed (rpm),Engine speed (rpm),Throttle grip (%)"]
    columns = (sweep.time_s, sweep.roller_speed_rad_s * RPM, sweep.engine_speed_rpm, sweep.throttle_pct)
    lines += [f"{t:.3f},{w:.5f},{n:.2f},{g:.2f}" for t, w, n, g in zip(*columns, strict=True)]
    run = attach_sweep(make_job(), tuner, "\n".join(lines).encode()).run
    curve = get_result(run, roller).curve
    known = np.isfinite(curve.power_kw)
    speed = curve.engine_speed_rpm[known]
    assert speed[-1] > TO_RPM - 300
    # The last points were 9 to 60 % low when the slope was taken before the overrun was cut.
    assert np.abs(curve.power_kw[known] / true_power_kw(speed) - 1).max() < 0.005


def test_coast_down_losses_of_the_job_are_added(roller, tuner) -> None:
    job = make_job()
    time = np.arange(0, 400, 0.2)
    coasted = coasting_speed(INERTIA_KGM2, 300.0, CONSTANT_NM, SQUARE_NMS2, time)
    kept = coasted > 50
    data = roller_csv(time[kept], coasted[kept], engine=False)
    coast = attach_sweep(job, tuner, data, name="coast.csv", kind="coast").run
    assert coast.status == Run.Status.READ
    run = attach_sweep(job, tuner, roller_csv(TIME, with_loss())).run
    result = get_result(run, roller)
    # Without them it would be too low by c₀·ω + c₂·ω³: 2.2 kW at 200 rad/s.
    assert inside(result) == pytest.approx(POWER_KW, rel=3e-3)
    assert "Losses from coast-down coast.csv are added" in " ".join(f.sentence for f in result.flags)
    coast.set_aside, coast.set_aside_reason = True, "brake touched"
    coast.save()
    assert np.all(inside(get_result(run, roller)) < POWER_KW - 0.2)


def test_coast_down_gives_losses_instead_of_a_curve(roller, tuner, login) -> None:
    """c₀·ω + c₂·ω³ at 100 rad/s: 0.3 + 0.2 kW; 955 1/min."""
    time = np.arange(0, 300, 0.2)
    speed = coasting_speed(INERTIA_KGM2, 250.0, CONSTANT_NM, SQUARE_NMS2, time)
    kept = speed > 100
    data = roller_csv(time[kept], speed[kept], engine=False)
    run = attach_sweep(make_job(), tuner, data, kind="coast").run
    reason = get_result(run, roller).reason
    found = re.search(r"losses: ([\d.]+) kW at ([\d,]+) roller rpm", reason)
    assert float(found[1]) == pytest.approx(0.5, abs=0.02)
    assert float(found[2].replace(",", "")) == pytest.approx(100 * RPM, rel=0.01)
    page = login(Role.DESK).get(reverse("run", args=[run.pk]))
    assert "Coast-down losses" in unescape(page.content.decode())


def test_missing_engine_speed_is_derived_from_gear_and_tyre(roller, tuner, login) -> None:
    """2.0·1.2·(45/15) = 7.2 turns of the crank for 3.05·(431.8 + 198) mm: 62.47 1/min for each km/h."""
    engine = make_engine(
        primary_ratio=2.0, gear_ratios=[2.5, 1.5, 1.2], front_sprocket=15, rear_sprocket=45,
        rear_tyre="180/55ZR17",
    )  # fmt: skip
    job = make_job(bike=make_bike(engine_spec=engine))
    data = roller_csv(TIME, without_loss(), engine=False)
    run = attach_sweep(job, tuner, data, gear=3).run
    result = get_result(run, roller)
    top_rpm = surface_kmh(without_loss()[-1]) * 62.47
    assert result.rows["engine_speed_rpm"].max() == pytest.approx(top_rpm, rel=1e-3)
    assert inside(result) == pytest.approx(POWER_KW, rel=2e-3)
    assert result.ratio is None  # it would be one by its making
    page = login(Role.TUNER).get(reverse("run", args=[run.pk]))
    whole = page.context["sweep_chart"]["panels"][0]["series"][0]
    assert max(whole["y"]) == pytest.approx(top_rpm, rel=1e-3)
    run.gear = None
    run.save()
    assert "Enter the gear of the run" in get_result(run, roller).reason


@pytest.mark.parametrize(
    ("setting", "sentence"),
    [("roller_inertia_kgm2", "Enter the roller inertia"), ("roller_radius_m", "radius")],
)
def test_missing_dyno_data_is_named(roller, tuner, setting: str, sentence: str) -> None:
    setattr(roller, setting, None)
    engine = setting == "roller_inertia_kgm2"
    run = attach_sweep(make_job(), tuner, roller_csv(TIME, without_loss(), engine=engine), gear=3).run
    assert sentence in get_result(run, roller).reason


def kmh_csv(time, speed_rad_s, engine: bool) -> bytes:
    """Roller speed in km/h, with engine speed if asked for."""
    header = "Time (s),Roller speed (km/h)" + (",Engine speed (rpm)" if engine else "")
    rows = [
        f"{t:.3f},{surface_kmh(speed):.4f}" + (f",{surface_kmh(speed) * RPM_PER_KMH:.2f}" if engine else "")
        for t, speed in zip(time, speed_rad_s, strict=True)
    ]
    return "\n".join([header, *rows]).encode()


def test_missing_radius_is_named_when_speed_is_in_kmh(roller, tuner) -> None:
    roller.roller_radius_m = None
    roller.save()
    job, speed = make_job(), without_loss()
    run = attach_sweep(job, tuner, kmh_csv(TIME, speed, engine=True)).run
    reason = get_result(run, roller).reason
    assert "the roller radius and inertia under Shop" in reason
    coast = attach_sweep(job, tuner, kmh_csv(TIME, speed[::-1], engine=False), kind="coast", name="c").run
    reason = get_result(coast, roller).reason
    assert reason == ("Coast-down: The file has roller speed in km/h. Enter the roller radius under Shop.")


def test_coast_down_names_the_column_that_is_missing(roller, tuner) -> None:
    job = make_job()
    rows = "\n".join(f"{i / 10},{3000 - i}" for i in range(100))
    no_roller = attach_sweep(job, tuner, f"Time (s),Engine speed (rpm)\n{rows}".encode(), kind="coast").run
    assert "No column of the file is read as roller speed." in get_result(no_roller, roller).reason
    rows = "\n".join(f"{900 - i},{3000 - i}" for i in range(100))
    data = f"Roller speed (rpm),Engine speed (rpm)\n{rows}".encode()
    no_time = attach_sweep(job, tuner, data, kind="coast", name="d").run
    assert "No column of the file is read as time." in get_result(no_time, roller).reason


def test_slip_is_flagged_and_drawn_as_change_of_ratio(roller, tuner, login) -> None:
    run = attach_sweep(make_job(), tuner, roller_csv(TIME, without_loss(), slip=0.06)).run
    result = get_result(run, roller)
    assert result.ratio.reference == pytest.approx(RPM_PER_KMH, rel=2e-3)
    assert result.ratio.worst_pct == pytest.approx(5.5, abs=0.6)
    assert "slip" in {flag.code for flag in result.flags}
    page = login(Role.TUNER).get(reverse("run", args=[run.pk]))
    assert max(page.context["ratio_chart"]["panels"][0]["series"][0]["y"]) > 4.5
    assert "Ratio and slip" in page.content.decode()


def test_slip_that_is_there_throughout_is_computed_from_ratios_and_tyre(roller, tuner, login) -> None:
    """By hand: 1.8 · 1.2 · 45 / 15 = 6.48 turns of the engine for one of the wheel, which rolls 1.921 m.

    1 km/h is 16.667 m a minute, so 8.677 turns and 56.2 1/min, where 60 were measured: 1 - 56.2 / 60 = 6.3 %.
    """
    engine = make_engine(primary_ratio=1.8, gear_ratios=[1.2], front_sprocket=15, rear_sprocket=45)
    job = make_job(bike=make_bike(engine_spec=engine, rear_tyre="180/55ZR17"))
    run = attach_sweep(job, tuner, roller_csv(TIME, without_loss()), gear=1).run
    result = get_result(run, roller)
    assert result.slip_pct == pytest.approx(6.3, abs=0.05)
    assert "constant-slip" in {flag.code for flag in result.flags}
    # The ratio does not change along the sweep, which is all that was looked at.
    assert "slip" not in {flag.code for flag in result.flags}
    page = unescape(login(Role.DESK).get(reverse("run", args=[run.pk])).content.decode())
    assert "By the gearing and the tyre, the wheel turns 6.3 % faster than the roller throughout." in page
    Run.objects.filter(pk=run.pk).update(gear=None)
    assert get_result(run, roller).slip_pct is None


def test_power_in_the_file_takes_precedence_over_derived_power(roller, tuner) -> None:
    lines = roller_csv(TIME, without_loss()).decode().split("\n")
    with_power = [f"{lines[0]},Power (kW)", *(f"{line},35.0" for line in lines[1:])]
    run = attach_sweep(make_job(), tuner, "\n".join(with_power).encode()).run
    result = get_result(run, roller)
    assert inside(result) == pytest.approx(35.0, rel=1e-6)
    assert "roller" not in {flag.code for flag in result.flags}


def test_derived_power_and_torque_are_drawn_against_time(roller, tuner, login) -> None:
    """T = P / (2πn/60): 40 kW at 6,000 1/min are 63.7 N·m."""
    job = make_job()
    attach_sweep(job, tuner, roller_csv(TIME, without_loss()))
    page = login(Role.DESK).get(reverse("runs", args=[job]), {"against": "time"})
    power, torque = (panel["series"][0] for panel in page.context["overlay"].chart["panels"])
    assert power["y"][5:-5] == pytest.approx([POWER_KW] * len(power["y"][5:-5]), abs=0.2)
    engine = surface_kmh(without_loss()) * RPM_PER_KMH
    at = float(np.interp(6000, engine, TIME))
    nearest = int(np.argmin(np.abs(np.array(torque["x"]) - at)))
    assert torque["y"][nearest] == pytest.approx(63.7, rel=0.02)
