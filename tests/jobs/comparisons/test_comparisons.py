"""Comparisons: sides by the state of the bike, the difference, and what it may be credited to."""

import csv
import io
import uuid
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.checklists.sessions import start_session
from jobs.comparisons.compare import comparison_results, suggested_groups
from jobs.job import results
from jobs.models import BikeChange, Comparison, ComparisonRun, Part, Run, TuneRevision
from jobs.timeline.bike_states import bike_states
from tests.factories import get_part_kind, load_results, make_job
from tests.html import find, read_json, read_text
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db

START = timezone.now().replace(microsecond=0) - timedelta(days=2)
AIR = {"temperature_c": 20.0, "pressure_kpa": 100.0, "humidity_pct": 50.0}
# Repeats 0.1 % apart, so a gain of 2 % stands far out of their scatter.
SCATTER = (0.999, 1.0, 1.001)


def minutes(count: int) -> Any:
    return START + timedelta(minutes=count)


@pytest.fixture
def tuner(staff):
    return staff[Role.TUNER]


def sweeps(job, by, level: float, at: int, count: int = 3, **details: Any) -> list[Run]:
    """Attach sweeps in one state of the bike, on the straight line at this level."""
    runs = []
    for number in range(count):
        gain = level * SCATTER[number]
        data = sweep_csv(lambda speed, gain=gain: gain * speed / 200)
        given = {**AIR, "made_at": minutes(at + number), **details}
        runs.append(attach_sweep(job, by, data, name=f"{at}-{number}.csv", **given).run)
    return runs


@pytest.fixture
def job(tuner, shop):
    """Three sweeps, then a silencer and a tune, then three sweeps with 2 % more."""
    job = make_job()
    sweeps(job, tuner, 1.0, 0)
    Part.objects.create(
        job=job, name="Slip-on silencer", fitted_at=minutes(20), kind=get_part_kind("exhaust")
    )
    TuneRevision.objects.create(
        job=job, number=1, loaded_by=tuner, loaded_at=minutes(30), title="for the silencer"
    )
    sweeps(job, tuner, 1.02, 40)
    return job


def form_data(client, url: str) -> dict[str, str]:
    form = client.get(url).context["form"]
    sides = {field.html_name: field.value() or "" for _, field in form.rows}
    return {
        "title": form["title"].value() or "",
        "on_sheet": "on",
        "version": str(form["version"].value() or ""),
        **sides,
    }


def post_new(client, job, **changed: str):
    url = reverse("comparison-new", args=[job])
    return client.post(url, {**form_data(client, url), **changed})


def make_comparison(job) -> Comparison:
    comparison = Comparison.objects.create(job=job, title="Silencer and tune")
    for pk, group in suggested_groups(load_results(job).get(bike_states)).items():
        ComparisonRun.objects.create(comparison=comparison, run_id=pk, group=group)
    return comparison


def compare_job(job, shop):
    comparison = make_comparison(job)
    return results.load_job_results(comparison.job, shop).get(comparison_results)[comparison]


def read_heading(page) -> str:
    (heading,) = find(page, "//h1")
    return heading.text_content().replace("\u202f", " ")


# --- groups


def test_sweeps_are_grouped_by_the_state_of_the_bike(job) -> None:
    by_time = list(Run.objects.order_by("made_at"))
    groups = suggested_groups(load_results(job).get(bike_states))
    assert [groups[run.pk] for run in by_time] == ["before"] * 3 + ["after"] * 3


def test_held_and_excluded_runs_are_not_suggested(job, tuner) -> None:
    held = attach_sweep(job, tuner, sweep_csv(salt=9), kind="held", made_at=minutes(50)).run
    aside = Run.objects.order_by("made_at").first()
    aside.set_aside, aside.set_aside_reason = True, "slipped"
    aside.save()
    groups = suggested_groups(load_results(job).get(bike_states))
    assert held.pk not in groups
    assert aside.pk not in groups
    assert len(groups) == 5


