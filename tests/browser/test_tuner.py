"""The tuner: run files, overlaid curves, tunes, throttle tables and comparisons."""

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Job, Run, TuneRevision
from tests import factories
from tests.browser.steps import assert_accessible, assert_fits, follow, get_region, get_row, get_textbox
from tests.jobs.run_files import DEMO, attach_demo, demo_runs
from workshop.models import Role

LogIn = Callable[[Role], Page]


@pytest.fixture
def job(people: dict[Role, Any]) -> Job:
    """Create a job on the dyno with its as-received tune and tune 1."""
    job = factories.make_job(received_at=timezone.now() - timedelta(days=3), stage="roller")
    first = TuneRevision.objects.create(job=job, number=0, loaded_by=people[Role.DESK])
    TuneRevision.objects.filter(pk=first.pk).update(loaded_at=timezone.now() - timedelta(days=3))
    TuneRevision.objects.create(
        job=job,
        number=1,
        title="fuller middle",
        made_from=first,
        loaded_by=people[Role.TUNER],
        loaded_at=timezone.now() - timedelta(days=1),
    )
    return job


def sweeps(when: str) -> list[Path]:
    return [DEMO / f"tern_{when}_sweep_{number}.csv" for number in (1, 2, 3)]


def open_job(page: Page, job: Job) -> None:
    """Open the page of a job with all its sections."""
    follow(page.get_by_role("link", name="Jobs", exact=True))
    follow(page.get_by_role("link", name=job.number, exact=True))
    page.goto(f"{page.url.split('?')[0]}?open=all")


def fill_air(page: Page, temperature_c: str, pressure_kpa: str, humidity_pct: str) -> None:
    page.get_by_label("Air temperature (°C)").fill(temperature_c)
    page.get_by_label("Barometer, absolute (kPa)").fill(pressure_kpa)
    page.get_by_label("Relative humidity (%)").fill(humidity_pct)


def upload(page: Page, files: list[Path]) -> None:
    page.get_by_label("Run files").set_input_files(files)
    page.get_by_role("button", name="Upload", exact=True).click()


def read_chart_data(page: Page, name: str) -> dict[str, Any]:
    """Return the data of a chart."""
    return json.loads(page.locator(f"script#{name}").text_content() or "")


def test_columns_are_named_once_and_curves_overlaid(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.TUNER)
    open_job(page, job)
    follow(page.get_by_role("link", name="Upload runs"))
    page.get_by_label("Gear").fill("4")
    page.get_by_label("Tune").select_option("as received")
    fill_air(page, "17,0", "101.2", "55")
    upload(page, sweeps("before")[:1])
    follow(
        get_region(page, "Not imported yet").get_by_role("link", name="tern_before_sweep_1.csv", exact=True)
    )

    # The page shows the file's first lines, a preview, and every column to name.
    expect(page.get_by_role("region", name="First lines of the file")).to_contain_text("Kurbeldrehzahl")
    columns = demo_runs("tern")[0]["columns"]
    for column in columns:
        channel = page.get_by_role("combobox", name=f"What is in column {column['column'] + 1}, ")
        channel.select_option(value=column["channel"])
        page.get_by_role("combobox", name=f"Unit of column {column['column'] + 1}, ").select_option(
            value=column["unit"]
        )
    preview = page.get_by_role("table", name="First rows as imported")
    expect(preview.get_by_role("columnheader", name="engine speed")).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    page.get_by_label("Name").last.fill("Roller by the quay")
    follow(page.get_by_role("button", name="Import file"))
    expect(page.get_by_role("main")).to_contain_text("Roller by the quay")
    assert Run.objects.get().status == Run.Status.READ

    # Later files of that layout are read at once; air and gear are taken from the last run.
    page.goto(page.url.split("/runs/")[0] + f"/jobs/{job.number}/runs/attach/")
    expect(page.get_by_label("Air temperature (°C)")).to_have_value("17")
    page.get_by_label("Tune").select_option("as received")
    upload(page, sweeps("before")[1:])
    page.wait_for_url(f"**/jobs/{job.number}/runs/")
    follow(page.get_by_role("link", name="Upload runs"))
    page.get_by_label("Tune").select_option("tune 1")
    fill_air(page, "24,5", "100.6", "48")
    upload(page, sweeps("after"))
    page.wait_for_url(f"**/jobs/{job.number}/runs/")
    assert [run.status for run in Run.objects.all()] == [Run.Status.READ] * 6

    states = [series["state"] for series in read_chart_data(page, "runs-chart")["panels"][0]["series"]]
    assert states == ["before"] * 3 + ["after"] * 3
    expect(page.get_by_role("group", name="Power: curves of").locator("canvas")).to_be_visible()
    page.get_by_text("All results").click()
    figures = page.get_by_role("table", name="Results")
    expect(figures.get_by_role("row").nth(1)).to_contain_text("EU 134/2014")
    corrected = read_chart_data(page, "runs-chart")["panels"][0]["series"][0]["y"]
    page.get_by_role("group", name="Correction").get_by_role("link", name="Uncorrected").click()
    expect(page.get_by_text("Uncorrected. Excluded runs are faint.")).to_be_visible()
    observed = read_chart_data(page, "runs-chart")["panels"][0]["series"][0]["y"]
    # Cool, dense air makes more power than the standard's: corrected is below observed.
    assert max(corrected) < max(observed)
    assert_accessible(page)


