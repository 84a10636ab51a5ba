"""Speed by gear, what other sprockets do to it, and the tyre's speed symbol against the roller."""

import math
import re
from datetime import UTC, datetime

import pytest
from django.urls import reverse

from jobs.models import SuspensionSetting, TuneChange, TuneChangeKind
from jobs.suspension.gearing import check_tyre_speed, gear_speeds
from jobs.suspension.road_use import setting_causes
from jobs.tunes.set_speeds import SetSpeed, rev_limit_in_bike
from reports.handover.sheet import prepare
from reports.handover.snapshot import make_snapshot
from tests import factories
from tests.factories import make_bike, make_engine, make_job, make_revision
from tests.html import read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db

# 180/55 ZR17: diameter 17 × 25.4 + 2 × 180 × 0.55 = 629.8 mm, rolling circumference 3.05 × 629.8 = 1920.9 mm
CIRCUMFERENCE_M = 3.05 * 0.6298
BUILT = SetSpeed(12_000, "engine spec")


def bike_with(tyre: str = "180/55 ZR17 (73W)", top_speed_kmh: int | None = None, **engine):
    spec = {"primary_ratio": 1.9, "gear_ratios": [2.6, 1.2], "rev_limit_rpm": 12_000, "front_sprocket": 16,
            "rear_sprocket": 43, **engine}  # fmt: skip
    return make_bike(engine_spec=make_engine(**spec), rear_tyre=tyre, top_speed_kmh=top_speed_kmh)


def speed_kmh(gear: float, front: int, rear: int) -> float:
    """12,000 turns a minute of the crank, by hand."""
    wheel_per_s = 12_000 / 60 / (1.9 * gear * rear / front)
    return wheel_per_s * CIRCUMFERENCE_M * 3.6


def test_speed_in_each_gear_at_the_rev_limit() -> None:
    speeds = gear_speeds(bike_with(), [], BUILT)
    assert [gear.number for gear in speeds.gears] == [1, 2]
    for gear, ratio in zip(speeds.gears, (2.6, 1.2), strict=True):
        assert math.isclose(gear.speeds_kmh[0], speed_kmh(ratio, 16, 43), rel_tol=1e-9)


def test_changed_sprockets_add_speeds_and_their_effect() -> None:
    job = make_job(bike=bike_with())
    read = [
        SuspensionSetting(job=job, when=when, front_sprocket=front, rear_sprocket=43)
        for when, front in (("as_found", 16), ("as_left", 15))
    ]
    speeds = gear_speeds(job.bike, read, BUILT)
    assert speeds.sprockets == [(16, 43), (15, 43)]
    assert math.isclose(speeds.change_pct, 100 * (15 / 16 - 1), rel_tol=1e-9)
    assert math.isclose(speeds.gears[1].speeds_kmh[1], speed_kmh(1.2, 15, 43), rel_tol=1e-9)


def test_page_and_sheet_show_changed_sprockets_and_speeds(login, staff) -> None:
    job, mechanic = make_job(bike=bike_with()), staff[Role.MECHANIC]
    for when, front in (("as_found", 16), ("as_left", 14)):
        SuspensionSetting.objects.create(
            job=job, by=mechanic, when=when, front_sprocket=front, rear_sprocket=43
        )
    at = datetime(2026, 3, 14, tzinfo=UTC)
    sheet = prepare(
        make_snapshot(factories.load_results(job), issue_number=1, issued_by=mechanic, at=at)
    ).html
    fastest = [f"{speed_kmh(1.2, front, 43):.1f}" for front in (16, 14)]
    for shown in (login(Role.MECHANIC).get(reverse("job", args=[job]), {"open": "all"}).text, sheet):
        text = read_text(shown)
        assert "Speed by gear at 12 000 rpm: −12.5 % from first to last" in text
        assert f"2 {fastest[0]} km/h {fastest[1]} km/h" in text  # 14 for 16 teeth: 12.5 % slower


@pytest.mark.parametrize("lacks", [{"primary_ratio": None}, {"gear_ratios": []}])
def test_gear_speeds_are_omitted_if_the_engine_spec_is_incomplete(lacks) -> None:
    assert gear_speeds(bike_with(**lacks), [], BUILT) is None


def test_gear_speeds_are_omitted_without_a_rev_limit() -> None:
    assert gear_speeds(bike_with(), [], None) is None


