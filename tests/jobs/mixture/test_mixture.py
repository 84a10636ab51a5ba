"""Mixture studies from simulated held runs of which the true mixture is known."""

import csv
import io
import re
import uuid
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from scipy.signal import lfilter

from fixtures import simulator
from fixtures.bikes import BIKES, target_lambda, true_lambda
from jobs.calc.tables.pasted_table import parse_table
from jobs.mixture.facts import mixture_facts
from jobs.mixture.forms import NumberListField, TargetField, parse_numbers
from jobs.models import Job, MixtureStudy, Run
from jobs.runs.channel_files import load_channels, store_channels
from tests.factories import make_channel_run, make_job, make_revision, make_simulated_runs
from tests.html import find, read_html, read_json, read_rows, read_text, read_values
from workshop.models import Role

pytestmark = pytest.mark.django_db

TERN = BIKES["tern"]
LOADS = [10.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0]
SPEEDS = [float(speed) for speed in range(3000, 11_000, 1000)]
TARGET = target_lambda(TERN, np.array(LOADS))
FUEL_TABLE = (
    "\t2000\t4000\t6000\t8000\n"
    "0\t10,00\t10,50\t11,00\t11,50\n"
    "40\t40,00\t41,00\t42,00\t43,00\n"
    "100\t70,00\t72,00\t74,00\t76,00\n"
)


@pytest.fixture
def job() -> Job:
    return make_job()


@pytest.fixture
def before(job, staff) -> list[Run]:
    tune = make_revision(job, staff[Role.DESK])
    return make_simulated_runs(job, staff[Role.TUNER], "tern", "before", "held", tune_revision=tune)


def form_data(runs: list[Run], /, **more: Any) -> dict[str, Any]:
    """Return the form data as a browser sends it."""
    return {
        "title": "As received",
        "runs": [str(run.pk) for run in runs],
        "load_channel": "grip_pct",
        "delay_ms": "150",
        "rpm_axis": "3000 4000 5000 6000 7000 8000 9000 10000",
        "load_axis": "10 20 30 40 60 80 100",
        "target": " ".join(f"{wanted:.4f}" for wanted in TARGET),
        "fuel": "petrol_e5",
        "fuel_table": "",
        "on_sheet": "on",
        "min_dwell_s": "0.5",
        "grip_rate_pct_s": "5",
        "speed_rate_rpm_s": "400",
        "fewest_dwells": "2",
        "largest_half_width": "0,04",
        "largest_pass_pct": "15",
        "high_load_pct": "70",
        "lean_pct": "3",
        **more,
    }


def send(client: Client, runs: list[Run], /, **more: Any):
    return client.post(reverse("mixture-new", args=[runs[0].job]), form_data(runs, **more))


def study_from(client: Client, runs: list[Run], **more: Any) -> MixtureStudy:
    answer = send(client, runs, **more)
    assert answer.status_code == 302, answer.content.decode()
    return MixtureStudy.objects.latest("pk")


def shown(client: Client, study: MixtureStudy) -> str:
    page = client.get(reverse("mixture", args=[study.pk])).content.decode()
    return page.replace("\N{NO-BREAK SPACE}", " ")


def held_at(grip_pct: float, speeds: np.ndarray, delay_ms: float, error: Any, seed: int) -> dict[str, Any]:
    """Up in steps of two seconds at 20 Hz, wanted lambda 0.90, sensed late and with correlated scatter."""
    rng = np.random.default_rng(seed)
    begins = np.arange(speeds.size) * 2.3
    corners = np.ravel(np.column_stack([begins, begins + 2.0]))
    time_s = np.arange(0, corners[-1], 0.05)
    speed = np.interp(time_s, corners, np.repeat(speeds, 2))
    burnt = 0.90 * (1 + error(speed, grip_pct))
    scatter = lfilter([1.0], [1.0, -0.7], rng.normal(0, 0.003 * np.sqrt(1 - 0.7**2), time_s.size))
    return {
        "time_s": time_s,
        "engine_speed_rpm": speed + rng.normal(0, 4, time_s.size),
        "grip_pct": np.full(time_s.size, grip_pct),
        "lambda": np.interp(time_s - delay_ms / 1000, time_s, burnt) + scatter,
    }


