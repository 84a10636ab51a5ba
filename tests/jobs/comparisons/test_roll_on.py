"""Roll-ons on the page of a comparison: inputs, results and what is missing."""

import csv
import io
from typing import Any

import pytest
from django.urls import reverse

from jobs.calc.dyno.curve_difference import Verdict
from jobs.models import SuspensionSetting
from jobs.suspension.engine_ratio import computed_gearing
from tests.factories import make_bike, make_customer, make_engine, make_job
from tests.html import read_text
from tests.jobs.comparisons.test_comparisons import AIR, make_comparison, minutes, sweeps
from tests.jobs.run_files import attach_sweep
from workshop.models import Role

pytestmark = pytest.mark.django_db

RATIOS = {"primary_ratio": 2.0, "gear_ratios": [2.5, 1.5, 1.2], "front_sprocket": 15, "rear_sprocket": 45}
# Each km/h turns the engine at 60 1/min.
HEADER = "Time (s),Engine speed (rpm),Power (kW),Road speed (km/h),Throttle grip (%)"
RPM_PER_KMH = 60.0


def job_with(**spec: Any):
    engine = make_engine(**{**RATIOS, "wet_mass_kg": 190.0, "rear_tyre": "180/55ZR17", **spec})
    owner = make_customer(riding_mass_kg=85.0)
    return make_job(bike=make_bike(owner=owner, engine_spec=engine))


def with_road_speed(level: float, salt: int) -> bytes:
    """Constant power of 60 kW times a level, 3,000 to 11,000 1/min."""
    lines = [HEADER]
    for row in range(801):
        speed = 3000 + 10 * row
        lines.append(f"{row / 100:.2f},{speed},{60 * level:.4f},{speed / RPM_PER_KMH:.3f},100")
    return ("\n".join(lines) + "\n" * salt).encode()


@pytest.fixture
def compared_job(staff, shop):
    """Three sweeps of about 60 kW and three of about 63 kW in gear 3, with road speed."""
    job = job_with()
    for number in range(6):
        level = (1.0 if number < 3 else 1.05) * (0.999, 1.0, 1.001)[number % 3]
        details = {**AIR, "gear": 3, "made_at": minutes(40 * (number >= 3) + number)}
        attach_sweep(
            job, staff[Role.TUNER], with_road_speed(level, number + 1), name=f"{number}.csv", **details
        )
    SuspensionSetting.objects.create(
        job=job, when="as_left", set_at=minutes(20), by=staff[Role.TUNER], front_preload="4"
    )
    return job


def page(client, job, **asked: str):
    return client.get(reverse("comparison", args=[make_comparison(job).pk]), asked)


def test_roll_on_at_constant_power_matches_the_closed_form(login, compared_job) -> None:
    """Without drag t = m·(v₂² − v₁²)/2P; mass of bike and rider 190 + 85 kg, gear from the runs.

    60 to 120 km/h with 60 kW, times the correction's factor: 275·833.33/(2·60,000) = 1.910 s by it.
    """
    asked = {"from_kmh": "60", "to_kmh": "120", "drag_area_m2": "0", "rotating_pct": "0"}
    answer = page(login(Role.TUNER), compared_job, **asked)
    roll_on = answer.context["roll_on"]
    assert roll_on.inputs.mass_kg == 275.0
    assert roll_on.inputs.gear == 3
    assert roll_on.gearing.rpm_per_kmh == pytest.approx(RPM_PER_KMH, rel=1e-3)
    factor = answer.context["compared"].before[1].factor
    power_w = 60_000 * factor
    # Rolling resistance takes 0.02·m·g·v of the power: about 1.3 kW at 25 m/s.
    without, with_rolling = 275 * 833.33 / (2 * power_w), 275 * 833.33 / (2 * (power_w - 1350))
    assert without < roll_on.result.time.before < with_rolling * 1.001
    assert roll_on.result.time.verdict is Verdict.LESS
    assert roll_on.result.lead.verdict is Verdict.MORE
    assert "ahead of where it was before" in read_text(answer)
    assert "measured on 6 runs in gear 3" in read_text(answer)
    assert len(answer.context["lead_chart"]["panels"][0]["series"][0]["low"]) == roll_on.result.time_s.size


