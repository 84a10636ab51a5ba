"""Throttle tables by mode, and the results of held-throttle and idle runs."""

import csv
import io
import re
import uuid

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fixtures import simulator
from fixtures.bikes import BIKES
from jobs.models import ThrottleTable, TuneChange, TuneChangeKind
from jobs.tunes.throttle_tables import riding_modes
from tests.factories import (
    load_results,
    make_bike,
    make_channel_run,
    make_engine,
    make_job,
    make_revision,
    make_simulated_runs,
)
from tests.html import find, read_html, read_json, read_row, read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db

# The plate follows the grip one to one.
STRAIGHT = "\t2000\t6000\n0\t0\t0\n10\t10\t10\n20\t20\t20\n50\t50\t50\n100\t100\t100\n"
# 12.4 % plate at 20 % grip: 0.62 of what the straight table gives, so 38 % slower over the first fifth.
CALM = "\t2000\t6000\n0\t0\t0\n10\t5\t5\n20\t12.4\t12.4\n50\t42\t42\n100\t100\t100\n"


@pytest.fixture
def job():
    return make_job()


@pytest.fixture
def received(job, staff):
    return make_revision(job, staff[Role.DESK], loaded_at=timezone.now() - timezone.timedelta(days=2))


@pytest.fixture
def tune(job, staff, received):
    return make_revision(job, staff[Role.TUNER], 1, made_from=received)


def add(client: Client, revision, text: str = STRAIGHT, mode: str = "Rain", **more):
    sent = {"mode": mode, "for_whom": "wet road", "table_text": text, **more}
    return client.post(reverse("throttle-add", args=[revision.pk]), sent)


def page_of(answer) -> str:
    return answer.content.decode()


def shown(client: Client, job, **query: str) -> str:
    return page_of(client.get(reverse("throttle", args=[job]), query))


def test_pasted_table_is_saved_with_its_values(login, received) -> None:
    assert add(login(Role.TUNER), received, CALM.replace(".", ",")).status_code == 302
    table = ThrottleTable.objects.get()
    assert table.grip_pct == [0, 10, 20, 50, 100]
    assert table.engine_speed_rpm == [2000, 6000]
    assert table.plate_pct[2] == [12.4, 12.4]
    assert (table.mode, table.for_whom) == ("Rain", "wet road")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("utf-16 with tabs", CALM.encode("utf-16")),
        ("utf-8 with its mark", CALM.replace("\t", ";").encode("utf-8-sig")),
        ("commas", CALM.replace("\t", ",").encode()),
    ],
)
def test_uploaded_table_is_saved_with_its_values(login, received, name, content) -> None:
    upload = SimpleUploadedFile("table.csv", content)
    assert add(login(Role.TUNER), received, "", table_file=upload).status_code == 302
    assert ThrottleTable.objects.get().plate_pct[2] == [12.4, 12.4]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "Paste the table here"),
        (CALM.replace("12.4\t12.4", "12.4\ttwelve"), "Line 4, column 3"),
        (CALM.replace("12.4\t12.4", "12.4\t"), "The cell at 20 % grip and 6000 rpm"),
        (CALM.replace("100\t100\t100", "100\t100\t140"), "The cell at 100 % grip and 6000 rpm"),
        (CALM.replace("\n50\t", "\n15\t"), "The grip axis must increase: 15 comes after 20"),
    ],
)
def test_invalid_table_is_rejected_with_its_position_and_kept_as_typed(
    login, received, text, sentence
) -> None:
    answer = add(login(Role.TUNER), received, text, mode="Wet weather")
    assert answer.status_code == 422
    page = page_of(answer)
    assert sentence in page
    assert text.strip() in page.replace("\r", "")
    assert 'value="Wet weather"' in page
    assert not ThrottleTable.objects.exists()


def test_uploaded_table_with_error_is_shown_as_text_to_correct(login, received) -> None:
    bad = CALM.replace("12.4\t12.4", "12.4\ttwelve")
    answer = add(login(Role.TUNER), received, "", table_file=SimpleUploadedFile("t.csv", bad.encode()))
    assert answer.status_code == 422
    page = page_of(answer)
    assert "Line 4, column 3" in page
    assert "20\t12.4\ttwelve" in page
    assert "the file “t.csv”" in page