def test_invalid_run_files_are_reported_by_name(log_in: LogIn, job: Job, tmp_path: Path) -> None:
    empty, picture = tmp_path / "empty.csv", tmp_path / "picture.csv"
    empty.write_bytes(b"")
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    page = log_in(Role.TUNER)
    open_job(page, job)
    follow(page.get_by_role("link", name="Upload runs"))
    upload(page, [empty, picture])
    expect(page.get_by_role("listitem").filter(has_text="empty.csv")).to_contain_text("empty")
    expect(page.get_by_role("listitem").filter(has_text="picture.csv")).to_contain_text("image")
    expect(page.get_by_role("button", name="Upload", exact=True)).to_be_enabled()
    assert_accessible(page)


def test_tune_is_recorded_with_its_reasons(log_in: LogIn, job: Job) -> None:
    changes = [
        ("idle speed", "", "1250", "1400", "1/min", "Stalls when it is cold"),
        ("rev limiter", "", "11200", "11000", "1/min", "Valve springs are worn"),
        ("sensor feedback", "below 6000 1/min", "on", "off", "", "Hunts at constant speed"),
        ("fuel", "4000 to 7000 1/min", "0", "+4", "%", "Lean at high load"),
        ("ignition", "cylinder 2", "32", "30", "°", "Knocks on hot days"),
    ]
    page = log_in(Role.TUNER)
    open_job(page, job)
    follow(page.get_by_role("link", name="Record a tune"))
    get_textbox(page, "Short name").fill("calmer and safer")
    rows = page.get_by_role("group", name="New change")
    while rows.count() < len(changes):
        page.get_by_role("button", name="Add another change").click()
    for at, (kind, which, old, new, unit, why) in enumerate(changes):
        rows.nth(at).get_by_label("Change type").select_option(kind)
        rows.nth(at).get_by_label("Applies to").fill(which)
        rows.nth(at).get_by_label("From").fill(old)
        rows.nth(at).get_by_label("To", exact=False).last.fill(new)
        rows.nth(at).get_by_label("Unit").fill(unit)
        rows.nth(at).get_by_label("Why").fill(why)
    assert_accessible(page)
    follow(page.get_by_role("button", name="Save"))

    log = page.get_by_role("main")
    expect(log).to_contain_text("in the bike")
    for kind, _, old, new, _, why in changes:
        line = log.get_by_role("row").filter(has_text=kind)
        expect(line).to_contain_text(old)
        expect(line).to_contain_text(new)
        expect(line).to_contain_text(why)
    assert_accessible(page)


def test_change_without_reason_is_rejected_and_input_preserved(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.TUNER)
    open_job(page, job)
    follow(page.get_by_role("link", name="Record a tune"))
    first = page.get_by_role("group", name="New change").first
    first.get_by_label("Change type").select_option("idle speed")
    first.get_by_label("To*").fill("1400")
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("alert")).to_contain_text("Why")
    expect(first.get_by_label("To*")).to_have_value("1400")
    assert TuneRevision.objects.count() == 2


def test_throttle_table_is_added_with_mode_and_chart(log_in: LogIn, job: Job) -> None:
    page = log_in(Role.TUNER)
    open_job(page, job)
    follow(page.get_by_role("link", name="Add a table to tune 1"))
    page.get_by_label("Riding mode (as named on the bike)").fill("Wet")
    page.get_by_label("Who this mode suits").fill("wet roads, new riders")
    page.get_by_label("Table (pasted)").fill("\t2000\t6000\n0\t0\t0\n50\t30,5\t34\n100\t100\t100")
    follow(page.get_by_role("button", name="Save"))
    mode = page.get_by_role("list", name="Modes of tune 1").get_by_role("listitem").first
    expect(mode).to_contain_text("Suits: wet roads, new riders")
    # Half the grip opens 30.5 % at 2000 rpm and 34 % at 6000: 0.61 and 0.68 % for each % of grip.
    gain = page.get_by_role("row").filter(has_text="Wet, in the bike")
    expect(gain).to_contain_text("0.65")
    expect(gain).to_contain_text("closed at 0 % grip, fully open at 100 %")
    expect(page.get_by_role("group", name="Throttle plate: curves of").locator("canvas")).to_be_visible()
    assert_accessible(page)


def test_comparison_shows_changes_between_two_groups(
    log_in: LogIn, job: Job, people: dict[Role, Any]
) -> None:
    tunes = dict(zip(("before", "after"), job.tune_revisions.order_by("number"), strict=True))
    for entry in demo_runs("tern"):
        made_at = timezone.now() + timedelta(days=-2, minutes=entry["made_at_offset_min"])
        tune = tunes[entry["when"]]
        attach_demo(job, people[Role.TUNER], entry, tune_revision=tune, made_at=made_at)
    page = log_in(Role.TUNER)
    open_job(page, job)
    follow(page.get_by_role("link", name="Compare runs"))
    page.get_by_label("What is compared").fill("The fuller middle")
    for when in ("before", "after"):
        for file in sweeps(when):
            side = page.get_by_role("group", name=f"Side of {file.name}")
            side.get_by_role("radio", name=when).check()
    follow(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("navigation", name="Breadcrumbs")).to_contain_text("The fuller middle")
    expect(page.get_by_role("heading", level=1)).to_contain_text("More power")
    page.get_by_text("By rpm band").click()
    drive = get_row(get_region(page, "Drive band"), "Mean torque").get_by_role("cell")
    expect(drive.last).to_have_text("more")
    low_nm, high_nm = (float(end.split()[0]) for end in drive.nth(3).inner_text().split(" to "))
    # The simulated bike gained 3.5 % of some 60 N·m, fading at both ends of the band: about 2.0 N·m.
    assert low_nm < 2.0 < high_nm
    expect(page.get_by_role("listitem").filter(has_text="tune 1 loaded")).to_contain_text("fuller middle")
    expect(page.get_by_text("This is the only recorded change between before and after.")).to_be_visible()
    assert_accessible(page)
    open_job(page, job)
    expect(get_region(page, "Comparisons")).to_contain_text("The fuller middle")
