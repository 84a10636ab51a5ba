"""Importing run files: originals stored, known layouts read at once, columns named once."""

import hashlib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from django.utils import timezone

from jobs.calc.run_file import FileLayoutSpec, StructureOverrides, sniff
from jobs.models import FileLayout, Run
from jobs.runs.channel_files import load_channels, store_channels
from jobs.runs.importing import Outcome, RunDetails, import_run, name_columns, read_original
from tests.factories import make_job
from tests.jobs.run_files import attach_demo, attach_sweep, demo_bytes, demo_runs, sweep_csv
from tests.transactions import watch_transactions
from workshop.models import Role, ShopProfile, StaleRecord
from workshop.stored_files import WholeFileStorage

pytestmark = pytest.mark.django_db

# Nothing in these names says what the columns are, so a person has to.
NAMELESS = b"A;B\n" + b"".join(b"%d;%d\n" % (3000 + 10 * i, 20 + i // 10) for i in range(300))


@pytest.fixture
def tuner(staff):
    return staff[Role.TUNER]


def take(job, by, name: str, data: bytes):
    return import_run(job=job, by=by, name=name, data=data, details=RunDetails())


def name_as(run: Run, *channels: tuple[str, str], called: str = "ours"):
    layout = FileLayoutSpec.from_dict(run.layout_used).with_meanings(dict(enumerate(channels)))
    return name_columns(run=run, layout=layout, remember_as=called)


SPEED_AND_POWER = (("engine_speed_rpm", "rpm"), ("power_kw", "kw"))


def test_file_with_certain_columns_is_read_at_once(tuner) -> None:
    result = attach_sweep(make_job(), tuner, gear=4, temperature_c=20.0)
    assert result.outcome is Outcome.READ
    assert "801 rows imported" in result.sentence
    run = Run.objects.get()
    assert (run.status, run.samples, run.gear, run.temperature_c) == (Run.Status.READ, 801, 4, 20.0)
    speed = load_channels(run, ["engine_speed_rpm"])["engine_speed_rpm"]
    assert (speed[0], speed[-1]) == (3000, 11_000)


def test_original_is_stored_byte_for_byte(tuner) -> None:
    data = demo_bytes(demo_runs("lodra")[0])
    run = take(make_job(), tuner, "a.txt", data).run
    assert read_original(run) == data
    assert run.sha256 == hashlib.sha256(data).hexdigest()
    assert run.size == len(data)


def test_duplicate_file_adds_nothing_under_any_name(tuner) -> None:
    job = make_job()
    attach_sweep(job, tuner)
    again = attach_sweep(job, tuner, name="copy.csv")
    assert again.outcome is Outcome.ATTACHED_BEFORE
    assert again.sentence == "copy.csv has already been uploaded to this job as sweep.csv. Nothing was added."
    assert Run.objects.count() == 1
    assert attach_sweep(make_job(bike=job.bike), tuner).outcome is Outcome.READ


def test_named_columns_apply_to_waiting_and_later_files(tuner) -> None:
    job = make_job()
    first = take(job, tuner, "a.csv", NAMELESS)
    waiting = take(job, tuner, "b.csv", NAMELESS + b"\n")
    assert {first.outcome, waiting.outcome} == {Outcome.TO_NAME}
    named = name_as(first.run, *SPEED_AND_POWER)
    assert named.result.outcome is Outcome.READ
    assert [other.run for other in named.others] == [waiting.run]
    assert set(Run.objects.values_list("status", flat=True)) == {Run.Status.READ}
    assert set(Run.objects.values_list("file_layout__name", flat=True)) == {"ours"}
    assert take(job, tuner, "c.csv", NAMELESS + b"\n\n").outcome is Outcome.READ


def test_waiting_files_of_other_jobs_stay_unread(tuner) -> None:
    job = make_job()
    other = take(make_job(bike=job.bike), tuner, "b.csv", NAMELESS).run
    name_as(take(job, tuner, "a.csv", NAMELESS).run, *SPEED_AND_POWER)
    other.refresh_from_db()
    assert other.status == Run.Status.TO_NAME


@pytest.mark.parametrize(
    "saved_again",
    [
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.replace("\n", "\r\n").encode("utf-16"),
        lambda text: text.encode("utf-16-be"),
    ],
    ids=["UTF-8 with a mark", "UTF-16", "UTF-16 BE without a mark"],
)
def test_remembered_layout_applies_to_other_encodings(tuner, saved_again) -> None:
    job = make_job()
    name_as(take(job, tuner, "a.csv", NAMELESS).run, *SPEED_AND_POWER)
    again = take(job, tuner, "b.csv", saved_again(NAMELESS.decode()))
    assert again.outcome is Outcome.READ
    speed = load_channels(again.run, ["engine_speed_rpm"])["engine_speed_rpm"]
    np.testing.assert_array_equal(speed[:3], [3000, 3010, 3020])


def test_two_columns_of_one_name_are_named_separately(tuner) -> None:
    rows = "".join(f"{3000 + 10 * i},0.90,1.10\n" for i in range(100))
    run = take(make_job(), tuner, "a.csv", f"rpm,lambda,lambda\n{rows}".encode()).run
    for position, value in ((1, 0.90), (2, 1.10)):
        layout = FileLayoutSpec.from_dict(run.layout_used)
        name_columns(
            run=run, layout=layout.with_meanings({position: ("lambda", "lambda")}), remember_as="two"
        )
        run = Run.objects.get()
        assert np.all(load_channels(run, ["lambda"])["lambda"] == value)


def test_chosen_header_line_applies_to_the_next_file(tuner) -> None:
    """The program takes the last line of words for the names; the true ones stand above it."""
    notes = b"Speed;Wheel\nrun by;hand\n"
    rows = NAMELESS.split(b"\n", 1)[1]
    job = make_job()
    first = take(job, tuner, "a.csv", notes + rows).run
    chosen = sniff(notes + rows, "a.csv", StructureOverrides(header_line=1, data_line=3)).layout
    assert [column.name for column in chosen.columns] == ["Speed", "Wheel"]
    named = chosen.with_meanings(dict(enumerate(SPEED_AND_POWER)))
    assert name_columns(run=first, layout=named, remember_as="notes").result.ok
    again = take(job, tuner, "b.csv", notes + rows + b"\n")
    assert again.outcome is Outcome.READ
    assert load_channels(again.run, ["power_kw"])["power_kw"][0] == 20


def test_unreadable_file_is_stored_with_its_refusal(tuner) -> None:
    result = take(make_job(), tuner, "photo.png", b"\x89PNG\r\n\x1a\n" + bytes(100))
    assert result.outcome is Outcome.REFUSED
    run = Run.objects.get()
    assert run.refusal == "photo.png: This is an image, not a data file."
    assert read_original(run).startswith(b"\x89PNG")


def test_layout_that_reads_nothing_leaves_the_run_unchanged(tuner) -> None:
    run = attach_sweep(make_job(), tuner).run
    layout = replace(FileLayoutSpec.from_dict(run.layout_used), header_line=None, data_line=5000)
    named = name_columns(run=run, layout=layout, remember_as="useless")
    assert named.result.outcome is Outcome.REFUSED
    assert named.result.sentence
    run.refresh_from_db()
    assert run.status == Run.Status.READ
    assert not FileLayout.objects.exists()


def test_damaged_remembered_layout_is_ignored(tuner) -> None:
    job = make_job()
    first = take(job, tuner, "a.csv", NAMELESS).run
    FileLayout.objects.create(name="broken", fingerprint=first.layout_used["fingerprint"], layout={})
    assert take(job, tuner, "b.csv", NAMELESS + b"\n").outcome is Outcome.TO_NAME


def test_new_layout_clears_sweep_limits_set_by_hand(tuner) -> None:
    run = attach_sweep(make_job(), tuner).run
    run.sweep_start, run.sweep_stop = 10, 500
    run.save()
    name_columns(run=run, layout=FileLayoutSpec.from_dict(run.layout_used), remember_as="x")
    run.refresh_from_db()
    assert (run.sweep_start, run.sweep_stop) == (None, None)


def test_channels_are_stored_under_any_column_name(tuner) -> None:
    run = attach_sweep(make_job(), tuner).run
    channels = {name: np.arange(5.0) + i for i, name in enumerate(["file", "a/b", "Öl °C", "allow_pickle"])}
    store_channels(run, channels)
    found = load_channels(run, ["a/b", "file", "nothing of ours"])
    np.testing.assert_array_equal(found["a/b"], channels["a/b"])
    np.testing.assert_array_equal(found["file"], channels["file"])
    assert list(found) == ["a/b", "file"]


def test_no_file_is_written_within_a_transaction(transactional_db, tuner, monkeypatch) -> None:
    job = make_job()
    within = watch_transactions(monkeypatch, WholeFileStorage, "_save")
    attach_sweep(job, tuner)
    waiting = [take(job, tuner, f"{end}.csv", NAMELESS + end * b"\n").run for end in range(2)]
    assert len(within) == 4  # two files of the sweep, one of each that waits
    name_as(waiting[0], *SPEED_AND_POWER)
    assert within == [False] * 6


def test_run_that_could_not_be_saved_leaves_the_files_of_the_last_reading(tuner) -> None:
    run = attach_sweep(make_job(), tuner).run
    stale, storage = Run.objects.get(pk=run.pk), run.channels.storage
    run.save()
    with pytest.raises(StaleRecord):
        name_columns(run=stale, layout=FileLayoutSpec.from_dict(run.layout_used), remember_as="x")
    folder = Path(storage.path(run.channels.name)).parent
    assert [path.name for path in folder.glob("*.npz")] == [Path(run.channels.name).name]
    assert load_channels(run, ["engine_speed_rpm"])


def test_missing_channels_give_a_clear_error(tuner) -> None:
    run = attach_sweep(make_job(), tuner).run
    run.channels.storage.delete(run.channels.name)
    with pytest.raises(ValueError, match=r"cannot be opened\. Import its file again"):
        load_channels(run, ["power_kw"])


@pytest.mark.parametrize("bike", ["marl", "tern", "lodra"])
def test_demo_files_are_read_as_their_manifest_says(tuner, bike) -> None:
    job, entries = make_job(), demo_runs(bike)
    for number, entry in enumerate(entries):
        run = attach_demo(job, tuner, entry)
        assert run.status == Run.Status.READ
        assert {column["channel"] for column in entry["columns"]} <= set(run.channel_names)
        # one nod for the first; the others of the kind are read by themselves
        assert FileLayout.objects.count() == 1, number


def test_report_states_the_number_of_rows(tuner) -> None:
    run = attach_sweep(make_job(), tuner, sweep_csv(rows=101)).run
    assert "101 rows read" in run.report["sentences"][0]


def stamped(stamp: str, salt: int = 0) -> bytes:
    return f"Recorded: {stamp}\n".encode() + sweep_csv(salt=salt)


def test_recording_time_is_read_from_the_file_in_the_shops_time_zone(tuner) -> None:
    shop = ShopProfile.current()
    shop.time_zone = "Europe/Paris"
    shop.save()
    result = take(make_job(), tuner, "a.csv", stamped("2024-07-05 14:03:22"))
    assert result.run.made_at == datetime(2024, 7, 5, 12, 3, 22, tzinfo=UTC)
    assert "Recorded 2024-07-05 14:03 (from the file)." in result.sentence


def test_recording_time_in_the_future_is_ignored(tuner) -> None:
    before = timezone.now()
    result = take(make_job(), tuner, "a.csv", stamped("2199-07-05 14:03:22"))
    assert before <= result.run.made_at <= timezone.now()
    assert "from the file" not in result.sentence


def test_entered_time_overrides_the_file_and_is_spread_by_one_second(tuner) -> None:
    entered, job = datetime(2024, 7, 6, 9, 0, tzinfo=UTC), make_job()
    for salt in range(3):
        data = stamped("2024-07-05 14:03:22", salt)
        import_run(job=job, by=tuner, name=f"{salt}.csv", data=data, details=RunDetails(made_at=entered))
    made = [(run.original_name, (run.made_at - entered).total_seconds()) for run in job.runs.all()]
    assert made == [("0.csv", 0), ("1.csv", 1), ("2.csv", 2)]
