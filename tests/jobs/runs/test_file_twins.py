"""Files with the faults of real ones: right, asked about, or refused with a true sentence; never misread.

Each is made from an invented engine whose curve is known: `tests.calc.run_file_twins`.
"""

from typing import Any

import numpy as np
import pytest
from django.urls import reverse

from jobs.models import Run
from jobs.runs.importing import ImportResult, RunDetails, import_run
from tests.calc.run_file_twins import (
    BARE,
    HEADER,
    PEAK_KW,
    SECOND,
    Samples,
    pull,
    scaled,
    table,
    text,
    whole_run,
)
from tests.factories import make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import get_result
from workshop.models import Role, ShopProfile

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

TWO_PULLS = (PEAK_KW, SECOND * PEAK_KW)


class Upload:
    """Files of one job, uploaded and confirmed by its tuner."""

    def __init__(self, staff: Any, login: Any) -> None:
        self.job, self.tuner, self.client = make_job(), staff[Role.TUNER], login(Role.TUNER)

    def send(self, data: bytes, name: str = "a.csv", **details: Any) -> ImportResult:
        return import_run(job=self.job, by=self.tuner, name=name, data=data, details=RunDetails(**details))

    def open(self, run: Run) -> Any:
        return self.client.get(reverse("run-layout", args=[run.pk]))

    def confirm(self, run: Run, **changed: str) -> Any:
        """Open the page on which the layout is confirmed, look at what is changed, and save it."""
        url = reverse("run-layout", args=[run.pk])
        data = read_form(self.open(run).content.decode(), "//form[.//select]")
        if changed:
            shown = self.client.post(url, {**data, **changed, "look": "1"})
            data = {**read_form(shown.content.decode(), "//form[.//select]"), **changed}
        return self.client.post(url, data)

    def name_once(self, data: bytes) -> None:
        """Have the layout of a kind of file remembered, by a file that is right."""
        result = self.send(data, "first.csv")
        if result.run.status == Run.Status.TO_NAME:
            units = {"column-2-unit": "kw", "column-3-unit": "nm"}  # the header states none
            assert self.confirm(result.run, **units).status_code == 302

    def runs(self) -> list[Run]:
        return list(self.job.runs.order_by("pull", "pk"))

    def peaks(self) -> list[float]:
        shop = ShopProfile.current()
        return [get_result(run, shop).curve.peak_power_kw for run in self.runs()]


@pytest.fixture
def upload(staff, login) -> Upload:
    return Upload(staff, login)


def restart_time(first: Samples, second: Samples) -> Samples:
    return Samples(np.vstack([first.rows, second.rows]))


def lines_without_time(samples: Samples) -> list[str]:
    return [line.split(",", 1)[1] for line in samples.lines()]


def numbered(first: Samples, second: Samples) -> list[str]:
    return [f"{line},{number}" for number, part in ((1, first), (2, second)) for line in part.lines()]


def interleaved(first: Samples, second: Samples) -> list[str]:
    pairs = zip(first.lines(), second.lines(), strict=True)
    return [f"{line},{number}" for pair in pairs for number, line in enumerate(pair, start=1)]


def two_pulls_in_every_form() -> dict[str, bytes]:
    one, two = pull(), pull(SECOND, seed=5)
    no_time = HEADER.split(",", 1)[1]
    return {
        "overrun": text((whole_run() + whole_run(SECOND)).lines()),
        "nothing": text((one + two).lines()),
        "nothing, stronger first": text((two + one).lines()),
        "no time": text(lines_without_time(one + two), no_time),
        "restarting time": text(restart_time(one, two).lines()),
        "second header": text([*one.lines(), HEADER, *two.lines()]),
        "title line": text([*one.lines(), "Run 2", *two.lines()]),
        "title, blank line and header": text([*one.lines(), "", "Run 2", HEADER, *two.lines()]),
        "stacked tables": text(restart_time(table(step_rpm=100), table(SECOND, 100)).lines()),
        "run number": text(numbered(one, two), f"{HEADER},Run"),
        "vehicle number, rows in turn": text(interleaved(one, two), f"{HEADER},Vehicle no."),
        "rows in turn without a number": text(
            [
                line.split(",", 1)[1]
                for pair in zip(table(step_rpm=100).lines(), table(SECOND, 100).lines(), strict=True)
                for line in pair
            ],
            no_time,
        ),
        "tables stored last row first": text(
            lines_without_time(
                restart_time(Samples(table(step_rpm=100).rows[::-1]), Samples(table(SECOND, 100).rows[::-1]))
            ),
            no_time,
        ),
        "20 a second": text((pull(rate_hz=20) + pull(SECOND, rate_hz=20, seed=5)).lines()),
    }