def test_image_is_rejected_as_table(login, received) -> None:
    upload = SimpleUploadedFile("t.csv", b"\x89PNG\r\n\x1a\n")
    answer = add(login(Role.TUNER), received, "", table_file=upload)
    assert answer.status_code == 422
    assert "This is an image, not a data file." in page_of(answer)


def test_second_table_of_a_mode_is_rejected_ignoring_case(login, received, tune) -> None:
    client = login(Role.TUNER)
    add(client, received)
    answer = add(client, received, mode=" rain ")
    assert answer.status_code == 422
    assert "as received already has a table for Rain" in page_of(answer)
    add(client, tune, mode="RAIN")
    assert set(ThrottleTable.objects.values_list("mode", flat=True)) == {"Rain"}


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC])
def test_throttle_tables_require_tuner_role(login, job, received, role) -> None:
    assert add(login(role), received).status_code == 403
    assert reverse("throttle-add", args=[received.pk]) not in shown(login(role), job)


def test_repeated_submission_saves_one_table(login, received) -> None:
    client, key = login(Role.TUNER), str(uuid.uuid4())
    assert [add(client, received, form_key=key).status_code for _ in range(2)] == [302, 302]
    assert ThrottleTable.objects.count() == 1


def test_unknown_table_or_tune_gives_404(login, received) -> None:
    client = login(Role.TUNER)
    assert add(client, type(received)(pk=received.pk + 9)).status_code == 404
    assert client.get(reverse("throttle-edit", args=[1])).status_code == 404
    assert client.get(reverse("throttle", args=["1999-001"])).status_code == 404


def test_page_describes_how_a_mode_opens_in_words_and_numbers(login, job, received, tune) -> None:
    client = login(Role.TUNER)
    add(client, received, STRAIGHT)
    add(client, tune, CALM)
    page = shown(client, job)
    assert "Over the first 20 % of the grip, Rain opens 38 % less than the table as received." in page
    assert "Over the first 10 % of the grip, Rain opens 50 % less than the table as received." in page
    gains = [read_text(cell) for cell in find(page, "//td[starts-with(@data-label, 'first ')]")]
    assert gains == ["1.00", "1.00", "1.00", "0.50", "0.62", "0.84"]
    assert page.count("never falls, closed at 0 % grip, fully open at 100 %, no jumps") == 2


def test_mode_with_the_same_table_in_a_later_tune_is_not_changed(login, job, received, tune) -> None:
    client = login(Role.TUNER)
    for revision in (received, tune):
        add(client, revision, CALM)
    add(client, received, STRAIGHT, mode="Track")
    add(client, tune, CALM, mode="Track")
    modes = {mode.name: mode.is_changed for mode in load_results(job).get(riding_modes)}
    assert modes == {"Rain": False, "Track": True}


def test_chart_shows_as_loaded_over_as_received(login, job, received, tune) -> None:
    client = login(Role.TUNER)
    add(client, received, STRAIGHT.replace("\n20\t20\t20", "\n20\t20\t30"))
    add(client, tune, CALM)
    add(client, tune, STRAIGHT, mode="Track")
    page = shown(client, job, rpm="6000")
    plate, gain = read_json(page, "plates")["panels"]
    assert [(curve["label"], curve["state"]) for curve in plate["series"]] == [
        ("Rain", "other"),
        ("Track", "other"),
        ("Rain, as received", "before"),
    ]
    assert plate["series"][0]["y"] == [0, 5, 12.4, 42, 100]
    assert plate["series"][2]["y"] == [0, 10, 30, 50, 100]  # at 6000 rpm, not at 2000
    # the straight table moves 1 % plate for each 1 % of grip everywhere
    assert set(gain["series"][1]["y"]) == {1.0}
    assert "Over the first 20 % of the grip, Track opens 61 % more than Rain." in page


def test_tune_inherits_tables_of_the_tune_it_is_based_on(login, staff, job, received, tune) -> None:
    client = login(Role.TUNER)
    add(client, received, STRAIGHT)
    add(client, tune, CALM)
    make_revision(job, staff[Role.TUNER], 2, made_from=tune)
    assert "38 % less" in shown(client, job)
    make_revision(job, staff[Role.TUNER], 3, made_from=received)  # the calm table is not in this one
    page = shown(client, job)
    assert "% less" not in page
    assert "Rain, tried, not in the bike" in page