def test_roll_on_limited_by_tyre_grip_matches_the_closed_form(login, compared_job) -> None:
    """μ = 0.3, L = 1.4 m, b = 0.7 m, h = 0.6 m: F = μ·m·g·½/(1 − μ·h/L) = 0.17213·m·g.

    Without drag t = Δv/(F/m − 0.02·g) = 16.667/(9.80665·(0.17213 − 0.02)) = 11.17 s for either side.
    """
    asked = {"wheelbase_mm": "1400", "mass_ahead_mm": "700", "mass_height_mm": "600", "friction": "0.3"}
    asked["rotating_pct"] = "0"
    answer = page(login(Role.TUNER), compared_job, from_kmh="60", to_kmh="120", drag_area_m2="0", **asked)
    held = answer.context["roll_on"].limited
    assert held.time.before == pytest.approx(11.17, abs=0.01)
    assert held.at_limit_s == pytest.approx((held.time.before, held.time.after))
    assert held.time.verdict is Verdict.NO_DIFFERENCE
    assert answer.context["roll_on"].result.time.verdict is Verdict.LESS
    # 0.17213 · 275 kg · 9.80665 m/s²
    assert "The rear tyre allows 464 N at the rear wheel" in read_text(answer)
    assert "Limited by the rear tyre" in read_text(answer)


def test_rotating_masses_lengthen_the_roll_on_by_their_share(login, compared_job) -> None:
    client, asked = login(Role.TUNER), {"from_kmh": "60", "to_kmh": "120", "drag_area_m2": "0"}
    without, with_them = (
        page(client, compared_job, **asked, rotating_pct=pct).context["roll_on"].result for pct in ("0", "10")
    )
    assert with_them.time.before == pytest.approx(1.10 * without.time.before, rel=1e-6)


def test_rotating_masses_and_air_are_stated(login, compared_job, shop) -> None:
    """J1349: 99 kPa dry and 25 °C, ρ = 99,000/(287.05·298.15) = 1.157 kg/m³."""
    client = login(Role.TUNER)
    text = read_text(page(client, compared_job))
    assert "Rotating masses count as 5 % of the mass (assumed)." in text
    assert "25 °C and 99 kPa, dry; drag in the same air, 1.16 kg/m³." in text
    # 2·0.6/0.30572² + 0.02·(60·3.6·π/30)² = 12.84 + 10.23 kg of 275 kg, r = 1.9209 m/2π
    spec = compared_job.bike.engine_spec
    spec.engine_inertia_kgm2, spec.wheel_inertia_kgm2 = 0.02, 0.6
    spec.save()
    text = read_text(page(client, compared_job))
    assert "Rotating masses count as 8.4 % of the mass (from the inertias of the engine spec)." in text


def test_power_that_is_not_corrected_is_stated(login, compared_job) -> None:
    compared_job.runs.update(temperature_c=None, pressure_kpa=None, humidity_pct=None)
    assert "Power as measured, not corrected for the air" in read_text(page(login(Role.TUNER), compared_job))


def test_limit_that_is_not_reached_is_stated(login, compared_job) -> None:
    """m·g·b/h = 275·9.80665·0.69/0.62 = 3001 N, which 60 kW reach only below 72 km/h."""
    answer = page(login(Role.TUNER), compared_job, from_kmh="90", to_kmh="130")
    assert "The front wheel would limit the drive force to 3001 N. The bike does not reach it" in read_text(
        answer
    )
    assert len(answer.context["roll_on_summary"].bands) == 1


def test_roll_on_csv_has_the_values_of_the_page(login, compared_job) -> None:
    client = login(Role.TUNER)
    url = reverse("comparison-csv", args=[make_comparison(compared_job).pk])
    text = client.get(url, {"from_kmh": "70", "to_kmh": "130"}).content.decode("utf-8-sig")
    rows = [row for row in csv.DictReader(io.StringIO(text)) if row["band"].startswith("roll-on")]
    heads = [row for row in rows if row["band"] == "roll-on in gear 3, assumed"]
    assert rows[: len(heads)] == heads
    assumed = {row["figure"].split(" (")[0].split(".")[0]: (row["before"], row["unit"]) for row in heads}
    assert assumed["Mass of bike and rider"] == ("275.0", "kg")
    assert assumed["Rotating masses"] == ("5.0", "% of the mass")
    assert assumed["Drag area"] == ("0.45", "m²")
    assert 1.1 < float(assumed["Air density"][0]) < 1.2  # of 25 °C and 99 kPa dry it is 1.157 kg/m³
    rows = rows[len(heads) :]
    assert [row["figure"] for row in rows] == ["Time", "Distance", "Distance covered in the same time"] * 2
    assert [row["band"] for row in rows[2:4]] == [
        "roll-on in gear 3",
        "roll-on in gear 3, limited by the front wheel",
    ]
    assert rows[0]["from (rpm)"] == "4200"
    assert rows[0]["verdict"] == "less"
    shown = page(client, compared_job, from_kmh="70", to_kmh="130").context["roll_on_summary"].bands[0].rows
    assert f"{float(rows[0]['before']):.2f}" in shown[0].before