def test_only_first_and_last_state_are_suggested(job, tuner) -> None:
    BikeChange.objects.create(
        job=job, kind=get_part_kind("fuel"), description="E10", at=minutes(60), by=tuner
    )
    last = sweeps(job, tuner, 1.03, 70)
    groups = suggested_groups(load_results(job).get(bike_states))
    assert [pk for pk, group in groups.items() if group == "after"] == [run.pk for run in last]
    assert len(groups) == 6


def test_runs_are_grouped_by_their_tune_whatever_their_time(tuner, shop) -> None:
    job = make_job()
    tunes = [
        TuneRevision.objects.create(job=job, number=n, loaded_by=tuner, loaded_at=minutes(n)) for n in (0, 1)
    ]
    sweeps(job, tuner, 1.0, 100, tune_revision=tunes[0])
    sweeps(job, tuner, 1.02, 110, tune_revision=tunes[1])
    assert (
        sorted(suggested_groups(load_results(job).get(bike_states)).values())
        == ["after"] * 3 + ["before"] * 3
    )


def test_baseline_run_again_is_never_paired_with_the_first(job, tuner) -> None:
    """Baseline, silencer, fuel; fuel and silencer undone: the last runs are the baseline again."""
    silencer = Part.objects.get()
    fuel = get_part_kind("fuel")
    given = {"job": job, "kind": fuel, "by": tuner}
    e10 = BikeChange.objects.create(**given, description="E10", at=minutes(60))
    after = sweeps(job, tuner, 1.03, 70)
    BikeChange.objects.create(**given, description="E5 again", at=minutes(80), removes_change=e10)
    BikeChange.objects.create(**given, description="silencer off", at=minutes(81), removes_part=silencer)
    tune = TuneRevision.objects.get()
    received = TuneRevision.objects.create(job=job, number=0, loaded_by=tuner, loaded_at=minutes(-10))
    again = sweeps(job, tuner, 0.999, 90, tune_revision=received)
    groups = suggested_groups(load_results(job).get(bike_states))
    assert tune.number == 1
    assert {pk for pk, group in groups.items() if group == "after"} == {run.pk for run in after}
    first = [run.pk for run in Run.objects.filter(made_at__lt=minutes(20))]
    assert {pk for pk, group in groups.items() if group == "before"} == {*first, *(r.pk for r in again)}


def test_single_state_gives_no_suggestion_and_a_notice(login, tuner, shop) -> None:
    job = make_job()
    sweeps(job, tuner, 1.0, 0)
    assert suggested_groups(load_results(job).get(bike_states)) == {}
    assert "No suggestion. All usable sweeps" in read_text(
        login(Role.TUNER).get(reverse("comparison-new", args=[job]))
    )


# --- figures


def test_comparison_recovers_the_simulated_gain_of_two_percent(job, shop) -> None:
    result = compare_job(job, shop).result
    whole = result.bands[0]
    assert whole.name == "whole range"
    assert whole.mean_power.difference_pct == pytest.approx(2.0, abs=0.01)
    assert whole.mean_power.verdict == "more"
    # the line's mean over 4,000 to 8,000 is its value at 6,000: 30 kW, by ISO 1585 in this air × 0.99195
    drive = result.bands[1]
    assert drive.mean_power.before == pytest.approx(30 * 0.99195, rel=3e-4)
    assert drive.mean_power.after == pytest.approx(30 * 0.99195 * 1.02, rel=3e-4)


def test_all_changes_are_listed_and_credited_together(job, shop) -> None:
    found = compare_job(job, shop)
    assert [event.text for event in found.changes] == [
        "Slip-on silencer fitted (exhaust)",
        "tune 1 loaded: for the silencer",
    ]
    assert found.attribution_sentence == (
        "These changes were tested together, so the difference cannot be credited to any one of them."
    )