def test_tune_difference_describes_changed_tables(login, job, received, tune) -> None:
    client = login(Role.TUNER)
    add(client, received, STRAIGHT)
    add(client, received, STRAIGHT, mode="Track")
    add(client, tune, CALM)
    page = page_of(client.get(reverse("tune-difference", args=[job]), {"from": 0, "to": 1}))
    tables = page.split('id="tables-title"')[1]
    assert "Over the first 20 % of the grip, tune 1 opens 38 % less than the table as received." in tables
    assert "<h3>Track</h3>" not in tables


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (CALM.replace("50\t42\t42", "50\t42\t8"), "At 6000 rpm the plate closes from 12.4 % to 8 %"),
        (
            CALM.replace("\n0\t0\t0", "\n0\t0\t3"),
            "With the grip closed, the plate is 3 % open at 6000 rpm",
        ),
        (CALM.replace("10\t5\t5", "10\t5\t60"), "the plate moves 6.0 times as far as the grip"),
    ],
)
def test_dangerous_table_is_flagged_on_both_pages(login, job, received, text, sentence) -> None:
    client = login(Role.TUNER)
    add(client, received, text)
    assert sentence in shown(client, job)
    section = section_of(client, job)
    assert sentence in section
    assert "state-attention" in section


def test_mode_that_stops_short_of_full_plate_is_by_design(login, job, received) -> None:
    client = login(Role.TUNER)
    add(client, received, CALM.replace("100\t100\t100", "100\t80\t70"))
    page = shown(client, job)
    assert (
        "At full grip the plate stops at 70 % (at 6000 rpm), by design. Plate opening is not torque" in page
    )
    assert "check this" not in page
    assert "state-done" in section_of(client, job)


def test_softer_mode_that_ends_steeper_is_warned_about(login, job, received) -> None:
    """Calm opens 42 to 100 % plate from 50 % grip on: 1.16 % per 1 % of grip, against 1.00."""
    client = login(Role.TUNER)
    add(client, received, CALM, mode="Wet")
    assert "ends steeper" not in shown(client, job)
    add(client, received, STRAIGHT, mode="Sport")
    assert "Wet opens less than Sport at first but ends steeper: 1.16 against 1.00" in shown(client, job)


def test_drift_that_rounds_to_nothing_shows_the_step_of_the_record(login, staff, job, tune) -> None:
    """A plate recorded in steps of 0.1 % that stays put is not known to 0.00 ± 0.00."""
    for grip in (20.0, 40.0):
        make_channel_run(job, staff[Role.TUNER], f"{grip:g}.csv", held_at(grip), tune_revision=tune)
    channels = held_at(60.0)
    channels["plate_pct"] = np.round(channels["plate_pct"] + 0.1 * (channels["time_s"] == 0), 1)
    make_channel_run(job, staff[Role.TUNER], "60.csv", channels, tune_revision=tune)
    page = shown(login(Role.DESK), job)
    assert "± 0.00" not in page
    assert "± less than 0.01, recorded in steps of 0.1 %" in page


def section_of(client: Client, job) -> str:
    page = page_of(client.get(reverse("job", args=[job]), {"open": "all"}))
    return read_html(page, "throttle")


def test_job_page_asks_who_a_mode_suits(login, job, received, tune) -> None:
    client = login(Role.TUNER)
    assert "state-empty" in section_of(client, job)
    add(client, received, for_whom="")
    assert "No rider named for Rain" in section_of(client, job)
    add(client, tune, CALM, for_whom="wet road, new riders")
    section = section_of(client, job)
    assert "state-done" in section
    assert "wet road, new riders" in section
    assert "38 % less" in section


def edit(client: Client, table: ThrottleTable, text: str, version: int, **more):
    sent = {
        "mode": table.mode,
        "for_whom": table.for_whom,
        "table_text": text,
        "version": str(version),
        **more,
    }
    return client.post(reverse("throttle-edit", args=[table.pk]), sent)