@pytest.mark.parametrize("form", two_pulls_in_every_form())
def test_two_pulls_become_a_run_each_when_confirmed(upload, form) -> None:
    result = upload.send(two_pulls_in_every_form()[form], gear=4, temperature_c=20.0)
    assert "holds 2 pulls" in result.sentence
    assert upload.job.runs.get().status == Run.Status.TO_NAME  # nothing is read before the nod
    page = read_text(upload.open(result.run))
    assert "Pulls in this file" in page
    assert upload.confirm(result.run).status_code == 302
    peaks = upload.peaks()
    expected = sorted(TWO_PULLS) if form != "nothing, stronger first" else sorted(TWO_PULLS, reverse=True)
    # 0.5 %: noise of the samples, and the curve's own smoothing
    np.testing.assert_allclose(peaks, expected, rtol=0.005)
    assert [run.pull for run in upload.runs()] == [1, 2]
    assert {(run.gear, run.temperature_c) for run in upload.runs()} == {(4, 20.0)}
    assert [str(run) for run in upload.runs()] == ["Sweep, gear 4: a, pull 1", "Sweep, gear 4: a, pull 2"]


def test_pulls_are_shown_with_samples_speeds_and_time(upload) -> None:
    result = upload.send(text((whole_run() + whole_run(SECOND)).lines()))
    pulls = upload.open(result.run).context["page"].preview.pulls
    assert [one.samples for one in pulls] == [pytest.approx(1351, abs=5)] * 2
    assert [one.first for one in pulls] == [1, pytest.approx(1352, abs=5)]
    for one in pulls:
        assert one.from_speed == pytest.approx(3_000, abs=50)
        assert one.to_speed == pytest.approx(11_200, abs=60)
        assert one.duration_s == pytest.approx(9, abs=0.1)


def test_pulls_in_one_run_give_the_curve_of_one_pull_and_say_so(upload) -> None:
    result = upload.send(text((pull() + pull(SECOND, seed=5)).lines()))
    assert upload.confirm(result.run, pulls="whole").status_code == 302
    (run,) = upload.runs()
    found = get_result(run, ShopProfile.current())
    assert found.curve.peak_power_kw == pytest.approx(PEAK_KW, rel=0.005)
    assert "holds another pull" in " ".join(flag.sentence for flag in found.flags)


def test_remembered_layout_still_asks_about_two_pulls(upload) -> None:
    upload.name_once(text(pull().lines(), BARE))
    result = upload.send(text((pull(seed=7) + pull(SECOND)).lines(), BARE), "b.csv")
    assert result.run.status == Run.Status.TO_NAME
    assert "b.csv is not imported yet. This file holds 2 pulls." in result.sentence
    page = read_text(upload.client.get(reverse("run", args=[result.run.pk])))
    assert "This file holds 2 pulls." in page


def test_pulls_of_one_file_are_read_again_together(upload) -> None:
    result = upload.send(text((pull() + pull(SECOND, seed=5)).lines()))
    upload.confirm(result.run)
    second = upload.runs()[1]
    assert "This run is pull 2 of 2 in its file" in read_text(upload.open(second))
    assert upload.confirm(second, **{"column-2-unit": "hp"}).status_code == 302
    # 1 hp is 0.7457 kW (NIST SP 811, appendix B.8); the curve is made from the power
    np.testing.assert_allclose(upload.peaks(), np.array(TWO_PULLS) * 0.7457, rtol=0.005)
    assert len(upload.runs()) == 2


def test_file_whose_pulls_are_runs_is_not_attached_again(upload) -> None:
    data = text((pull() + pull(SECOND, seed=5)).lines())
    upload.confirm(upload.send(data).run)
    assert "already been uploaded to this job" in upload.send(data).sentence
    assert len(upload.runs()) == 2