def test_baseline_run_again_takes_out_the_drift(shop, tuner, login) -> None:
    """Each run gives 0.3 % less than the one before, the change 2 % more: 1.1 % if the drift stayed in."""
    job = make_job()
    change = {"job": job, "kind": get_part_kind("fuel"), "by": tuner}
    e10 = BikeChange.objects.create(**change, description="E10", at=minutes(15))
    BikeChange.objects.create(**change, description="E5 again", at=minutes(35), removes_change=e10)
    scatter = (0, 0.0004, -0.0002, -0.0003, 0, 0.0002, 0.0001, -0.0003, 0.0001)
    for place in range(9):
        gain = 1 - 0.003 * place + 0.02 * (3 <= place < 6) + scatter[place]
        data = sweep_csv(lambda speed, gain=gain: gain * speed / 200)
        at = minutes(10 * (place // 3) + 10 * (place >= 3) + 10 * (place >= 6) + place % 3)
        attach_sweep(job, tuner, data, name=f"{place}.csv", made_at=at, **AIR)
    found = compare_job(job, shop)
    power = found.result.bands[0].mean_power
    assert power.difference_pct == pytest.approx(2.0, abs=0.06)
    assert power.ci_low < 0.02 * power.before < power.ci_high
    assert [event.text for event in found.changes] == ["fuel: E10"]
    assert [event.text for event in found.undone] == ["fuel: E5 again (removes E10)"]
    assert found.attribution_sentence == "This is the only recorded change between before and after."
    page = read_text(login(Role.DESK).get(reverse("comparison", args=[found.comparison.pk])))
    assert "per run, removed because the baseline was run again" in page
    assert "Changed back before the baseline was run again:" in page
    assert "6 runs before, 3 runs after" in page


def test_runs_of_another_session_widen_the_interval(job, shop) -> None:
    """Another session on a side: ±t·√(s²·2/3 + 2·0.5²) %, at least 1.96·0.707 = 1.386 %."""
    start_session(job=job, by=TuneRevision.objects.get().loaded_by, started_at=minutes(25))
    power = compare_job(job, shop).result.bands[0].mean_power
    assert 100 * (power.ci_high - power.difference) / power.before == pytest.approx(1.40, abs=0.02)
    page = compare_job(job, shop).result.contents
    assert "strapping down again or of another day (0.5 %, assumed)" in page


def test_gain_in_a_part_of_the_range_is_named(tuner, shop, login) -> None:
    """2 % more from 7,000 to 9,000 rpm alone: the heading says so, and the strip under the curves."""
    job = make_job()
    sweeps(job, tuner, 1.0, 0)
    BikeChange.objects.create(
        job=job, kind=get_part_kind("fuel"), description="E10", at=minutes(20), by=tuner
    )
    for place, level in enumerate(SCATTER):
        data = sweep_csv(
            lambda speed, level=level: level * speed / 200 * (1 + 0.02 * ((speed > 7000) & (speed < 9000)))
        )
        attach_sweep(job, tuner, data, name=f"40-{place}.csv", made_at=minutes(40 + place), **AIR)
    answer = login(Role.DESK).get(reverse("comparison", args=[make_comparison(job).pk]))
    heading = "More power from about 7000 to 9000 rpm. No clear difference elsewhere."
    assert read_heading(answer) == heading
    verdicts = read_json(answer, "comparison-chart")["panels"][1]["verdicts"]
    assert [piece["text"] for piece in verdicts] == [
        "no clear difference",
        "more power after",
        "no clear difference",
    ]
    ends = [verdicts[1]["from"], verdicts[1]["to"]]
    assert ends == pytest.approx([7000, 9000], abs=200)
    assert [verdicts[0]["from"], verdicts[2]["to"]] == [3000, 11_000]


def test_own_band_is_compared_on_the_page_and_in_the_csv(login, job) -> None:
    client, comparison = login(Role.DESK), make_comparison(job)
    asked = {"from_rpm": "5000", "to_rpm": "6000"}
    page = client.get(reverse("comparison", args=[comparison.pk]), asked)
    own = page.context["bands"][0]
    # the line's mean over 5,000 to 6,000 is its value at 5,500: 27.5 kW, by ISO 1585 in this air × 0.99195
    assert (own.name, own.from_rpm, own.to_rpm) == ("own band", 5000, 6000)
    assert own.values[0].before == f"{27.5 * 0.99195:.1f}\N{NO-BREAK SPACE}kW"
    text = client.get(reverse("comparison-csv", args=[comparison.pk]), asked).content.decode("utf-8-sig")
    assert next(row["band"] for row in csv.DictReader(io.StringIO(text))) == "own band"


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"from_rpm": "6000", "to_rpm": "5000"}, "The end of the band must be above its start."),
        ({"from_rpm": "6000", "to_rpm": ""}, "Enter both ends of the band."),
    ],
)
def test_impossible_own_band_gives_an_error_at_its_field(login, job, asked, sentence: str) -> None:
    answer = login(Role.DESK).get(reverse("comparison", args=[make_comparison(job).pk]), asked)
    assert answer.status_code == 422
    assert sentence in read_text(answer)


