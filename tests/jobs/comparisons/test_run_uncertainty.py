"""The uncertainty of a single run's peak power on a page of its own."""

import math

import pytest
from django.urls import reverse

from jobs.models import DynoCheck
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
    assert "Not included, because their limits are not entered: " in text
    assert "losses" in text


def test_run_page_leads_to_it(login, run) -> None:
    answer = login(Role.DESK).get(reverse("run", args=[run.pk]))
    assert f'href="{reverse("run-uncertainty", args=[run.pk])}"' in answer.text


def test_run_without_a_curve_says_why(login, staff) -> None:
    idle = make_channel_run(make_job(), staff[Role.TUNER], "idle.csv", {"engine_speed_rpm": [1200.0, 1210.0]})
    assert "This run has no power curve." in read_text(page(login(Role.TUNER), idle))


def test_dyno_without_verification_is_said_to_have_none(login, run) -> None:
    """A reading whose true value nobody knows within limits verifies nothing."""
    DynoCheck.objects.create(subject="20 kg", unit="nm", reading=98.1, true_value=98.0, by=run.made_by)
    assert "The dyno is not verified" in read_text(page(login(Role.TUNER), run))


def test_verification_is_one_row_of_the_budget(login, run) -> None:
    """99.0 and 98.6 N·m for 98.0 ± 0.49: +0.816 % and 0.5 % are (0.816 + 0.5)/√3 = 0.76 %."""
    for reading in (99.0, 98.6):
        DynoCheck.objects.create(
            method="weight", subject="Zyanya's plates", unit="nm", reading=reading, by=run.made_by,
            true_value=98.0, true_value_error=0.49,
        )  # fmt: skip
    answer = page(login(Role.TUNER), run)
    text = read_text(answer)
    assert [row.standard_pct for row in answer.context["absolute"].rows] == [
        "0.76 %", "0.58 %", "0.80 %", "0.50 %",
    ]  # fmt: skip
    assert "dead weight, 2 readings, last on" in text
    assert "mean error +0.82 %, true value known within ±0.50 %" in text
    assert "not verified" not in text
    assert "Zyanya" not in text  # the words of the log are the shop's own, and the sheet prints the budget