def test_removing_one_pull_leaves_the_other_with_its_file(upload) -> None:
    data = text((pull() + pull(SECOND, seed=5)).lines())
    upload.confirm(upload.send(data).run)
    first, second = upload.runs()
    upload.client.post(reverse("run-remove", args=[first.pk]))
    answer = upload.client.get(reverse("run-file", args=[second.pk]))
    assert b"".join(answer.streaming_content) == data


@pytest.mark.parametrize("kind", [Run.Kind.IDLE, Run.Kind.OTHER])
def test_other_kinds_of_run_are_not_asked_about_pulls(upload, kind) -> None:
    result = upload.send(text((whole_run() + whole_run(SECOND)).lines()), kind=kind)
    assert result.run.status == Run.Status.READ


def test_blip_before_the_pull_is_no_pull(upload) -> None:
    blip = pull().rows[::40].copy()
    blip[:, 0] = np.arange(len(blip)) / 100
    result = upload.send(text((Samples(blip) + whole_run()).lines()))
    assert result.run.status == Run.Status.READ
    assert upload.peaks() == [pytest.approx(PEAK_KW, rel=0.005)]


# --- a remembered layout silences no doubt


def bare(samples: Samples, **factors: float) -> bytes:
    return text(scaled(samples, **factors).lines(), BARE)


def drop_cell(samples: Samples, position: int) -> list[str]:
    cells = [line.split(",") for line in samples.lines()]
    return [",".join([*row[:position], *row[position + 1 :]]) for row in cells]


HP, PS, LBF_FT = 0.745699872, 0.73549875, 1.3558179483  # kW, kW, N·m: NIST SP 811, appendix B.8


def doubtful_files_of_a_known_kind() -> dict[str, tuple[bytes, str]]:
    other = pull(SECOND, seed=9)
    return {
        "value missing at the start": (
            text(drop_cell(other, 0), BARE),
            "has 6 columns, but the rows have 5",
        ),
        "value missing in the middle": (
            text(drop_cell(other, 2), BARE),
            "has 6 columns, but the rows have 5",
        ),
        "value too many": (text([f"7,{line}" for line in other.lines()], BARE), "but the rows have 7"),
        "krpm": (bare(other, speed=0.001), "never rises above 11.2 rpm"),
        "hp": (bare(other, power=1 / HP), "power may be in hp or PS"),
        "lbf·ft": (bare(other, torque=1 / LBF_FT), "torque in lbf·ft"),
        "hp and lbf·ft": (bare(other, power=1 / HP, torque=1 / LBF_FT), "not in the unit its header says"),
        "ms": (bare(other, time=1000), "Is its unit ms in this file?"),
        "grip as a fraction": (bare(other, grip=0.01), "Is its unit 0–1 in this file?"),
        "columns in another place": (
            text([",".join(np.roll(line.split(","), 1)) for line in other.lines()], BARE),
            "not plausible",
        ),
    }


@pytest.mark.parametrize("fault", doubtful_files_of_a_known_kind())
def test_remembered_layout_asks_about_a_doubtful_file(upload, fault) -> None:
    data, sentence = doubtful_files_of_a_known_kind()[fault]
    upload.name_once(text(pull().lines(), BARE))
    result = upload.send(data, "b.csv")
    assert result.run.status == Run.Status.TO_NAME
    assert sentence in result.sentence
    page = read_text(upload.open(result.run))
    assert sentence in page
    # what the columns were named for stays, with three of their cells and the range of each
    assert "selected>engine speed</option>" in upload.open(result.run).content.decode()


def test_next_good_file_is_read_at_once(upload) -> None:
    upload.name_once(text(pull().lines(), BARE))
    result = upload.send(bare(whole_run(SECOND)), "b.csv")
    assert result.run.status == Run.Status.READ
    assert not result.run.report["questions"]


def test_power_without_torque_is_compared_with_the_file_before(upload) -> None:
    header = BARE.replace("Torque,", "")
    first = text(drop_cell(pull(), 3), header)
    result = upload.send(first)
    assert upload.confirm(result.run, **{"column-2-unit": "kw"}).status_code == 302
    in_ps = text(drop_cell(scaled(pull(SECOND, seed=4), power=1 / PS), 3), header)
    asked = upload.send(in_ps, "b.csv")
    assert "Is its unit hp in this file?" in asked.sentence or "Is its unit PS" in asked.sentence
    assert upload.confirm(asked.run, **{"column-2-unit": "ps"}).status_code == 302
    np.testing.assert_allclose(upload.peaks(), TWO_PULLS, rtol=0.005)