def test_uncertainty_of_the_power_by_itself_is_on_the_page(login, job, shop) -> None:
    """1 % of inertia is 0.577, 1 % from run to run over 3 runs 0.577, 0.5 % of the day: ±1.96·0.957 %."""
    shop.inertia_error_pct = 1.0
    shop.save()
    comparison = make_comparison(job)
    page = login(Role.DESK).get(reverse("comparison", args=[comparison.pk]))
    peak_kw = 55 * 0.99195 * 1.02  # the line at 11,000 1/min, by ISO 1585 in this air
    absolute = page.context["absolute"]
    half_kw = 1.959964 * np.sqrt(1 / 3 + 1 / 3 + 0.25) / 100 * peak_kw
    assert f"{peak_kw:.2f}\N{NO-BREAK SPACE}kW ± {half_kw:.2f}\N{NO-BREAK SPACE}kW" in absolute.sentence
    missing = "air temperature, air pressure, humidity of the air, slip of the tyre, losses."
    assert missing in absolute.missing
    assert "The dyno is not verified" in absolute.missing
    assert absolute.sentence in page.content.decode()


def test_form_says_how_many_runs_are_needed(login, job) -> None:
    page = read_text(login(Role.TUNER).get(reverse("comparison-new", args=[job])))
    assert "To see 2 % in 4 of 5 comparisons, make" in page
    assert "1.00 % from run to run, assumed" in page


def test_corrected_and_observed_runs_are_not_compared(job, shop) -> None:
    run = Run.objects.order_by("made_at").first()
    run.humidity_pct = None
    run.save()
    found = compare_job(job, shop)
    assert found.result is None
    assert "Corrected and uncorrected runs cannot be compared" in found.reason


def test_sweeps_and_held_runs_are_not_compared(job, shop) -> None:
    comparison = make_comparison(job)
    Run.objects.filter(pk=Run.objects.order_by("made_at").first().pk).update(kind="held")
    found = results.load_job_results(comparison.job, shop).get(comparison_results)[comparison]
    assert "different types" in found.reason


def test_excluded_run_is_left_out_and_named(job, shop) -> None:
    comparison = make_comparison(job)
    run = Run.objects.order_by("made_at").first()
    run.set_aside, run.set_aside_reason = True, "wheel slipped"
    run.save()
    found = results.load_job_results(comparison.job, shop).get(comparison_results)[comparison]
    assert len(found.before) == 2
    assert found.left_out == ("0-0.csv: excluded, wheel slipped.",)


def test_different_gears_are_flagged(job, shop) -> None:
    first, second = Run.objects.order_by("made_at")[:2]
    Run.objects.filter(pk=first.pk).update(gear=3)
    Run.objects.filter(pk=second.pk).update(gear=4)
    assert any("gears 3 and 4" in flag.sentence for flag in compare_job(job, shop).flags)


def drive_csv(rpm_per_s: float, rpm_per_kmh: float, salt: int) -> bytes:
    """Make a sweep with road speed at a rate and a ratio."""
    speed = np.arange(3000, 11001, 10.0)
    lines = ["Time (s),Engine speed (rpm),Power (kW),Road speed (km/h)"]
    lines += [
        f"{(n - 3000) / rpm_per_s:.4f},{n:.0f},{n / 200 + salt / 1000:.4f},{n / rpm_per_kmh:.4f}"
        for n in speed
    ]
    return "\n".join(lines).encode()


