"""The process that loads what tasks need once and forks for each: same work, and an end that is noticed."""

import sys
from collections.abc import Iterator
from pathlib import Path
from subprocess import PIPE, Popen

import pytest

from reports.handover.issuing import issue_sheet, issued_pdf
from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet
from tests import factories
from tests.reports import whole_jobs
from tests.workshop.background.deadly_task import die
from workshop.background.processes import TASKS_FD, start_process
from workshop.models import Role

pytestmark = pytest.mark.slow
ROOT = Path(__file__).parents[3]


@pytest.fixture
def forking_process(print_processes, monkeypatch) -> Iterator["Popen[bytes]"]:
    """Start the process as the web server does."""
    with Popen([sys.executable, str(ROOT / "manage.py"), "run_tasks"], stdin=PIPE, cwd=ROOT) as process:
        assert process.stdin is not None
        monkeypatch.setenv(TASKS_FD, str(process.stdin.fileno()))
        yield process


def end(process: "Popen[bytes]") -> None:
    """Let the process end, which waits for what it has started."""
    assert process.stdin is not None
    process.stdin.close()
    assert process.wait() == 0


def test_fork_prints_same_bytes_as_request(forking_process, print_processes, staff) -> None:
    whole_jobs.make_shop(link_days=30)
    job = factories.make_job(intended_use="track_only")
    sheets = [issue_sheet(job=job, by=staff[Role.OWNER], override_reason="for a test") for _ in range(2)]
    end(forking_process)
    assert print_processes == []  # no other process was started
    for number in (sheet.pk for sheet in sheets):
        sheet = HandoverSheet.objects.get(pk=number)
        assert issued_pdf(sheet) == sheet_pdf(sheet.snapshot)


def test_end_of_a_fork_before_its_task_is_reported(forking_process, tmp_path) -> None:
    note = tmp_path / "note"
    start_process(die.module_path, str(note))
    end(forking_process)
    assert note.read_text() == "stopped"


def test_task_gets_a_process_of_its_own_if_none_forks(forking_process, print_processes, tmp_path) -> None:
    end(forking_process)
    note = tmp_path / "note"
    start_process(die.module_path, str(note))
    print_processes[0].wait()
    assert len(print_processes) == 1