def test_table_is_edited_from_its_text_and_removed(login, job, received) -> None:
    client = login(Role.TUNER)
    add(client, received, CALM)
    table = ThrottleTable.objects.get()
    page = page_of(client.get(reverse("throttle-edit", args=[table.pk])))
    assert "20\t12.4\t12.4" in page
    edit(client, table, CALM.replace("42", "44"), 1)
    table.refresh_from_db()
    assert table.plate_pct[3] == [44, 44]
    client.post(reverse("throttle-remove", args=[table.pk]))
    assert not ThrottleTable.objects.exists()


def test_conflicting_table_replaces_the_text_if_unchanged(login, received) -> None:
    add(login(Role.TUNER), received, CALM)
    table = ThrottleTable.objects.get()
    edit(login(Role.OWNER), table, CALM.replace("42", "44"), 1)
    answer = edit(login(Role.TUNER), table, CALM, 1, for_whom="novices")
    assert answer.status_code == 422
    page = page_of(answer)
    assert "Not saved. Ola Owner changed this" in page
    assert "50\t44\t44" in page
    assert 'value="novices"' in page
    touched = page_of(edit(login(Role.TUNER), table, CALM.replace("42", "46"), 1))
    assert "50\t46\t46" in touched


def test_drift_check_distinguishes_drifting_and_steady_plate(login, staff, job, received, tune) -> None:
    """The simulated V-twin opens by 3 % per 1,000 1/min above 4,500 as received, and holds after the work."""
    for when, revision in (("before", received), ("after", tune)):
        make_simulated_runs(job, staff[Role.TUNER], "lodra", when, "held", tune_revision=revision)
    page = shown(login(Role.DESK), job)
    held = page.split('id="held-title"')[1]
    as_received, loaded = find(held, "//h3")[:2]
    assert "follows revs, opening" in read_text(as_received)
    assert "7 held-throttle runs" in held
    assert "holds steady" in read_text(loaded)
    (heading,) = find(page, "//h1")
    assert read_text(heading) == "The plate now holds steady; as received it followed revs"
    slope, half = map(float, re.search(r"\+([\d.]+) ± ([\d.]+) % per 1000 rpm", held).groups())
    # a line for each run, over engine speed
    lines = read_json(page, "held-0")["panels"][0]["series"]
    assert len(lines) == 7
    # over the whole range the straight line is a little flatter than above the start alone
    assert 2 < slope <= 3
    assert half < 0.5
    starts = re.search(r"from about ([\d,]+) rpm", held)
    assert abs(int(starts[1].replace(",", "")) - 4500) < 300


def test_drift_check_ignores_runs_without_plate_and_excluded_runs(login, staff, job, tune) -> None:
    runs = make_simulated_runs(job, staff[Role.TUNER], "lodra", "before", "held", tune_revision=tune)
    for run in runs[:-1]:
        run.set_aside, run.set_aside_reason = True, "strap slipped"
        run.save()
    runs[-1].channel_names.remove("plate_pct")
    runs[-1].save()
    assert "No held-throttle run on this job has time, engine speed, grip and plate." in shown(
        login(Role.DESK), job
    )


def test_idle_is_compared_with_the_engine_spec(login, staff) -> None:
    """As simulated: 130 1/min low and hunting by 65 before, 5 above and steady after the work."""
    job = make_job(bike=make_bike(engine_spec=make_engine(idle_rpm=int(BIKES["marl"].idle_rpm))))
    for when in ("before", "after"):
        make_simulated_runs(job, staff[Role.TUNER], "marl", when, "idle")
    page = shown(login(Role.DESK), job)
    before, after = re.findall(r"Idles at (\d+) ± \d+ rpm, ([\w ,/]+) of 1500 \(engine spec\)", page)
    assert abs(int(before[0].replace(",", "")) - 1370) < 45
    assert "below its target" in before[1]
    assert abs(int(after[0].replace(",", "")) - 1505) < 20
    assert after[1] == "on its target"
    assert re.search(r"and hunts\. Variation \(SD\) \d+ rpm, more than 40\.", page)
    assert re.search(r"and is steady\. Variation \(SD\) \d+ rpm, up to 40\.", page)


def idle_at(mean_rpm: float) -> dict[str, np.ndarray]:
    time_s = np.arange(0, 20, 0.04)
    return {"time_s": time_s, "engine_speed_rpm": mean_rpm + 8 * np.sin(9 * time_s)}


