"""Attach run files to a job from the command line, exactly as the page does."""

import argparse
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from jobs.job.sentences import counted
from jobs.models import Job, Run
from jobs.runs.file_correction import CORRECTION_CHOICES
from jobs.runs.forms import initial_from_last_run
from jobs.runs.importing import Outcome, RunDetails, import_run, size_refusal
from workshop.models import Role, StaffMember


class Command(BaseCommand):
    help = "Import run files, or all files in a folder, into a job."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("job", help="number of the job, such as 2026-014")
        parser.add_argument("files", nargs="+", type=Path, help="files, or folders of files")
        parser.add_argument("--by", required=True, help="user name of the tuner who made the runs")
        parser.add_argument(
            "--kind", choices=Run.Kind.values, default="", help="by default as each file shows"
        )
        parser.add_argument("--gear", type=int)
        parser.add_argument("--temperature-c", type=float)
        parser.add_argument(
            "--pressure-kpa", type=float, help="barometer (absolute), not corrected to sea level"
        )
        parser.add_argument("--humidity-pct", type=float)
        parser.add_argument(
            "--corrected-by",
            choices=[key for key, _ in CORRECTION_CHOICES],
            default="",
            help="correction already applied in the file; 'observed' if none",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        job = Job.objects.filter(number=options["job"]).first()
        if job is None:
            raise CommandError(f"No job has the number {options['job']}.")
        by = StaffMember.objects.filter(username=options["by"], is_active=True).first()
        if by is None or not by.holds(Role.TUNER):
            raise CommandError(f"{options['by']} is not an active tuner.")
        details = parse_details(job, options)
        refused = sum(not self.import_file(job, by, path, details) for path in list_files(options["files"]))
        if refused:
            raise CommandError(f"Not imported: {counted(refused, 'file')}.", returncode=1)

    def import_file(self, job: Job, by: StaffMember, path: Path, details: RunDetails) -> bool:
        """Import a file; return whether it can be read, now or once its columns are named."""
        try:
            problem = size_refusal(path.name, path.stat().st_size)
            if not problem:
                result = import_run(job=job, by=by, name=path.name, data=path.read_bytes(), details=details)
                self.stdout.write(f"{result.outcome}: {result.sentence}")
                return result.outcome is not Outcome.REFUSED
        except OSError as error:
            problem = f"{path.name}: {error.strerror or error}."
        self.stderr.write(f"refused: {problem}")
        return False


def list_files(paths: Iterable[Path]) -> Iterator[Path]:
    """Return the files named, and those in the folders named, sorted by name."""
    for path in paths:
        if path.is_dir():
            yield from sorted(inside for inside in path.iterdir() if inside.is_file())
        else:
            yield path


def parse_details(job: Job, options: dict[str, Any]) -> RunDetails:
    """Parse the run details in the options; the tune is the one loaded last.

    Raises
    ------
    CommandError
        An implausible value, or incomplete air data.
    """
    given = {
        name: options[name] for name in ("kind", "gear", "temperature_c", "pressure_kpa", "humidity_pct")
    }
    air = [name for name in ("temperature_c", "pressure_kpa", "humidity_pct") if given[name] is not None]
    if len(air) not in (0, 3):
        raise CommandError("Enter temperature, pressure and humidity, or leave out all three.")
    try:
        for name, value in given.items():
            if value not in (None, ""):
                Run._meta.get_field(name).run_validators(value)  # type: ignore[union-attr]  # no relation is asked
    except ValidationError as error:
        raise CommandError(f"{name.replace('_', '-')}: {' '.join(error.messages)}") from error
    given["corrected_by"] = options["corrected_by"]
    return RunDetails(**given, tune_revision=initial_from_last_run(job)["tune_revision"])