def test_page_shows_three_cells_and_the_range_of_each_column(upload) -> None:
    upload.name_once(text(pull().lines(), BARE))
    run = upload.send(bare(pull(SECOND), speed=0.001), "b.csv").run
    page = read_text(upload.open(run))
    assert "3.0 · 3.0 · 3.0" in page
    assert "3 to 11.2 rpm" in page


def test_answer_to_a_doubt_is_what_is_read(upload) -> None:
    upload.name_once(text(pull().lines(), BARE))
    run = upload.send(bare(pull(SECOND), speed=0.001), "b.csv").run
    assert upload.confirm(run, **{"column-1-unit": "krpm"}).status_code == 302
    run.refresh_from_db()
    shop = ShopProfile.current()
    assert get_result(run, shop).curve.peak_power_kw == pytest.approx(SECOND * PEAK_KW, rel=0.005)


# --- rows that begin with an empty cell, are short, or lie between odd line ends


def empty_first(lines: list[str]) -> list[str]:
    return ["," + line.split(",", 1)[1] for line in lines]


def whole_files_in_odd_form() -> dict[str, bytes]:
    lines = whole_run().lines()
    parts = [[HEADER, *lines[:400]], lines[400:800], lines[800:]]
    short = [line.rsplit(",", 1)[0] for line in lines[-5:]]
    ends = ("\r\n", "\n", "\r")
    return {
        "three line ends": "".join(
            f"{line}{end}" for part, end in zip(parts, ends, strict=True) for line in part
        ).encode(),
        "lone returns first": "".join(
            f"{line}{end}" for part, end in zip(parts, ends[::-1], strict=True) for line in part
        ).encode(),
        "last rows begin with an empty cell": text([*lines[:-5], *empty_first(lines[-5:])]),
        "last rows begin empty and are short": text([*lines[:-5], *empty_first(short)]),
        "last rows are short": text([*lines[:-5], *short]),
        "first row is short": text([lines[0].rsplit(",", 2)[0], *lines[1:]]),
        "every row begins with an empty cell": text([f",{line}" for line in lines], f"Note,{HEADER}"),
    }


@pytest.mark.parametrize("form", whole_files_in_odd_form())
def test_no_row_is_lost_to_its_form(upload, form) -> None:
    result = upload.send(whole_files_in_odd_form()[form])
    if result.run.status == Run.Status.TO_NAME:
        assert upload.confirm(result.run).status_code == 302
    run = upload.runs()[0]
    assert run.report["rows"] == run.samples == len(whole_run().rows)
    assert upload.peaks() == [pytest.approx(PEAK_KW, rel=0.005)]


def files_that_lose_rows() -> dict[str, tuple[bytes, str]]:
    lines = whole_run().lines()

    def every_tenth(change: Any) -> bytes:
        return text([change(line) if i % 10 == 5 else line for i, line in enumerate(lines)])

    return {
        "unreadable rows": (
            every_tenth(lambda line: ",".join(["ERR"] * 6)),
            "135 of 1351 rows (10.0 %) are skipped",
        ),
        "short rows": (
            every_tenth(lambda line: ",".join(line.split(",")[:4])),
            "135 of 1351 rows (10.0 %) are shorter than the header",
        ),
        "long rows": (
            every_tenth(lambda line: f"{line},1,2"),
            "135 of 1351 rows (10.0 %) are longer than the header",
        ),
        "unreadable cells": (
            every_tenth(lambda line: line.replace(line.split(",")[2], "#DIV/0!")),
            "Column 3 ('Power'): 135 of 1351 cells (10.0 %) could not be read.",
        ),
    }


@pytest.mark.parametrize("form", files_that_lose_rows())
def test_loss_is_said_before_the_run_is_stored_and_in_the_run_table(upload, form) -> None:
    data, sentence = files_that_lose_rows()[form]
    result = upload.send(data)
    assert result.run.status == Run.Status.TO_NAME
    assert sentence in result.sentence
    assert sentence in read_text(upload.open(result.run))
    answer = upload.confirm(result.run)
    assert sentence in read_text(upload.client.get(answer.url))  # the message after storing
    assert sentence in read_text(upload.client.get(reverse("runs", args=[upload.job])))