def test_idle_is_judged_by_what_its_tune_sets(login, staff, received, tune) -> None:
    """Tune 1 sets 1450, in this job and the next; what was as received has the target of the engine spec."""
    job = received.job
    job.bike.engine_spec.idle_rpm = 1200
    job.bike.engine_spec.save()
    kind = TuneChangeKind.objects.get(sets=TuneChangeKind.Sets.IDLE)
    TuneChange.objects.create(
        revision=tune, kind=kind, from_value="1200", to_value="1450", unit="1/min", reason="stalled"
    )
    tuner = staff[Role.TUNER]
    for name, mean, revision in (("before.csv", 1205.0, received), ("after.csv", 1448.0, tune)):
        make_channel_run(job, tuner, name, idle_at(mean), kind="idle", tune_revision=revision)
    page = shown(login(Role.DESK), job)
    assert "rpm, on its target of 1200 (engine spec)" in page
    assert "rpm, on its target of 1450 (tune 1)" in page
    later = make_job(bike=job.bike)
    carried = make_revision(later, tuner)
    make_channel_run(later, tuner, "later.csv", idle_at(1200.0), kind="idle", tune_revision=carried)
    assert "250 rpm below its target of 1450 (tune 1)" in shown(login(Role.DESK), later)


def test_idle_without_target_gives_reason(login, staff, job) -> None:
    make_simulated_runs(job, staff[Role.TUNER], "marl", "before", "idle")
    assert "has an idle speed to compare with" in shown(login(Role.DESK), job)


def test_idle_change_is_given_with_its_interval(login, staff, received, tune) -> None:
    job = received.job
    job.bike.engine_spec.idle_rpm = 1300
    job.bike.engine_spec.save()
    for name, mean, revision in (("cold.csv", 1180.0, received), ("warm.csv", 1310.0, tune)):
        time_s = np.arange(0, 20, 0.04)
        # hunts by 30 1/min about its mean: a sine's standard deviation is its height over the root of two
        speed = mean + 30 * np.sqrt(2) * np.sin(2 * np.pi * time_s / 0.8)
        channels = {"time_s": time_s, "engine_speed_rpm": speed}
        make_channel_run(job, staff[Role.TUNER], name, channels, kind="idle", tune_revision=revision)
    page = shown(login(Role.DESK), job)
    change = find(page, "//p[starts-with(normalize-space(), 'From as received to tune 1, idle went')]")
    sentence = read_text(change[0]).partition("went from ")[2]
    assert re.fullmatch(
        r"1180 to 1310 rpm \(\+130 ± \d rpm\), and its variation \(SD\) from 30 to 30 rpm\.", sentence
    )
    assert "off target" in " ".join(read_row(page, "cold.csv"))
    assert "on target" in " ".join(read_row(page, "warm.csv"))


def held_at(grip_pct: float, scale: float = 1.0) -> dict[str, np.ndarray]:
    """Engine speed rises, grip and plate are held alike, torque is 0.6 N·m for each % of them."""
    rng = np.random.default_rng(int(grip_pct))
    time_s = np.arange(0, 8, 0.05)
    still = np.full(time_s.size, grip_pct)
    return {
        "time_s": time_s,
        "engine_speed_rpm": np.linspace(2500, 6500, time_s.size),
        "grip_pct": still,
        "plate_pct": still,
        "torque_nm": scale * 0.6 * still + rng.normal(0, 0.02, time_s.size),
    }


def three_speeds(text: str) -> str:
    """Return the table with its first column repeated as that of 4,000 1/min."""
    lines = [line.split("\t") for line in text.splitlines()]
    return "\n".join(
        "\t".join([line[0], line[1], line[1] if n else "4000", line[2]]) for n, line in enumerate(lines)
    )