def test_missing_speeds_default_to_whole_fives_from_the_runs(login, compared_job) -> None:
    """A quarter and nine tenths of 3,000 to 11,000 1/min: 5,000 and 10,200, that is 83 and 170 km/h."""
    asked = page(login(Role.TUNER), compared_job).context["roll_on"].inputs
    assert (asked.from_kmh, asked.to_kmh) == (80, 170)


def test_speeds_outside_the_measured_range_are_refused(login, compared_job) -> None:
    answer = page(login(Role.TUNER), compared_job, from_kmh="20", to_kmh="120")
    assert answer.context["roll_on"].result is None
    assert "Choose other speeds or another gear." in read_text(answer)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"from_kmh": "120", "to_kmh": "60"}, "must be higher than the start speed"),
        ({"mass_kg": "heavy"}, "heavy"),
        ({"drive_gear": "12"}, "8"),
        ({"wheelbase_mm": "1400", "mass_ahead_mm": "1500"}, "must be between the wheels"),
    ],
)
def test_invalid_roll_on_input_gives_an_error_at_its_field(
    login, compared_job, typed: dict[str, str], sentence: str
) -> None:
    answer = page(login(Role.TUNER), compared_job, **typed)
    assert answer.status_code == 422
    assert sentence in read_text(answer) or sentence in answer.content.decode()
    assert "The runs" in read_text(answer)


def test_ratio_is_computed_from_teeth_and_tyre_without_road_speed(staff) -> None:
    """2.0·1.2·(45/15) = 7.2 turns; 180/55-17: 3.05·(431.8 + 198) mm = 1.9209 m; 7.2·16.667/1.9209 = 62.47."""
    job = job_with()
    assert computed_gearing(job, 3).rpm_per_kmh == pytest.approx(62.47, abs=0.01)
    SuspensionSetting.objects.create(
        job=job, when="as_left", by=staff[Role.TUNER], front_sprocket=15, rear_sprocket=48
    )
    assert computed_gearing(job, 3).rpm_per_kmh == pytest.approx(62.47 * 48 / 45, abs=0.02)


@pytest.mark.parametrize(
    ("spec", "sentence"),
    [
        ({"primary_ratio": None}, "primary ratio"),
        ({"gear_ratios": [2.5]}, "gear 3"),
        ({"front_sprocket": None}, "sprockets"),
        ({"rear_tyre": ""}, "tyre"),
    ],
)
def test_roll_on_names_missing_gearing(login, staff, shop, spec: dict[str, Any], sentence: str) -> None:
    job = job_with(**spec)
    sweeps(job, staff[Role.TUNER], 1.0, 0, gear=3)
    SuspensionSetting.objects.create(
        job=job, when="as_left", set_at=minutes(20), by=staff[Role.TUNER], front_preload="4"
    )
    sweeps(job, staff[Role.TUNER], 1.02, 40, gear=3)
    answer = page(login(Role.TUNER), job)
    reason = answer.context["roll_on"].reason
    assert reason.startswith("Missing:")
    assert sentence in reason
    assert reason in read_text(answer)


def test_missing_mass_is_named_and_can_be_entered(login, compared_job) -> None:
    customer = compared_job.customer
    customer.riding_mass_kg = None
    customer.save()
    client = login(Role.DESK)
    assert "rider's weight with gear" in read_text(page(client, compared_job))
    assert page(client, compared_job, mass_kg="280").context["roll_on"].result is not None


def test_speeds_are_entered_in_the_shops_unit(login, compared_job, shop) -> None:
    shop.distance_unit = "mi"
    shop.save()
    answer = page(login(Role.TUNER), compared_job, from_kmh="50", to_kmh="100")
    assert answer.context["roll_on"].inputs.to_kmh == pytest.approx(160.9344)
    assert "50 to 100 mph" in read_text(answer)
