"""The uncertainty of a single run's peak power on a page of its own."""

import math

import pytest
from django.urls import reverse

from tests.factories import make_channel_run, make_job
from tests.html import read_text
from tests.jobs.run_files import attach_sweep
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(staff, shop):
    shop.inertia_error_pct = shop.slip_error_pct = 1.0
    shop.repeatability_pct = 0.8
    shop.save()
    return attach_sweep(make_job(), staff[Role.TUNER]).run


def page(client, run):
    return client.get(reverse("run-uncertainty", args=[run.pk]))


def test_uncertainty_is_the_root_of_the_sum_of_squares(login, run) -> None:
    """JCGM 100: limits of 1 % give 1/√3 each, one run 0.8 %, one session 0.5 % assumed; the factor 1.96."""
    absolute = page(login(Role.TUNER), run).context["absolute"]
    combined = math.sqrt(2 / 3 + 0.8**2 + 0.5**2)
    assert [row.standard_pct for row in absolute.rows] == ["0.58 %", "0.58 %", "0.80 %", "0.50 %"]
    peak, half = (float(part.split()[0]) for part in absolute.sentence.split(": ")[1].split("kW ± "))
    assert half == pytest.approx(1.96 * combined / 100 * peak, abs=0.01)


def test_what_nobody_stated_is_named(login, run) -> None:
    text = read_text(page(login(Role.MECHANIC), run))
    assert "Peak power of this run: " in text
    assert "Not in it, because nobody stated how large they may be: " in text
    assert "losses" in text


def test_run_page_leads_to_it(login, run) -> None:
    answer = login(Role.DESK).get(reverse("run", args=[run.pk]))
    assert f'href="{reverse("run-uncertainty", args=[run.pk])}"' in answer.text


def test_run_without_a_curve_says_why(login, staff) -> None:
    idle = make_channel_run(make_job(), staff[Role.TUNER], "idle.csv", {"engine_speed_rpm": [1200.0, 1210.0]})
    assert "This run has no power curve." in read_text(page(login(Role.TUNER), idle))