def test_torque_by_grip_follows_the_modes_within_the_measured_range(
    login, staff, job, received, tune
) -> None:
    client = login(Role.TUNER)
    straight, calm = (three_speeds(text) for text in (STRAIGHT, CALM))
    add(client, tune, straight, mode="Road")
    add(client, tune, calm, mode="Wet")
    for revision, scale in ((received, 0.5), (tune, 1.0)):
        for grip in (5.0, 20.0, 35.0, 50.0):
            made = {"tune_revision": revision, "made_at": revision.loaded_at}
            name = f"{revision} {grip:g}.csv"
            make_channel_run(job, staff[Role.TUNER], name, held_at(grip, scale), **made)
    page = shown(client, job, rpm="4000")
    assert "From 4 held-throttle runs with tune 1" in page
    torque, steep = read_json(page, "torque-by-grip")["panels"]
    road, wet = torque["series"]
    assert (road["label"], wet["label"]) == ("Road", "Wet")
    at = dict(zip(road["x"], road["y"], strict=True)), dict(zip(wet["x"], wet["y"], strict=True))
    assert at[0][20] == pytest.approx(0.6 * 20, abs=0.15)
    assert at[1][20] == pytest.approx(0.6 * 12.4, abs=0.15)  # by the table 12.4 % plate at 20 % grip
    # plates below 5 and above 50 % were never held
    assert at[0][0] is None
    assert at[1][5] is None
    assert at[0][55] is None
    assert at[1][100] is None
    # by hand between 20 and 50 % grip: 29.6 % of plate in 30 % of grip, times 0.6
    slopes = dict(zip(steep["series"][1]["x"], steep["series"][1]["y"], strict=True))
    assert slopes[35] == pytest.approx(0.6 * 29.6 / 30, abs=0.02)
    rows = page.split("Torque per % of grip in N·m")[1].split("</table>")[0]
    assert "maximum 0.60 at" in rows.split('scope="row">4000')[1]
    # the runs of the tune shown, if it has any
    add(client, received, straight, mode="Road")
    assert "From 4 held-throttle runs with as received" in shown(client, job, rpm="4000", tune="0")


def test_torque_by_grip_from_one_opening_gives_what_is_needed(login, staff, job, tune) -> None:
    client = login(Role.TUNER)
    add(client, tune)
    make_channel_run(job, staff[Role.TUNER], "20.csv", held_at(20.0), tune_revision=tune)
    assert "needs held-throttle runs at two plate openings or more" in shown(client, job)


def test_modes_of_the_selected_tune_are_compared_in_a_chart(login, job, received, tune) -> None:
    client = login(Role.TUNER)
    add(client, received, STRAIGHT)
    add(client, received, CALM, mode="Track")
    add(client, tune, CALM)
    first = shown(client, job, tune="0")
    assert [curve["label"] for curve in read_json(first, "plates")["panels"][0]["series"]] == [
        "Rain",
        "Track",
        "Rain, in the bike",
    ]
    assert "Over the first 20 % of the grip, Track opens 38 % less than Rain." in first
    now = shown(client, job)
    assert [curve["label"] for curve in read_json(now, "plates")["panels"][0]["series"]] == [
        "Rain",
        "Track",
        "Rain, as received",
    ]
    assert "Over the first 20 % of the grip, Track opens like Rain." in now


def test_chart_includes_a_table_that_was_tried_and_not_loaded(login, staff, job, received, tune) -> None:
    client = login(Role.TUNER)
    add(client, received, STRAIGHT)
    add(client, tune, CALM)
    make_revision(job, staff[Role.TUNER], 2, made_from=received)
    series = read_json(shown(client, job), "plates")["panels"][0]["series"]
    assert [(curve["label"], curve["state"]) for curve in series] == [
        ("Rain", "after"),
        ("Rain, tune 1", "aside"),
    ]


