"""Drive force in each gear on its page and as CSV, for runs of a known curve."""

import csv
import io
import math

import pytest
from django.urls import reverse

from jobs.models import Run
from tests.factories import make_job
from tests.html import read_text
from tests.jobs.comparisons.test_comparisons import AIR, minutes
from tests.jobs.comparisons.test_roll_on import HEADER, RPM_PER_KMH, job_with
from tests.jobs.run_files import attach_sweep
from workshop.models import Role

pytestmark = pytest.mark.django_db

PEAK_RPM, PEAK_KW = 9_000, 75.0


def power_kw(rpm: float) -> float:
    """P = a·n − b·n³ with its peak at ``PEAK_RPM``."""
    share = rpm / PEAK_RPM
    return PEAK_KW * (1.5 * share - 0.5 * share**3)


def shift_rpm(ratio: float) -> float:
    """Engine speed at which P(n) = P(r·n) for that curve: n² = 3·n_peak²·(1 − r)/(1 − r³)."""
    return PEAK_RPM * math.sqrt(3 * (1 - ratio) / (1 - ratio**3))


def sweep_file(level: float, salt: int) -> bytes:
    lines = [HEADER]
    for row in range(801):
        rpm = 3000 + 10 * row
        lines.append(f"{row / 100:.2f},{rpm},{power_kw(rpm) * level:.5f},{rpm / RPM_PER_KMH:.3f},100")
    return ("\n".join(lines) + "\n" * salt).encode()


@pytest.fixture
def job(staff, shop):
    """Three sweeps in gear 3 of gears in the ratio 2.5 : 1.5 : 1.2, with road speed."""
    job = job_with()
    for number, level in enumerate((0.999, 1.0, 1.001)):
        details = {**AIR, "gear": 3, "made_at": minutes(number)}
        attach_sweep(job, staff[Role.TUNER], sweep_file(level, number), name=f"{number}.csv", **details)
    return job


def page(client, job, **asked: str):
    return client.get(reverse("drive-force", args=[job]), asked)


def test_shift_points_are_those_of_the_closed_form(login, job) -> None:
    answer = page(login(Role.TUNER), job)
    first, second = answer.context["drive"].shifts
    assert second.point.from_rpm == pytest.approx(shift_rpm(0.8), abs=5)
    assert second.point.to_rpm == pytest.approx(0.8 * shift_rpm(0.8), abs=4)
    assert second.point.speed_kmh == pytest.approx(shift_rpm(0.8) / (RPM_PER_KMH * 1.5 / 1.2), rel=1e-3)
    assert second.half_width_rpm < 5  # three runs of one shape
    # 1.5/2.5 = 0.6: the point lies at 11,135 1/min, above the 11,000 that were measured.
    assert shift_rpm(0.6) > 11_000
    text = read_text(answer)
    assert "1 to 2 the lower gear still pulls harder at the highest engine speed measured" in text
    assert first.half_width_rpm is None
    assert "measured on 3 runs in gear 3, the other gears by their ratios" in text
    assert "Mean power of 3 full-throttle runs" in text


def test_no_shift_point_lies_above_the_rev_limit(login, job) -> None:
    """The closed form gives 11,135 and 9,981 1/min; the runs overshoot a limit of 9,500 to 11,000 1/min."""
    engine = job.bike.engine_spec
    engine.rev_limit_rpm = 9_500
    engine.save()
    answer = page(login(Role.TUNER), job)
    assert [shift.point.from_rpm for shift in answer.context["drive"].shifts] == [9_500, 9_500]
    text = read_text(answer)
    assert "Hold gears 1 and 2 to the rev limit, 9500 rpm" in text
    assert "1 to 2 the lower gear still pulls harder at the rev limit" in text
    assert "No shift point above the rev limit: 9500 rpm (engine spec)." in text


def test_force_is_power_over_speed_in_each_gear(login, job) -> None:
    drive = page(login(Role.MECHANIC), job).context["drive"]
    factor = drive.runs[0].factor
    at = list(drive.speed_kmh).index(100.0)
    # In gear 3 100 km/h are 6,000 1/min, in gear 2 7,500, in gear 1 12,500: not measured.
    expected = [power_kw(rpm) * factor * 1000 / (100 / 3.6) for rpm in (7_500, 6_000)]
    assert drive.forces_n[1:, at] == pytest.approx(expected, rel=2e-3)
    assert math.isnan(drive.forces_n[0, at])
    # ρ/2·CdA·v² + Crr·m·g = 0.6·0.45·27.78² + 0.02·275·9.80665
    assert drive.road_load_n[at] == pytest.approx(208.3 + 53.9, abs=0.2)


def test_csv_has_the_figures_of_the_page(login, job) -> None:
    answer = login(Role.DESK).get(reverse("drive-force-csv", args=[job]))
    rows = list(csv.reader(io.StringIO(answer.text.lstrip("\ufeff"))))
    assert rows[0][:3] == ["road speed (km/h)", "force in gear 1 (N)", "force in gear 2 (N)"]
    hundred = next(row for row in rows if row and row[0] == "100.0")
    assert (hundred[1], float(hundred[-1])) == ("", pytest.approx(262.2, abs=0.2))
    last = rows[-1]
    assert (last[0], float(last[1])) == ("2 to 3", pytest.approx(shift_rpm(0.8), abs=5))


def test_mph_shop_sees_no_km_per_hour(login, job, shop) -> None:
    shop.distance_unit = "mi"
    shop.save()
    answer = page(login(Role.TUNER), job)
    assert answer.context["chart"]["x_unit"] == "mph"
    assert "km/h" not in read_text(answer)


def test_missing_mass_leaves_out_the_road_load_and_says_so(login, job) -> None:
    job.customer.riding_mass_kg = None
    job.customer.save()
    answer = page(login(Role.TUNER), job)
    assert answer.context["drive"].road_load_n is None
    assert "No road load, because the mass of bike and rider is not recorded." in read_text(answer)
    typed = page(login(Role.TUNER), job, mass_kg="300")
    assert typed.context["drive"].road_load_n is not None


def test_gears_without_road_speed_in_the_files_are_computed(login, job, staff) -> None:
    Run.objects.all().update(gear=None)
    answer = page(login(Role.TUNER), job)
    assert "computed from primary 2" in read_text(answer)


def test_missing_ratios_are_named(login, job) -> None:
    job.bike.engine_spec.gear_ratios = []
    job.bike.engine_spec.save()
    assert "Missing: gear ratios in the engine spec." in read_text(page(login(Role.TUNER), job))


def test_job_without_runs_says_what_is_needed(login) -> None:
    assert "No full-throttle run with power yet." in read_text(page(login(Role.TUNER), make_job()))


def test_invalid_mass_is_refused_and_kept(login, job) -> None:
    answer = page(login(Role.TUNER), job, mass_kg="heavy")
    assert answer.status_code == 422
    assert 'value="heavy"' in answer.text


def test_page_needs_few_queries(login, job, django_assert_num_queries) -> None:
    client = login(Role.TUNER)
    page(client, job)
    with django_assert_num_queries(7):
        page(client, job)