@pytest.mark.parametrize(
    ("rate", "ratio", "kind", "found"),
    [
        (1_000, 60.0, "fuel", set()),
        (1_150, 60.3, "fuel", set()),  # 15 % quicker, 0.5 % for the tyre's pressure
        (1_300, 60.0, "fuel", {"sweep-rate"}),
        (1_000, 64.0, "fuel", {"ratio-changed"}),  # a sprocket of 15 teeth for one of 16
        (1_000, 60.0, "tyre", {"drive"}),
    ],
)
def test_change_of_the_drive_between_the_sides_is_flagged(tuner, shop, rate, ratio, kind, found) -> None:
    job = make_job()
    sides = ((0, 1_000, 60.0), (40, rate, ratio))
    for at, *sweep in sides:
        for number in range(2):
            data = drive_csv(*sweep, salt=at + number)
            details = {**AIR, "name": f"{at}-{number}.csv", "made_at": minutes(at + number), "gear": 4}
            attach_sweep(job, tuner, data, **details)
    change = {"kind": get_part_kind(kind), "description": "another", "at": minutes(20), "by": tuner}
    BikeChange.objects.create(job=job, **change)
    codes = {flag.code for flag in compare_job(job, shop).flags}
    assert codes & {"sweep-rate", "ratio-changed", "drive"} == found


def test_thin_file_is_compared_at_one_width(tuner, shop) -> None:
    job = make_job()
    sweeps(job, tuner, 1.0, 0)
    change = {"kind": get_part_kind("fuel"), "description": "E10", "at": minutes(20), "by": tuner}
    BikeChange.objects.create(job=job, **change)
    attach_sweep(job, tuner, sweep_csv(rows=81), name="thin.csv", made_at=minutes(40), **AIR)
    found = compare_job(job, shop)
    assert {result.curve.width_rpm for result in found.before} == {300}
    assert (found.result.after.runs, found.reason) == (1, "")
    assert any("smoothed over 600 rpm in this comparison" in flag.sentence for flag in found.flags)


def test_single_run_names_the_assumed_repeatability(tuner, shop, login) -> None:
    job = make_job()
    sweeps(job, tuner, 1.0, 0, count=1)
    BikeChange.objects.create(
        job=job, kind=get_part_kind("fuel"), description="E10", at=minutes(20), by=tuner
    )
    sweeps(job, tuner, 1.02, 40, count=1)
    page = read_text(login(Role.DESK).get(reverse("comparison", args=[make_comparison(job).pk])))
    assert "There are too few repeats, so a repeatability of 1 % is assumed." in page
    assert "This is the only recorded change between before and after." in page


# --- the answer


def compare_levels(tuner, first: float, then: float) -> Comparison:
    """Compare three sweeps before and three after a change of fuel, at these levels."""
    job = make_job()
    sweeps(job, tuner, first, 0)
    change = {"kind": get_part_kind("fuel"), "description": "E10", "at": minutes(20), "by": tuner}
    BikeChange.objects.create(job=job, **change)
    sweeps(job, tuner, then, 40)
    return make_comparison(job)


@pytest.mark.parametrize(
    ("then", "heading"),
    [
        (1.02, "More power over the whole measured range (3000 to 11 000 rpm)."),
        (0.98, "Less power over the whole measured range (3000 to 11 000 rpm)."),
        (1.0002, "No clear difference in power or torque at any engine speed."),
    ],
)
def test_heading_is_the_answer(login, tuner, shop, then: float, heading: str) -> None:
    comparison = compare_levels(tuner, 1.0, then)
    page = login(Role.DESK).get(reverse("comparison", args=[comparison.pk]))
    assert read_heading(page) == heading
    (basis,) = find(page, "//h1/following-sibling::p")
    assert ("This does not prove they are equal." in basis.text_content()) == (then == 1.0002)