def test_linearity_of_plate_and_torque_is_on_page_and_csv(login, staff, job, tune) -> None:
    """Torque is 0.6 N·m for each % of plate, so it is as bent over the grip as the plate is."""
    client = login(Role.TUNER)
    bent = "\t2000\t4000\n0\t0\t0\n25\t6.25\t6.25\n50\t25\t25\n75\t56.25\t56.25\n100\t100\t100\n"
    add(client, tune, bent)
    for grip in (5.0, 20.0, 50.0, 80.0, 100.0):
        name = f"{grip:g}.csv"
        make_channel_run(job, staff[Role.TUNER], name, held_at(grip), kind="held", tune_revision=tune)
    page = shown(client, job, rpm="4000")
    # five points of x²/100 on the line x − 12.5: +12.5 at the ends, −12.5 in the middle
    plate = re.search(r"([+−])12\.5 % from the line at (0|50|100) % grip, ([\d.]+) % on average", page)
    assert float(plate[3]) == pytest.approx(np.sqrt((3 * 12.5**2 + 2 * 6.25**2) / 5), abs=0.06)
    answer = client.get(reverse("throttle-linearity-csv", args=[job]))
    rows = list(csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff"))))
    at_4000 = {row["over the grip"]: row for row in rows if row["engine speed (rpm)"] == "4000.0"}
    # torque is known from 25 % grip on: (b − a)/(6·(a + b)) of the span, with a = 25 and b = 100
    deviation = float(at_4000["torque"]["largest deviation (% of span)"])
    assert abs(deviation) == pytest.approx(10, abs=2)
    assert abs(float(at_4000["plate"]["largest deviation (% of span)"])) == 12.5


def over_run(more_nm: float) -> dict[str, np.ndarray]:
    """Up with the throttle open, then down closed, braking by 3 N·m and 1 more for each 1,000 1/min."""
    speed = np.concatenate([np.linspace(3000, 9000, 600), np.linspace(9000, 4000, 400)])
    grip = np.where(np.arange(1000) < 600, 100.0, 0.0)
    torque = np.where(grip > 0, 60.0, -3 - more_nm - speed / 1000)
    return {
        "time_s": np.arange(1000) * 0.02,
        "engine_speed_rpm": speed,
        "grip_pct": grip,
        "power_kw": torque * speed * np.pi / 30_000,
    }


def test_engine_braking_is_shown_by_tune(login, staff, job, received, tune) -> None:
    for name, more, revision in (("a.csv", 0.0, received), ("b.csv", 2.0, tune)):
        make_channel_run(job, staff[Role.TUNER], name, over_run(more), kind="sweep", tune_revision=revision)
    page = shown(login(Role.DESK), job)
    before, after = read_json(page, "braking")["panels"][0]["series"]
    assert [(curve["label"], curve["state"]) for curve in (before, after)] == [
        ("as received", "before"),
        ("tune 1", "after"),
    ]
    for series, more in ((before, 0.0), (after, 2.0)):
        at = dict(zip(series["x"], series["y"], strict=True))
        assert at[6000] == pytest.approx(-9 - more, abs=0.1)
    assert [cell for cell in read_row(page, "6000") if cell.startswith("−")] == ["−9.0", "−11.0"]
    # 2 N·m apart over 4000 to 9000; with 1 % of 9.5 and of 11.5 N·m assumed, ±1.96·√(0.095² + 0.115²) = 0.29
    assert "Engine braking (overrun), mean of" in page
    assert re.search(r"2\.00\sN·m more \(95 % interval 1\.71\sN·m to 2\.29\sN·m", page)


def test_engine_braking_of_several_runs_has_its_interval(login, staff, job, tune) -> None:
    for number, more in enumerate((0.0, 0.2, 0.4)):
        name = f"{number}.csv"
        make_channel_run(job, staff[Role.TUNER], name, over_run(more), kind="sweep", tune_revision=tune)
    client = login(Role.DESK)
    page = shown(client, job)
    # 9.0, 9.2 and 9.4 N·m at 6,000: mean 9.2, 4.303·0.2/√3 = 0.497
    assert "−9.2 ± 0.5" in read_row(page, "6000")
    assert "low" in read_json(page, "braking")["panels"][0]["series"][0]
    answer = client.get(reverse("overrun-csv", args=[job]))
    rows = {
        row["engine speed (rpm)"]: row for row in csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff")))
    }
    assert float(rows["6000"]["95 % half-width (N·m)"]) == pytest.approx(0.497, abs=0.01)
    assert rows["6000"]["runs"] == "3"


def test_runs_without_overrun_give_no_engine_braking(login, staff, job, tune) -> None:
    make_channel_run(job, staff[Role.TUNER], "20.csv", held_at(20.0), tune_revision=tune)
    assert "Engine braking" not in shown(login(Role.DESK), job)


def test_demo_tables_are_valid(login, received) -> None:
    text = simulator.throttle_table_text(BIKES["tern"], "before")
    assert add(login(Role.TUNER), received, text).status_code == 302