def test_few_rows_left_out_are_in_the_message(upload) -> None:
    lines = whole_run().lines()
    result = upload.send(text([*lines[:700], "--- pause ---", *lines[700:], "made by hand"]))
    assert "1351 rows imported, 2 skipped. Check the page of the run." in result.sentence


def test_second_table_with_other_columns_is_asked_about(upload) -> None:
    other = "Time [s],Torque [Nm],Engine speed [rpm],Power [kW],Throttle grip [%],Lambda"
    lines = pull(SECOND).lines()
    result = upload.send(text([*pull().lines(), other, *lines]))
    assert "Line 903 looks like another header" in result.sentence
    assert result.run.status == Run.Status.TO_NAME


@pytest.mark.parametrize("header", ["RPM,Power,RPM,Power", "RPM 1,Power 1,RPM 2,Power 2", "n,kW,n,kW"])
def test_runs_side_by_side_are_asked_about(upload, header) -> None:
    one, two = table(step_rpm=50).rows, table(SECOND, 50).rows
    rows = [f"{a[1]:.0f},{a[2]:.3f},{b[1]:.0f},{b[2]:.3f}" for a, b in zip(one, two, strict=True)]
    run = upload.send(text(rows, header)).run
    assert run.status == Run.Status.TO_NAME
    named = {"column-0-channel": "engine_speed_rpm", "column-0-unit": "rpm"}
    named |= {"column-1-channel": "power_kw", "column-1-unit": "kw"}
    named |= {f"column-{position}-channel": "" for position in (2, 3)}
    url = reverse("run-layout", args=[run.pk])
    shown = upload.client.post(
        url, {**read_form(upload.open(run).content.decode(), "//form[.//select]"), **named, "look": "1"}
    )
    assert "Only one run can be imported from columns side by side" in read_text(shown)


# --- rows out of order


def rows_out_of_order() -> dict[str, Samples]:
    rows = whole_run().rows
    return {
        "blocks exchanged": Samples(np.vstack([rows[500:1_000], rows[:500], rows[1_000:]])),
        "shuffled": Samples(np.random.default_rng(4).permutation(rows)),
    }


@pytest.mark.parametrize("form", rows_out_of_order())
def test_rows_out_of_order_are_sorted_by_their_time(upload, form) -> None:
    result = upload.send(text(rows_out_of_order()[form].lines()))
    assert "have been sorted" in result.sentence
    assert upload.confirm(result.run).status_code == 302
    assert upload.peaks() == [pytest.approx(PEAK_KW, rel=0.005)]


def test_shuffled_rows_without_time_are_asked_about(upload) -> None:
    shuffled = rows_out_of_order()["shuffled"]
    result = upload.send(text(lines_without_time(shuffled), HEADER.split(",", 1)[1]))
    assert "the file has no time column" in result.sentence
    assert result.run.status == Run.Status.TO_NAME


# --- numbers that stand for no value


SENTINELS = ["65535", "6553.5", "32767", "-32768", "4294967295", "2147483647", "3.402823E+38", "-32.768"]
NAMES = HEADER.split(",")


@pytest.mark.parametrize("cell", SENTINELS)
@pytest.mark.parametrize("position", [0, 1, 2, 4])
def test_numbers_that_stand_for_no_value_are_not_measured(upload, position, cell) -> None:
    stands_for_none = {
        0: cell.startswith(("4294", "2147", "3.4")),  # a time of 65,535 ms is one
        1: cell != "6553.5",  # an engine turns so
        2: cell != "-32.768",  # a motor brakes so
        4: True,
    }[position]
    if not stands_for_none:
        return
    lines = [line.split(",") for line in whole_run().lines()]
    for row in lines[150:1_050:60]:
        row[position] = cell
    result = upload.send(text(",".join(row) for row in lines))
    assert result.run.status == Run.Status.READ
    assert upload.peaks() == [pytest.approx(PEAK_KW, rel=0.005)]
    sentences = " ".join(question["sentence"] for question in result.run.report["questions"])
    assert f"Column {position + 1} ('{NAMES[position].split(' [')[0]}'): 15 cells hold " in sentences
    assert "which means no value" in sentences
    assert "Check the page of the run." in result.sentence


