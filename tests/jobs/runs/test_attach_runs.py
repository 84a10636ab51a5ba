"""manage.py attach_runs: exactly what the page does, from a folder."""

import shutil
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from jobs.models import Run, TuneRevision
from tests.factories import make_job
from tests.jobs.run_files import DEMO, attach_demo, demo_runs, sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def people(staff):
    return staff


def call(job: Any, *files: Path, **options: Any) -> tuple[str, str, int]:
    """Run the command and return its output, its errors and its exit code."""
    out, err = StringIO(), StringIO()
    code = 0
    try:
        call_command("attach_runs", str(job), *map(str, files), by="tuner", stdout=out, stderr=err, **options)
    except CommandError as error:
        code = error.returncode
        err.write(str(error))
    return out.getvalue(), err.getvalue(), code


def test_command_imports_files_and_folders_in_name_order(people, tmp_path) -> None:
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "b.csv").write_bytes(sweep_csv(salt=2))
    (folder / "a.csv").write_bytes(sweep_csv(salt=1))
    single = tmp_path / "single.csv"
    single.write_bytes(sweep_csv())
    given = {"kind": "held", "gear": 4, "temperature_c": 21.0, "pressure_kpa": 100.5, "humidity_pct": 40.0}
    out, _, code = call(make_job(), single, folder, **given)
    assert code == 0
    assert out.splitlines() == [
        f"read: {name}: 801 rows imported." for name in ("single.csv", "a.csv", "b.csv")
    ]
    kept = set(Run.objects.values_list("kind", "gear", "temperature_c", "pressure_kpa", "humidity_pct"))
    assert kept == {("held", 4, 21.0, 100.5, 40.0)}
    assert set(Run.objects.values_list("made_by__username", flat=True)) == {"tuner"}


def test_command_uses_known_layout_and_loaded_tune(people, tmp_path) -> None:
    job, tuner = make_job(), people[Role.TUNER]
    entries = demo_runs("tern")
    attach_demo(job, tuner, entries[0])
    tune = TuneRevision.objects.create(job=job, number=0, loaded_by=tuner)
    shutil.copy(DEMO / entries[1]["file"], tmp_path)
    assert call(job, tmp_path)[2] == 0
    run = Run.objects.get(original_name=entries[1]["file"])
    assert (run.status, run.tune_revision) == (Run.Status.READ, tune)


def test_refused_file_is_named_and_the_others_are_imported(people, tmp_path, settings) -> None:
    (tmp_path / "good.csv").write_bytes(sweep_csv())
    (tmp_path / "photo.png").write_bytes(b"\x89PNG\r\n" + bytes(30))
    out, err, code = call(make_job(), tmp_path, tmp_path / "missing.csv")
    assert code == 1
    assert "read: good.csv" in out
    assert "cannot be read: photo.png: This is an image" in out
    assert "missing.csv: No such file or directory" in err
    assert Run.objects.filter(status=Run.Status.REFUSED).count() == 1


def test_command_refuses_a_large_file_unread(people, tmp_path, settings) -> None:
    settings.RUN_FILE_LIMIT = 100
    (tmp_path / "large.csv").write_bytes(sweep_csv())
    _, err, code = call(make_job(), tmp_path)
    assert code == 1
    assert "Export a shorter part or fewer columns" in err
    assert not Run.objects.exists()


def test_second_call_adds_nothing_and_succeeds(people, tmp_path) -> None:
    (tmp_path / "a.csv").write_bytes(sweep_csv())
    job = make_job()
    call(job, tmp_path)
    out, _, code = call(job, tmp_path)
    assert code == 0
    assert out == "already uploaded: a.csv has already been uploaded to this job. Nothing was added.\n"
    assert Run.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"temperature_c": 90.0, "pressure_kpa": 100.0, "humidity_pct": 40.0}, "temperature-c: "),
        ({"temperature_c": 20.0}, "Enter temperature, pressure and humidity"),
        ({"gear": 12}, "gear: "),
    ],
)
def test_invalid_options_are_refused_before_any_file(people, tmp_path, given, sentence) -> None:
    (tmp_path / "a.csv").write_bytes(sweep_csv())
    _, err, code = call(make_job(), tmp_path, **given)
    assert code == 1
    assert sentence in err
    assert not Run.objects.exists()


def test_command_requires_a_known_job_and_an_active_tuner(people, tmp_path) -> None:
    assert "No job has the number 2026-999" in call("2026-999", tmp_path)[1]
    with pytest.raises(CommandError, match="not an active tuner"):
        call_command("attach_runs", str(make_job()), str(tmp_path), by="mechanic")