def grid(values: list[list[float | None]]) -> np.ndarray:
    return np.array(values, dtype=float)


def test_correction_recovers_the_true_mixture_in_visited_cells_only(login, before) -> None:
    study = study_from(login(Role.TUNER), before, rpm_axis="3000 4000 5000 6000 7000 8000 9000 10000 12500")
    correction = grid(study.result["correction"])
    speed, load = np.meshgrid(SPEEDS, LOADS)
    truth = true_lambda(TERN, "before", speed, load) / target_lambda(TERN, load)
    found = correction[:, :-1]
    given = np.isfinite(found)
    assert given.sum() > 25
    # a cell is 1,000 1/min wide and its truth curved: the mean over it may differ from its middle
    assert np.abs(found - truth)[given].max() < 0.012
    assert np.median(np.abs(found - truth)[given]) < 0.003
    assert np.isnan(correction[:, -1]).all()
    assert all(row[-1] == "no data" for row in study.result["reason"])
    assert all(row[-1] is None for row in study.result["mean"])


def off_target(speed: np.ndarray, grip: float) -> np.ndarray:
    """How far the simulated engine is off: leaner with the grip, and with a hump over engine speed."""
    return 0.08 * (grip - 20) / 80 - 0.03 + 0.02 * np.sin(np.asarray(speed) / 900)


@pytest.mark.parametrize("delay_ms", [80, 150, 300])
def test_known_error_is_recovered_within_half_a_percent_in_every_covered_cell(
    login, staff, job, delay_ms
) -> None:
    speeds, grips = np.arange(3000.0, 7001.0, 500.0), (20.0, 40.0, 70.0)
    runs = [
        make_channel_run(
            job,
            staff[Role.TUNER],
            f"held_{grip:g}_{n}.csv",
            held_at(grip, speeds, delay_ms, off_target, n),
        )
        for n, grip in enumerate([*grips, *grips, *grips])
    ]
    study = study_from(
        login(Role.TUNER),
        runs,
        delay_ms=str(delay_ms),
        target="0.9",
        rpm_axis="2500 3000 3500 4000 4500 5000 5500 6000 6500 7000 7500",
        load_axis="20 40 55 70 90",
        largest_half_width="0.02",
    )
    found = grid(study.result["correction"])
    covered = np.isfinite(found)
    visited = np.zeros(found.shape, dtype=bool)
    visited[np.ix_([0, 1, 3], range(1, 10))] = True
    np.testing.assert_array_equal(covered, visited)
    truth = np.array([1 + off_target(speeds, grip) for grip in grips])
    np.testing.assert_allclose(found[visited].reshape(truth.shape), truth, rtol=0.005)