# Speed symbols as UN R75 gives them: H 210 km/h, W 270 km/h. In second gear the bike reaches
# 200 / (1.9 × 1.2 × 43 / 16) × 1.9209 × 3.6 = 225.7 km/h.
def test_checklist_warns_of_slow_tyre_with_its_speed_limit(login) -> None:
    job = make_job(bike=bike_with(tyre="180/55-17 73H"))
    verdict = check_tyre_speed(job.bike, [], BUILT)
    assert (verdict.symbol, verdict.allowed_kmh, verdict.holds) == ("H", 210, False)
    assert math.isclose(verdict.top_kmh, 225.7, abs_tol=0.1)
    assert math.isclose(verdict.stay_below_rpm, 12_000 * 210 / 225.7, rel_tol=1e-3)
    page = login(Role.TUNER).get(reverse("checks", args=[job])).text
    assert "Too fast for the rear tyre." in page


def test_checklist_confirms_a_fast_enough_tyre(login) -> None:
    job = make_job(bike=bike_with())
    assert check_tyre_speed(job.bike, [], BUILT).holds is True
    page = login(Role.TUNER).get(reverse("checks", args=[job])).text
    assert "Rear tyre, speed symbol W: rated for 270" in page
    assert "Too fast" not in page


def change_limit(job, by, to: str, unit: str = "1/min", from_value: str = "12000") -> None:
    tune = make_revision(job, by, number=1 + job.tune_revisions.count())
    kind = TuneChangeKind.objects.get(sets=TuneChangeKind.Sets.REV_LIMIT)
    TuneChange.objects.create(
        revision=tune, kind=kind, from_value=from_value, to_value=to, unit=unit, reason="more gear"
    )


def test_tyre_is_checked_against_the_limiter_as_changed(login, staff) -> None:
    """W holds to 270 km/h: 225.7 km/h at 12,000 1/min is within it, 282 km/h at 15,000 is not."""
    job = make_job(bike=bike_with(top_speed_kmh=None))
    change_limit(job, staff[Role.TUNER], "15 000")
    page = login(Role.TUNER).get(reverse("checks", args=[job])).text
    assert "Too fast for the rear tyre." in page
    assert "at the rev limit of 15 000 rpm (tune 1) in gear 2" in " ".join(page.split())
    limit = rev_limit_in_bike(factories.load_results(job))
    assert math.isclose(check_tyre_speed(job.bike, [], limit).top_kmh, 225.7 * 15 / 12, abs_tol=0.1)
    # and put back by the next tune
    change_limit(job, staff[Role.TUNER], "12000", from_value="15 000")
    assert "Too fast" not in login(Role.TUNER).get(reverse("checks", args=[job])).text


def test_limiter_raised_in_an_earlier_job_counts_for_the_road(staff) -> None:
    bike = bike_with(top_speed_kmh=226)
    change_limit(make_job(bike=bike), staff[Role.TUNER], "15000")
    (cause,) = [c for c in setting_causes(factories.load_results(make_job(bike=bike))) if "tyre" in c.subject]
    assert "rev limit of 15\u202f000 rpm by tune 1" in cause.effect


@pytest.mark.parametrize(("to", "unit"), [("+500", "1/min"), ("higher", "1/min"), ("15000", "Hz")])
def test_limit_that_is_no_engine_speed_leaves_that_of_the_engine_spec(staff, to, unit) -> None:
    job = make_job(bike=bike_with())
    change_limit(job, staff[Role.TUNER], to, unit)
    assert rev_limit_in_bike(factories.load_results(job)).rpm == 12_000


def test_checklist_asks_to_check_a_tyre_without_speed_symbol(login) -> None:
    job = make_job(bike=bike_with(tyre="180/55-17"))
    assert (
        "The rear tyre's speed rating is not recorded."
        in login(Role.MECHANIC).get(reverse("checks", args=[job])).text
    )


def test_section_shows_gear_speeds_with_the_settings(login, staff) -> None:
    job = make_job(bike=bike_with())
    for when, front in (("as_found", 16), ("as_left", 15)):
        SuspensionSetting.objects.create(
            job=job, when=when, front_sprocket=front, rear_sprocket=43, by=staff[Role.TUNER]
        )
    page = login(Role.MECHANIC).get(reverse("job", args=[job]), {"open": "all"}).text
    # 15 / 16 - 1 = -6.25 %
    assert re.search(r"Speed by gear at 12\s000 rpm: −6\.[23] % from first to last", page)
    assert "15 / 43 teeth" in page


@pytest.mark.parametrize("teeth", ["0", "4400"])
def test_implausible_sprocket_teeth_are_rejected_in_every_form(login, teeth: str) -> None:
    bike = bike_with()
    job, owner = make_job(bike=bike), login(Role.OWNER)
    for url in (
        reverse("suspension-new", args=[job, "as_found"]),
        reverse("bike-edit", args=[bike.pk]),
        reverse("engine-edit", args=[bike.engine_spec_id]),
    ):
        answer = owner.post(url, {"rear_sprocket": teeth})
        assert answer.status_code == 422
        assert "than or equal to" in answer.context["form"].errors["rear_sprocket"][0]
        assert f'value="{teeth}"' in answer.text