def test_figures_and_their_whiskers_have_the_values_of_the_tables(login, tuner, shop) -> None:
    """A straight line has its highest value at the end of the range: that is not called a peak."""
    comparison = compare_levels(tuner, 1.0, 1.02)
    context = login(Role.DESK).get(reverse("comparison", args=[comparison.pk])).context
    power, torque, peak = context["figures"]
    whole = context["bands"][0]
    assert (power.row, torque.row, peak.row) == (whole.values[0], whole.values[3], whole.values[1])
    assert power.title == "Mean power, whole range"
    assert (peak.title, peak.note) == (
        "Highest power, whole range",
        "at an end of this range, so the peak may be outside it",
    )
    assert context["chart"]["panels"][0]["peaks"] == []
    drawn = power.whisker
    share = (drawn.middle - drawn.zero) / (drawn.high - drawn.zero)
    mean = context["compared"].result.bands[0].mean_power
    assert share == pytest.approx(mean.difference / mean.ci_high, abs=0.01)
    assert drawn.zero < drawn.low < drawn.middle < drawn.high


def test_dots_show_the_mean_power_of_each_run(login, tuner, shop) -> None:
    """The line's mean from 3,000 to 11,000 is its value at 7,000: 35 kW, by ISO 1585 here × 0.99195."""
    comparison = compare_levels(tuner, 1.0, 1.02)
    before, after = login(Role.DESK).get(reverse("comparison", args=[comparison.pk])).context["dots"].rows
    expected = [f"{35 * 0.99195 * level:.2f}\N{NO-BREAK SPACE}kW" for level in SCATTER]
    assert [dot.value for dot in before.dots] == expected
    assert max(dot.place for dot in before.dots) < min(dot.place for dot in after.dots)


# --- pages


def test_suggested_comparison_is_saved_and_shown(login, job) -> None:
    client = login(Role.TUNER)
    answer = post_new(client, job, title="Silencer and tune")
    assert answer.status_code == 302
    page = client.get(answer.url)
    text = read_text(page)
    for part in (
        "Silencer and tune",
        "Whole range",
        "Mean power",
        "3 runs before, 3 runs after",
        "more",
        "Slip-on silencer fitted",
        "tune 1 loaded: for the silencer",
        "cannot be credited to any one of them",
        "EU 134/2014, 0.9919",
    ):
        assert part in text
    html = page.content.decode()
    assert 'class="compared compared-more"' in html
    data = read_json(page, "comparison-chart")
    assert [s["state"] for s in data["panels"][0]["series"]] == ["before", "after"]
    difference = data["panels"][1]
    assert (difference["kind"], difference["of"]) == ("difference", 0)
    line = difference["series"][0]
    at_6000 = line["x"].index(6000)
    assert line["y"][at_6000] == pytest.approx(0.02 * 30 * 0.99195, abs=0.01)
    assert line["low"][at_6000] < line["y"][at_6000] < line["high"][at_6000]


def test_comparison_is_shown_in_the_shops_units(login, job, shop) -> None:
    shop.power_unit, shop.torque_unit = "hp", "lbf_ft"
    shop.save()
    page = read_text(login(Role.DESK).get(reverse("comparison", args=[make_comparison(job).pk])))
    # 30 kW × 0.99195 over the drive band, in hp of 0.745699872 kW
    assert f"{30 * 0.99195 / 0.745699872:.1f} hp" in page
    assert "lbf·ft" in page
    assert "kW" not in page


def test_csv_has_the_values_of_the_page(login, job) -> None:
    client, comparison = login(Role.DESK), make_comparison(job)
    text = client.get(reverse("comparison-csv", args=[comparison.pk])).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    page = read_text(client.get(reverse("comparison", args=[comparison.pk])))
    assert len(rows) == 8
    for row in rows:
        interval = f"{float(row['95 % from']):.2f} {row['unit']} to {float(row['95 % to']):.2f} {row['unit']}"
        assert interval in page
        assert row["verdict"] == "more"


def test_edit_changes_title_and_sides(login, job) -> None:
    client = login(Role.TUNER)
    post_new(client, job, title="x")
    comparison = Comparison.objects.get()
    url = reverse("comparison-edit", args=[comparison.pk])
    runs = list(Run.objects.order_by("made_at"))
    data = form_data(client, url)
    data |= {"title": "two against three", f"run-{runs[0].pk}": ""}
    assert client.post(url, data).status_code == 302
    assert comparison.members.filter(group="before").count() == 2
    assert comparison.members.filter(group="after").count() == 3
    assert Comparison.objects.get().title == "two against three"


