"""Repeatability of the shop: measured from its repeats, shown, and used for single runs."""

import numpy as np
import pytest
from django.urls import reverse

from jobs.comparisons.compare import comparison_results
from jobs.comparisons.repeatability import measured_repeatability
from jobs.models import Comparison, ComparisonRun, Part
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
    """Variances (0.1², 0.1² with 2 degrees of freedom each, 0.707² with 1): √((0.04 + 0.5)/5) = 0.339 %."""
    measured = measured_repeatability(shop)
    assert [len(group.peaks_kw) for group in measured.groups] == [2, 3, 3]
    assert measured.found.sd_pct == pytest.approx(np.sqrt((2 * 0.01 + 2 * 0.01 + 0.5) / 5), rel=0.01)
    assert measured.found.df == 5


def test_excluded_runs_and_other_gears_are_no_repeats(repeats, shop) -> None:
    first, second = repeats
    run = second.runs.first()
    run.set_aside, run.set_aside_reason = True, "slipped"
    run.save()
    runs = list(first.runs.all())
    runs[0].gear = 5
    runs[0].save()
    assert [len(group.peaks_kw) for group in measured_repeatability(shop).groups] == [2, 3]


def test_repeatability_used_by_the_owner_applies_to_single_runs(repeats, login) -> None:
    owner = login(Role.OWNER)
    page = owner.get(reverse("repeatability"))
    assert "0.33 %" in page.content.decode()
    owner.post(reverse("repeatability-use"))
    shop = ShopProfile.current()
    assert shop.repeatability_pct == 0.33
    first = repeats[0]
    runs = list(first.runs.all())
    comparison = Comparison.objects.create(job=first, title="single")
    for run, group in ((runs[0], "before"), (runs[3], "after")):
        ComparisonRun.objects.create(comparison=comparison, run=run, group=group)
    found = load_results(first).get(comparison_results)[comparison]
    assert found.result.assumed_pct == 0.33


def test_only_the_owner_may_use_the_repeatability(repeats, login) -> None:
    assert login(Role.TUNER).post(reverse("repeatability-use")).status_code == 403
    page = login(Role.TUNER).get(reverse("repeatability")).content.decode()
    assert "for single runs</button>" not in page


def test_page_without_repeats_gives_the_reason_and_changes_nothing(shop, login) -> None:
    owner = login(Role.OWNER)
    assert "No job has two sweeps" in owner.get(reverse("repeatability")).content.decode()
    owner.post(reverse("repeatability-use"))
    assert ShopProfile.current().repeatability_pct == 1.0