def test_true_values_that_look_like_the_end_of_a_number_stay(upload) -> None:
    """32.767 kW and 6,553.5 1/min are what this engine does."""
    lines = [line.split(",") for line in pull().lines()]
    lines[390][1], lines[390][2] = "6553.5", "47.5"
    lines[200][2] = "32.767"
    result = upload.send(text(",".join(row) for row in lines))
    assert not result.run.report["questions"]


def test_cells_of_infinity_are_not_measured_and_named(upload) -> None:
    lines = [line.split(",") for line in whole_run().lines()]
    for row in lines[150:1_050:90]:
        row[2] = "inf"
    result = upload.send(text(",".join(row) for row in lines))
    assert upload.peaks() == [pytest.approx(PEAK_KW, rel=0.005)]
    assert "Column 3 ('Power'): 10 cells are no number" in " ".join(result.run.report["sentences"])


# --- one sweep in other forms


def with_gear_change(gap_s: float) -> Samples:
    """First gear from 6,000 to 11,200 1/min, the change, then the whole pull in the next gear."""
    first = pull(seed=8).part(slice(330, 901))
    steps = round(gap_s * 100)
    fall = first.rows[-1:].repeat(steps, axis=0)
    fall[:, 0], fall[:, 1] = np.arange(steps) / 100, np.linspace(11_000, 3_100, steps)
    fall[:, 2:5] = [-3.0, -4.0, 0.0]
    start = first.rows.copy()
    start[:, 0] -= start[0, 0]
    return Samples(start) + Samples(fall) + pull()


def one_sweep_in_every_form() -> dict[str, bytes]:
    rows = pull().rows
    falling = np.column_stack([rows[:, 0], rows[::-1, 1:]])
    return {
        "stored last first": text(Samples(whole_run().rows[::-1]).lines()),
        "falling, with rising time": text(Samples(falling).lines()),
        "falling, without time": text(lines_without_time(Samples(rows[::-1])), HEADER.split(",", 1)[1]),
        "gear change": text(with_gear_change(0.25).lines()),
        "quick gear change": text(with_gear_change(0.06).lines()),
        "1,000 a second, noisy": text(pull(rate_hz=1_000).lines()),
        "cut off inside a figure": text(whole_run().lines())[:-20],
    }


@pytest.mark.parametrize("form", one_sweep_in_every_form())
def test_one_sweep_gives_its_true_peak(upload, form) -> None:
    result = upload.send(one_sweep_in_every_form()[form])
    if result.run.status == Run.Status.TO_NAME:  # a gear change looks like two pulls
        assert "gear change" in form
        assert upload.confirm(result.run, pulls="whole").status_code == 302
    assert upload.peaks() == [pytest.approx(PEAK_KW, rel=0.005)]


@pytest.mark.parametrize(
    ("factor", "sentence"),
    [({"power": 1 / PS}, "power may be in hp or PS"), ({"speed": 0.001}, "never rises above 11.2 rpm")],
)
def test_units_that_contradict_a_stated_one_are_asked_about(upload, factor, sentence) -> None:
    result = upload.send(text(scaled(whole_run(), **factor).lines()))
    assert result.run.status == Run.Status.TO_NAME
    assert sentence in result.sentence


def test_naming_one_file_leaves_the_doubtful_ones_waiting_with_their_columns_named(upload) -> None:
    first = upload.send(text(pull().lines(), BARE), "first.csv").run
    two_pulls = upload.send(text((pull(seed=7) + pull(SECOND)).lines(), BARE), "two.csv").run
    in_krpm = upload.send(text(scaled(pull(seed=9), speed=0.001).lines(), BARE), "krpm.csv").run
    good = upload.send(text(pull(SECOND, seed=4).lines(), BARE), "good.csv").run
    upload.confirm(first, **{"column-2-unit": "kw", "column-3-unit": "nm"})
    for run, status in (
        (good, Run.Status.READ),
        (two_pulls, Run.Status.TO_NAME),
        (in_krpm, Run.Status.TO_NAME),
    ):
        run.refresh_from_db()
        assert run.status == status, run
    assert {column["unit"] for column in two_pulls.layout_used["columns"]} >= {"kw", "nm"}
    waiting = read_text(upload.client.get(reverse("run", args=[in_krpm.pk])))
    assert "never rises above 11.2 rpm" in waiting
    assert upload.confirm(two_pulls).status_code == 302
    assert upload.job.runs.filter(original_name="two.csv", status=Run.Status.READ).count() == 2
