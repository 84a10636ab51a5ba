"""Repeatability of the shop: measured from its repeats, shown, and used for single runs."""

import numpy as np
import pytest
from django.urls import reverse

from jobs.checklists.sessions import start_session
from jobs.comparisons.compare import comparison_results
from jobs.comparisons.repeatability import measured_repeatability
from jobs.comparisons.sessions import number_sessions
from jobs.models import Comparison, ComparisonRun, Part, Run
from tests.factories import load_results, make_bike, make_job
from tests.jobs.comparisons.test_comparisons import AIR, minutes, sweeps
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role, ShopProfile

pytestmark = pytest.mark.django_db


@pytest.fixture
def repeats(shop, staff):
    """Two jobs: three sweeps and three more after a part, 0.1 % apart; two sweeps 1 % apart."""
    by = staff[Role.TUNER]
    first = make_job()
    sweeps(first, by, 1.0, 0, gear=4)
    Part.objects.create(job=first, name="Silencer", fitted_at=minutes(20))
    sweeps(first, by, 1.5, 40, gear=4)
    second = make_job(bike=make_bike(plate="DEMO 7", model="Auk"))
    for number, level in enumerate((0.995, 1.005)):
        data = sweep_csv(lambda speed, level=level: level * speed / 200)
        attach_sweep(second, by, data, name=f"{number}.csv", made_at=minutes(number), **AIR)
    return first, second


def test_spread_is_pooled_within_states_only(repeats, shop) -> None:
    """Steps of 0.1 % are a drift, no scatter: 1 degree of freedom each; the pair has 0.707²: √(0.5/3)."""
    measured = measured_repeatability(shop)
    assert [group.runs for group in measured.groups] == [2, 3, 3]
    assert measured.found.sd_pct == pytest.approx(np.sqrt(0.5 / 3), rel=0.01)
    assert measured.found.df == 3


def test_excluded_runs_and_other_gears_are_no_repeats(repeats, shop) -> None:
    first, second = repeats
    run = second.runs.first()
    run.set_aside, run.set_aside_reason = True, "slipped"
    run.save()
    runs = list(first.runs.all())
    runs[0].gear = 5
    runs[0].save()
    assert [group.runs for group in measured_repeatability(shop).groups] == [2, 3]


def test_spread_used_by_the_owner_is_behind_every_comparison(repeats, login) -> None:
    owner = login(Role.OWNER)
    page = owner.get(reverse("repeatability"))
    assert "0.41 %" in page.content.decode()
    owner.post(reverse("repeatability-use"))
    shop = ShopProfile.current()
    assert shop.measured_spread["mean"] == [pytest.approx(np.sqrt(0.5 / 3), rel=0.01), 3]
    first = repeats[0]
    runs = list(first.runs.all())
    comparison = Comparison.objects.create(job=first, title="single")
    for run, group in ((runs[0], "before"), (runs[3], "after")):
        ComparisonRun.objects.create(comparison=comparison, run=run, group=group)
    found = load_results(first).get(comparison_results)[comparison].result.bands[0].mean_power
    assert found.assumed_pct is None
    assert found.df == pytest.approx(3)
    # Single runs: 3.182446·0.408 %·√2 of about 30 kW
    assert found.ci_high - found.difference == pytest.approx(
        3.182446 * 0.00408 * np.hypot(found.before, found.after), rel=0.01
    )


def test_runs_after_strapping_down_again_measure_the_sessions(shop, staff) -> None:
    """Four baselines run again, 1 % apart and two runs each: s_s² = (MS - s_r²)/2 of their levels."""
    by, levels = staff[Role.TUNER], (1.0, 1.01)
    for number in range(4):
        job = make_job(bike=make_bike(plate=f"DEMO {20 + number}", model="Auk"))
        for place, level in enumerate(np.repeat(levels, 2)):
            if place == 2:
                start_session(job=job, by=by, started_at=minutes(15))
            gain = level * (1.001 if place % 2 else 0.999)
            data = sweep_csv(lambda speed, gain=gain: gain * speed / 200)
            attach_sweep(job, by, data, name=f"{place}.csv", made_at=minutes(10 * place), **AIR)
    session = measured_repeatability(shop).spread.session
    # Levels ±0.5 % of 1.005 in pairs: MS = 2·2·0.4975² = 0.990 %², s_r² = 2·0.0995²= 0.0198 %²
    assert session.df == 4
    assert session.sd_pct == pytest.approx(np.sqrt((0.990 - 0.0198) / 2), rel=0.01)


def test_runs_on_another_day_are_another_session() -> None:
    """Straps and tyre are others overnight, even if nobody said that the bike was strapped down again."""
    runs = [Run(made_at=minutes(at)) for at in (0, 10, 60, 60 + 24 * 60, 70 + 24 * 60)]
    assert number_sessions(runs) == [0, 0, 0, 1, 1]


def test_page_says_how_many_runs_are_needed(shop, login) -> None:
    """1 % from run to run, assumed: own spread, so n = 6 see 1.80 sd and 5 see 2.02 (noncentral t)."""
    page = login(Role.TUNER).get(reverse("repeatability"))
    by_runs = {row.runs: row.smallest_pct[0] for row in page.context["by_runs"]}
    assert (by_runs[5], by_runs[6]) == (pytest.approx(2.02, abs=0.01), pytest.approx(1.80, abs=0.01))
    needed = {row.difference_pct: row.runs[0] for row in page.context["plans"]}
    assert needed[2.0] == "6"


def test_only_the_owner_may_use_the_repeatability(repeats, login) -> None:
    assert login(Role.TUNER).post(reverse("repeatability-use")).status_code == 403
    page = login(Role.TUNER).get(reverse("repeatability")).content.decode()
    assert "for all comparisons</button>" not in page


def test_page_without_repeats_gives_the_reason_and_changes_nothing(shop, login) -> None:
    owner = login(Role.OWNER)
    assert "No job has two sweeps" in owner.get(reverse("repeatability")).content.decode()
    owner.post(reverse("repeatability-use"))
    assert ShopProfile.current().measured_spread is None