def fuel_step(delay_ms: float) -> dict[str, Any]:
    """Step the opening time up by 8 % and back every two seconds; lambda follows after the delay."""
    rng = np.random.default_rng(3)
    time_s = np.arange(0, 16, 0.02)
    fuel = np.where((time_s // 2).astype(int) % 2, 1.08, 1.0)
    return {
        "time_s": time_s,
        "injector_time_ms": 4.0 * fuel,
        "lambda": 0.95 / np.interp(time_s - delay_ms / 1000, time_s, fuel)
        + rng.normal(0, 0.003, time_s.size),
    }


@pytest.mark.parametrize("delay_ms", [80, 220])
def test_delay_is_found_from_a_fuel_step_and_survives_an_edit(login, staff, before, delay_ms) -> None:
    client, job = login(Role.TUNER), before[0].job
    assert 'name="delay_run"' not in client.get(reverse("mixture-new", args=[job])).content.decode()
    run = make_channel_run(job, staff[Role.TUNER], "step.csv", fuel_step(delay_ms))
    assert 'name="delay_run"' in client.get(reverse("mixture-new", args=[job])).content.decode()
    study = study_from(client, before, delay_run=str(run.pk), delay_ms="150")
    assert study.delay_ms == pytest.approx(delay_ms, abs=15)
    assert "found from the fuel step in step.csv" in shown(client, study)
    again = form_data(before, delay_ms=str(study.delay_ms), title="Renamed", version="1")
    client.post(reverse("mixture-edit", args=[study.pk]), again)
    study.refresh_from_db()
    assert study.settings_used["delay_found_in"] == "step.csv"
    client.post(reverse("mixture-edit", args=[study.pk]), {**again, "delay_ms": "120", "version": "2"})
    study.refresh_from_db()
    assert study.delay_ms == 120
    assert "found from the fuel step" not in shown(client, study)


def test_run_without_a_fuel_step_gives_an_error_at_the_delay(login, staff, before) -> None:
    flat = {**fuel_step(100), "injector_time_ms": np.full(800, 4.0)}
    run = make_channel_run(before[0].job, staff[Role.TUNER], "flat.csv", flat)
    answer = send(login(Role.TUNER), before, delay_run=str(run.pk), title="Kept")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "there is no step in the fuel" in page
    assert 'href="#id_delay_run"' in page
    assert 'value="Kept"' in page


def test_lean_at_high_load_is_warned_about_first(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    page = shown(client, study)
    # 100 % grip at 6000 rpm is leanest; its neighbours are one region, with one warning
    first = page.index("Lean at high load, 80 to 100 % grip and 5000 to 7000 rpm: up to 8.")
    assert page.count("Lean at high load, ") == 1
    assert first < page.index('<table class="heat"')
    assert "Do not hold full load there for long" in page[first : page.index('<table class="heat"')]
    assert "within seconds" not in page
    (heading,) = find(page, "//h1")
    assert read_text(heading) == "Up to 8 % lean of target under load, 5000 to 7000 rpm"
    section = client.get(reverse("job", args=[study.job]), {"open": "all"}).content.decode()
    section = read_html(section, "mixture")
    assert "state-attention" in section
    assert "Lean at high load, 80 to 100 % grip" in section


def test_lean_region_is_outlined_on_the_grid(login, before) -> None:
    page = shown(login(Role.TUNER), study_from(login(Role.TUNER), before))
    edges = {cell.get("data-place"): cell.get("class") for cell in find(page, "//td[@data-place and @class]")}
    # rows of 80 and 100 % grip, columns of 5000 to 7000 rpm
    assert edges == {
        "5,2": "edge-t edge-l",
        "5,3": "edge-t",
        "5,4": "edge-t edge-r",
        "6,2": "edge-b edge-l",
        "6,3": "edge-b",
        "6,4": "edge-r edge-b",
    }


def test_page_sheet_and_job_page_count_the_same_cells(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    count = f"{study.result['cells_on_target']} of {study.result['cells_measured']} measured cells"
    assert count in shown(client, study)
    assert count in read_html(
        client.get(reverse("job", args=[study.job]), {"open": "all"}).content.decode(), "mixture"
    )
    assert count in mixture_facts(study, before).standing


def test_one_pass_asks_for_a_second_on_page_and_sheet(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    asked = "Measure a second pass before relying on the corrections."
    assert asked in shown(client, study)
    assert asked in " ".join(mixture_facts(study, before).sentences)
    twice = study_from(client, [*before, *make_simulated_runs_again(before)])
    assert asked not in shown(client, twice)


def make_simulated_runs_again(runs: list[Run]) -> list[Run]:
    """Store the same runs under other names, as if each opening had been held twice."""
    return [
        make_channel_run(
            run.job,
            run.made_by,
            f"again_{run}",
            load_channels(run, run.channel_names),
            tune_revision=run.tune_revision,
        )
        for run in runs
    ]


def test_every_cell_has_a_value_a_mark_and_a_description(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before, largest_half_width="0.0032")
    page = shown(client, study)
    cells = find(page, "//table[@role='grid']//td")
    assert len(cells) == len(LOADS) * len(SPEEDS)
    few = sum(sum(row) for row in study.result["few"])
    assert 0 < few < len(LOADS) * len(SPEEDS)
    for reading in ("off", "lambda", "fuel"):
        texts = [read_text(found) for found in find(page, f"//td/span[starts-with(@class, 'r-{reading} ')]")]
        assert sum("◌" in text for text in texts) == few
        assert sum(text == "·" for text in texts) == len(cells) - study.result["cells_measured"]
    cell = read_json(page, "cells")["5,3"]
    facts = {name: value.replace("\N{NO-BREAK SPACE}", " ") for name, value in cell["facts"]}
    assert cell["place"] == "6000 rpm, 80 % grip"
    assert cell["word"] == "lean"
    assert facts["Lambda"].startswith("0.960 ± 0.00")
    assert facts["Target"] == "0.890"
    assert facts["Fuel correction"] == "none: too uncertain"
    # the holds add up to the samples and to the time of the cell
    pattern = r"(\S+), ([\d.]+) to ([\d.]+) s: (\d+) samples, lambda 0\.\d{3}"
    behind = [re.fullmatch(pattern, visit).groups() for visit in cell["visits"]]
    assert {name for name, *_ in behind} == {"tern_before_held_080.csv"}
    assert sum(int(n) for *_, n in behind) == int(facts["Samples"])
    times, seconds = re.match(r"(\d+) times, ([\d.]+) s in all", facts["Held"]).groups()
    assert int(times) == len(behind)
    total = sum(float(end) - float(start) for _, start, end, _ in behind)
    assert float(seconds) == pytest.approx(total, abs=0.1 * len(behind))


def test_every_reading_is_in_the_page_without_a_request(login, before) -> None:
    page = shown(login(Role.TUNER), study_from(login(Role.TUNER), before))
    assert read_values(page, "reading") == ["off", "lambda", "target", "fuel"]
    (cell,) = find(page, "//td[@data-place='6,3']")
    off, lambda_, target, fuel = (read_text(reading) for reading in cell.xpath("./span"))
    assert off.startswith("+8.")
    assert lambda_.startswith("0.96")
    assert target == "0.890"
    assert fuel == off.split()[0][:4]
    # and all of them as a table
    assert any(
        "6000 rpm, 100 % grip" in row[0] and "0.890" in row for row in read_rows(page, "//details//tbody")
    )


def test_corrections_can_be_copied_and_unmeasured_cells_are_blank(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before, rpm_axis="3000 4000 5000 6000 7000 8000 9000 10000 12500")
    (text,) = find(shown(client, study), "//textarea[@id='correction-text']")
    lines = [line.split("\t") for line in text.text.strip("\n").split("\n")]
    assert lines[0] == ["", *(f"{speed:g}" for speed in SPEEDS), "12500"]
    assert [line[-1] for line in lines[1:]] == [""] * len(LOADS)
    share = study.result["correction"][6][3] - 1
    assert float(lines[7][4]) == pytest.approx(100 * share, abs=0.05)


def test_excluded_samples_are_counted_by_reason(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    counted = sum(study.result["left_out"].values()) + sum(study.result["unused"].values())
    assert counted + study.result["samples_in_cells"] == sum(run.samples for run in before)
    page = shown(client, study)
    assert "closed throttle, overrun" in page
    assert "engine speed changing" in page


def test_correction_is_limited_in_one_pass_and_marked(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before, largest_pass_pct="3")
    assert np.nanmax(grid(study.result["correction"])) == pytest.approx(1.03)
    assert np.nanmax(grid(study.result["wanted"])) > 1.06
    page = shown(client, study)
    assert "heat-limited" in page
    assert "limited per pass; +7." in page


def test_target_may_be_a_single_number(login, before) -> None:
    study = study_from(login(Role.TUNER), before, target="0,9")
    assert study.target == 0.9
    assert {value for row in study.result["target"] for value in row} == {0.9}


def test_rows_may_be_by_plate_opening(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before, load_channel="plate_pct", load_axis="12 25 35 45 63 82 100")
    assert study.load_channel == "plate_pct"
    assert "Lambda by engine speed and plate" in shown(client, study)


def test_fuel_table_is_corrected_in_measured_cells_and_unchanged_elsewhere(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before, fuel_table=FUEL_TABLE, load_axis="10 20 30 40 60 80 100")
    assert study.fuel_table_before["text"] == FUEL_TABLE
    came = [line.split("\t") for line in FUEL_TABLE.splitlines()]
    back = [line.split("\t") for line in study.fuel_table_after["text"].splitlines()]
    assert back[0] == came[0]
    assert back[1] == came[1]  # grip 0 was never held
    assert [row[1] for row in back] == [row[1] for row in came]  # nor was 2,000 1/min
    too_lean = float(true_lambda(TERN, "before", 6000, 100) / target_lambda(TERN, np.array(100.0)))
    assert float(back[3][3].replace(",", ".")) == pytest.approx(74 * too_lean, rel=0.006)
    assert len(back[3][3].partition(",")[2]) == 2
    page = shown(client, study)
    assert study.fuel_table_after["text"].strip() in page
    assert f"<mark>{back[3][3]}</mark>" in page
    assert "<mark>10,00</mark>" not in page


def test_uploaded_fuel_table_is_read(login, before) -> None:
    upload = SimpleUploadedFile("fuel.csv", FUEL_TABLE.replace("\t", ";").encode("utf-16"))
    study = study_from(login(Role.TUNER), before, fuel_table="", fuel_table_file=upload)
    assert study.fuel_table_before["text"] == FUEL_TABLE.replace("\t", ";")
    assert study.fuel_table_after["covered"] > 0


def test_uploaded_fuel_table_with_an_error_is_shown_for_correction(login, before) -> None:
    upload = SimpleUploadedFile("fuel.csv", FUEL_TABLE.replace("41,00", "much").encode())
    answer = send(login(Role.TUNER), before, fuel_table_file=upload)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Line 3, column 3" in page
    assert "40\t40,00\tmuch" in page
    assert "the file “fuel.csv”" in page


def test_correction_applies_only_beyond_the_dead_time(login, before) -> None:
    client = login(Role.TUNER)
    plain, dead = (study_from(client, before, fuel_table=FUEL_TABLE, dead_time=time) for time in ("", "10,5"))
    read = [parse_table(study.fuel_table_after["text"]).cells for study in (plain, dead)]
    came = parse_table(FUEL_TABLE).cells
    covered = read[0] != came
    # the same share of fuel, of what delivers: change with dead time = (1 - dead/cell)·change without
    np.testing.assert_allclose(
        (read[1] - came)[covered], ((1 - 10.5 / came) * (read[0] - came))[covered], atol=0.011
    )
    assert "Only the pulse width beyond the dead time of 10.5 was corrected" in shown(client, dead)
    answer = send(client, before, fuel_table=FUEL_TABLE, dead_time="80")
    assert answer.status_code == 422
    assert "must be shorter than the longest pulse width" in answer.content.decode()
    assert 'href="#id_dead_time"' in answer.content.decode()


def test_gap_is_filled_only_on_request_and_marked(login, before) -> None:
    client = login(Role.TUNER)
    axes = {"load_axis": "10 20 30 40 50 60 80 100", "target": "0.9"}  # nothing was held at 50 %
    bare = study_from(client, before, **axes)
    filled = study_from(client, before, **axes, fill="on", fuel_table=FUEL_TABLE)
    was, now = grid(bare.result["correction"]), grid(filled.result["correction"])
    marked = np.array(filled.result["filled"])
    assert np.isnan(was[4]).all()
    assert not np.any(bare.result["filled"])
    both = np.isfinite(was[3]) & np.isfinite(was[5])
    assert both.sum() > 3
    # half-way between 40 and 60 %
    np.testing.assert_allclose(now[4, both], (was[3, both] + was[5, both]) / 2, atol=1e-4)
    np.testing.assert_array_equal(np.isfinite(now), np.isfinite(was) | marked)
    page = shown(client, filled)
    assert page.count("<small>interpolated</small>") == marked.sum()
    assert "interpolated between two measured neighbours, not measured here" in page
    assert "heat-filled" not in shown(client, bare)


def test_csv_has_the_fuel_table_with_decimal_points(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before, fuel_table=FUEL_TABLE)
    answer = client.get(reverse("mixture-fuel-table", args=[study.pk]))
    assert answer.headers["Content-Type"].startswith("text/csv")
    rows = list(csv.reader(io.StringIO(answer.content.decode())))
    text = [line.replace(",", ".").split("\t") for line in study.fuel_table_after["text"].splitlines()]
    assert rows == text


def test_study_without_a_fuel_table_has_no_csv(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    assert client.get(reverse("mixture-fuel-table", args=[study.pk])).status_code == 404


def test_empty_axes_are_taken_from_the_fuel_table(login, before) -> None:
    study = study_from(
        login(Role.TUNER), before, rpm_axis="", load_axis=" ", fuel_table=FUEL_TABLE, target="0.9"
    )
    assert study.rpm_axis == [2000, 4000, 6000, 8000]
    assert study.load_axis == [0, 40, 100]


def test_large_fuel_table_is_saved(login, before) -> None:
    speeds = range(1000, 1000 + 250 * 40, 250)
    lines = ["\t".join(["", *map(str, speeds)])]
    lines += ["\t".join([f"{3.4 * row:.1f}", *(f"{5 + row / 10:.2f}" for _ in speeds)]) for row in range(30)]
    table = "\n".join(lines) + "\n"
    study = study_from(login(Role.TUNER), before, fuel_table=table)
    assert study.fuel_table_before["text"] == table
    assert len(study.fuel_table_after["changed"]) == 30


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"target": "14.7"}, "If it is an air-fuel ratio, convert it to lambda."),
        ({"target": "0.9 0.95"}, "one per load (7)"),
        ({"target": "rich"}, "“rich” is not a number"),
        ({"target": ""}, "This field is required."),
        ({"rpm_axis": "3000 2000"}, "The engine speed axis must increase: 2000 comes after 3000."),
        ({"load_axis": "", "fuel_table": ""}, "Enter the axis points, or paste a fuel table below."),
        ({"load_axis": "10,x 20"}, "“10,x” is not a number"),
        ({"fuel_table": "\t1000\t2000\n0\t1\tx\n50\t2\t3\n"}, "Line 2, column 3"),
        ({"fewest_dwells": "1"}, "Ensure this value is greater than or equal to 2."),
        ({"delay_ms": "-20"}, "Ensure this value is greater than or equal to 0."),
        ({"runs": []}, "Choose at least one run."),
    ],
)
def test_invalid_input_gives_an_error_at_its_field_and_keeps_the_rest(
    login, before, change, sentence
) -> None:
    answer = send(login(Role.TUNER), before, **{"title": "Kept title", "fuel_table": FUEL_TABLE, **change})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert sentence in page.replace("&#x27;", "'")
    name = next(iter(change))
    assert f'href="#id_{name}' in page or name == "fewest_dwells"
    assert 'value="Kept title"' in page
    if "fuel_table" not in change:
        assert FUEL_TABLE.strip() in page.replace("\r", "")
    assert not MixtureStudy.objects.exists()


def test_run_whose_time_runs_back_is_named(login, before) -> None:
    broken = before[2]
    channels = load_channels(broken, broken.channel_names)
    channels["time_s"] = channels["time_s"][::-1]
    store_channels(broken, channels)
    broken.save()
    answer = send(login(Role.TUNER), before)
    assert answer.status_code == 422
    assert f"{broken}: The time of a run must increase" in answer.content.decode()


def test_unusable_runs_are_not_offered_and_have_a_reason(login, staff, before) -> None:
    before[0].channel_names.remove("lambda")
    before[0].save()
    before[1].set_aside, before[1].set_aside_reason = True, "strap slipped"
    before[1].save()
    client = login(Role.TUNER)
    page = client.get(reverse("mixture-new", args=[before[0].job])).content.decode()
    offered = set(read_values(page, "runs"))
    assert offered == {str(run.pk) for run in before[2:]}
    assert f"{before[0]}: it has no column read as lambda" in page
    assert f"{before[1]}: it is excluded" in page
    assert send(client, before).status_code == 422


def test_new_study_suggests_axes_runs_and_title(login, before) -> None:
    page = login(Role.TUNER).get(reverse("mixture-new", args=[before[0].job])).content.decode()
    assert 'value="10  20  30  40  60  80  100"' in page
    assert 'value="2500  3000  3500' in page
    assert page.count("checked") >= len(before)
    assert 'value="Mixture, as received"' in page


def test_one_pass_over_the_proposed_axes_gives_corrections(login, before) -> None:
    client = login(Role.TUNER)
    page = client.get(reverse("mixture-new", args=[before[0].job])).content.decode()
    axes = {name: read_values(page, name)[0] for name in ("rpm_axis", "load_axis")}
    study = study_from(client, before, **axes, target="0.9", fewest_dwells="3", largest_half_width="0.02")
    correction = grid(study.result["correction"])
    speed, load = np.meshgrid(study.rpm_axis, study.load_axis)
    truth = true_lambda(TERN, "before", speed, load) / 0.9
    given = np.isfinite(correction)
    assert given.sum() > 0.8 * study.result["cells_measured"]
    assert np.median(np.abs(correction - truth)[given]) < 0.003


def test_uncertain_cells_are_corrected_on_demand_with_their_interval(login, before) -> None:
    client = login(Role.TUNER)
    strict = {"largest_half_width": "0.0015", "fuel_table": FUEL_TABLE}
    assert not np.isfinite(grid(study_from(client, before, **strict).result["correction"])).any()
    study = study_from(client, before, **strict, with_uncertain="on")
    assert np.isfinite(grid(study.result["correction"])).sum() == study.result["cells_measured"]
    assert study.fuel_table_after["uncertain"] == study.fuel_table_after["covered"] > 0
    page = shown(client, study)
    half = 100 * study.result["half_width_95"][5][3] / study.result["target"][5][3]
    assert f"± {half:.1f} %, too uncertain, given because you asked for it" in page
    assert f"<small>± {half:.1f}</small>" in page
    assert "use a correction that is too uncertain" in page


def test_edit_computes_the_study_again(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    page = client.get(reverse("mixture-edit", args=[study.pk])).content.decode()
    assert 'value="3000  4000  5000  6000  7000  8000  9000  10000"' in page
    changed = form_data(before[:3], target="1", version="1", title="The small openings")
    assert client.post(reverse("mixture-edit", args=[study.pk]), changed).status_code == 302
    again = MixtureStudy.objects.get(pk=study.pk)
    assert set(again.runs.all()) == set(before[:3])
    assert again.result["samples_in_cells"] < study.result["samples_in_cells"]
    assert read_text(find(shown(client, again), "//h1")[0]) == "On target in all measured cells"


def test_edit_conflict_names_the_other_user_and_keeps_both_inputs(login, before) -> None:
    study = study_from(login(Role.TUNER), before)
    url = reverse("mixture-edit", args=[study.pk])
    login(Role.OWNER).post(url, form_data(before, version="1", target="0.95", fuel_table=FUEL_TABLE))
    answer = login(Role.TUNER).post(url, form_data(before, version="1", title="Mine"))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Not saved. Ola Owner changed this" in page
    assert '<th scope="row">fuel table before</th><td>a fuel table</td>' in page  # and not all its figures
    assert ">0.95</textarea>" in page.replace("\n", "")  # not touched here, so theirs is taken over
    assert 'value="Mine"' in page


def test_page_warns_about_a_run_excluded_since(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    before[3].set_aside, before[3].set_aside_reason = True, "strap slipped"
    before[3].save()
    assert "is in this study, but it is excluded" in shown(client, study)


def test_second_pass_is_compared_with_the_first(login, staff, job, before) -> None:
    client = login(Role.TUNER)
    study_from(client, before)
    tune = make_revision(job, staff[Role.TUNER], 1)
    after = make_simulated_runs(job, staff[Role.TUNER], "tern", "after", "held", tune_revision=tune)
    second = study_from(client, after, title="After the correction")
    page = shown(client, second)
    section = page.split('id="earlier-title"')[1].split("</section>")[0]
    assert "As received" in section
    closer = int(section.split("both passes, ")[1].split(" ")[0])
    further = int(section.split("target, ")[1].split(" ")[0])
    assert closer > 5 > further
    assert page.count("<small>closer</small>") == closer
    assert page.count("<small>further</small>") == further
    last = dict(read_json(page, "cells")["5,3"]["facts"])["Last pass"]
    assert re.fullmatch(r"\+7\.\d\s% before, [+−]?[01]\.\d\s% now: closer to target", last)
    assert "Lean at high load" not in page


def test_passes_by_grip_are_not_the_same_load_once_the_plate_was_changed(login, staff, job, before) -> None:
    client = login(Role.TUNER)
    study_from(client, before)
    tune = make_revision(job, staff[Role.TUNER], 1)
    after = make_simulated_runs(job, staff[Role.TUNER], "tern", "after", "held", tune_revision=tune)
    second = study_from(client, after)
    said = "The same grip is not the same load in both passes"
    assert said not in shown(client, second)
    grips, plates = [0, 100], ([[0], [100]], [[0], [80]])
    for revision, plate in zip((before[0].tune_revision, tune), plates, strict=True):
        revision.throttle_tables.create(mode="Road", grip_pct=grips, engine_speed_rpm=[4000], plate_pct=plate)
    assert said in shown(client, second)


def test_double_submission_creates_one_study(login, before) -> None:
    client, key = login(Role.TUNER), str(uuid.uuid4())
    assert [send(client, before, form_key=key).status_code for _ in range(2)] == [302, 302]
    assert MixtureStudy.objects.count() == 1


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC])
def test_only_tuner_writes_studies_and_all_roles_read_them(login, before, role) -> None:
    assert send(login(role), before).status_code == 403
    study = study_from(login(Role.TUNER), before)
    page = shown(login(role), study)
    assert reverse("mixture-edit", args=[study.pk]) not in page
    assert login(role).post(reverse("mixture-remove", args=[study.pk])).status_code == 403


def test_removed_study_is_gone(login, before) -> None:
    client = login(Role.TUNER)
    study = study_from(client, before)
    assert client.post(reverse("mixture-remove", args=[study.pk])).status_code == 302
    assert not MixtureStudy.objects.exists()
    assert client.get(reverse("mixture", args=[study.pk])).status_code == 404


def test_stored_grids_have_one_row_per_load(login, before) -> None:
    """The printed grid reads mean and few by rows of loads."""
    study = study_from(login(Role.TUNER), before)
    for name in ("mean", "few", "n", "dwells", "half_width_95", "off"):
        assert [len(row) for row in study.result[name]] == [len(SPEEDS)] * len(LOADS)


@pytest.mark.parametrize(
    ("text", "figures"),
    [
        ("1000 2000\t3000", [1000, 2000, 3000]),
        ("1000;2000; 3000", [1000, 2000, 3000]),
        ("1000, 2000, 3000", [1000, 2000, 3000]),
        ("1000,2000,3000", [1000, 2000, 3000]),
        ("2,5 5 7,5", [2.5, 5, 7.5]),
        ("2.5\n5\n7.5", [2.5, 5, 7.5]),
        ("", []),
    ],
)
def test_numbers_are_parsed_with_any_usual_separator(text, figures) -> None:
    assert parse_numbers(text) == figures


@pytest.mark.parametrize(
    ("text", "target"),
    [("0,9", 0.9), ("1 0.9", [1, 0.9]), ("1\n0.9\n", [1, 0.9]), ("1 0.95\n0.9 0.9", [[1, 0.95], [0.9, 0.9]])],
)
def test_target_survives_display_and_parsing(text, target) -> None:
    field = TargetField()
    assert field.clean(text) == target
    assert field.clean(field.prepare_value(target)) == target


def test_axis_survives_display_and_parsing() -> None:
    field = NumberListField()
    assert field.clean(field.prepare_value([2.125, 1000.0])) == [2.125, 1000]
    assert field.clean(field.prepare_value([2.5, 1000.0, 12_000.0])) == [2.5, 1000, 12_000]
    assert not field.has_changed([1000.0, 2000.0], "1000; 2000")


def test_fuel_table_of_the_simulator_is_read(login, before) -> None:
    study = study_from(login(Role.TUNER), before, fuel_table=simulator.fuel_table_text(TERN))
    assert study.fuel_table_after["covered"] > 0