@pytest.mark.parametrize("title", ["", "x" * 200])
def test_invalid_title_gives_an_error_and_keeps_the_chosen_sides(login, job, title) -> None:
    answer = post_new(login(Role.TUNER), job, title=title)
    assert answer.status_code == 422
    form = answer.context["form"]
    assert form.errors["title"]
    assert [field.value() for _, field in form.rows] == ["before"] * 3 + ["after"] * 3


def test_side_without_a_run_is_refused(login, job) -> None:
    none = {f"run-{run.pk}": "" for run in Run.objects.order_by("made_at")[:3]}
    answer = post_new(login(Role.TUNER), job, title="x", **none)
    assert answer.status_code == 422
    assert "Choose at least one run for “before”." in read_text(answer)


def test_double_submission_creates_one_comparison(login, job) -> None:
    client, key = login(Role.TUNER), str(uuid.uuid4())
    for _ in range(2):
        assert post_new(client, job, title="x", form_key=key).status_code == 302
    assert Comparison.objects.count() == 1


def test_edit_conflict_names_the_other_user(login, job) -> None:
    client, owner = login(Role.TUNER), login(Role.OWNER)
    post_new(client, job, title="x")
    url = reverse("comparison-edit", args=[Comparison.objects.get().pk])
    mine, theirs = ({**form_data(client, url), "title": title} for title in ("mine", "theirs"))
    owner.post(url, theirs)
    answer = client.post(url, mine)
    assert answer.status_code == 422
    assert "Ola Owner" in read_text(answer)
    assert 'value="mine"' in answer.content.decode()


def test_comparison_without_runs_has_a_page_with_the_reason(login, job) -> None:
    comparison = Comparison.objects.create(job=job, title="empty")
    page = login(Role.DESK).get(reverse("comparison", args=[comparison.pk]))
    assert page.status_code == 200
    assert "needs at least one run with a curve before and one after" in read_text(page)
    assert login(Role.DESK).get(reverse("comparison-csv", args=[comparison.pk])).status_code == 200


def test_removing_a_comparison_keeps_its_runs(login, job) -> None:
    comparison = make_comparison(job)
    assert login(Role.TUNER).post(reverse("comparison-remove", args=[comparison.pk])).status_code == 302
    assert not Comparison.objects.exists()
    assert Run.objects.count() == 6


def test_comparison_page_takes_twelve_queries(login, job, django_assert_num_queries) -> None:
    client, comparison = login(Role.DESK), make_comparison(job)
    # session, person, shop, comparison with its job; what there is of each kind; the kinds that the job has
    with django_assert_num_queries(12):  # one of them for the verification of the dyno
        client.get(reverse("comparison", args=[comparison.pk]))


def test_job_page_lists_comparison_and_warns_about_an_empty_side(login, job) -> None:
    make_comparison(job)
    client = login(Role.DESK)
    page = read_text(client.get(reverse("job", args=[job]), {"open": "all"}))
    assert "Silencer and tune 3 runs before, 3 after" in page
    Run.objects.filter(made_at__lt=minutes(20)).update(set_aside=True, set_aside_reason="x")
    assert "“Silencer and tune” has no run left on one side" in read_text(
        client.get(reverse("job", args=[job]), {"open": "all"})
    )


def test_comparison_pages_check_roles_and_methods(client, login, job) -> None:
    comparison = make_comparison(job)
    edit, remove = (reverse(f"comparison-{name}", args=[comparison.pk]) for name in ("edit", "remove"))
    assert client.get(edit).status_code == 302
    assert login(Role.DESK).get(edit).status_code == 403
    assert login(Role.DESK).get(reverse("comparison", args=[comparison.pk])).status_code == 200
    assert login(Role.TUNER).get(remove).status_code == 405
    assert login(Role.TUNER).get(reverse("comparison", args=[999])).status_code == 404
    assert login(Role.TUNER).get(reverse("comparison-new", args=["2026-999"])).status_code == 404
