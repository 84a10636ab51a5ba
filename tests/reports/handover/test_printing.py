"""Printing by a process, a worker or within the request: progress, faults, one PDF of the same bytes."""

import errno
import hashlib
import os
import signal
import sys
import threading
from collections.abc import Callable
from datetime import timedelta
from shutil import rmtree
from subprocess import Popen
from typing import Any

import pytest
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.management.commands.db_worker import Worker
from django_tasks_db.models import DBTaskResult

from jobs.models import Job
from reports import tasks
from reports.handover.issuing import PdfUnavailable, PrintingInProgress, issue_sheet, issued_pdf
from reports.handover.sheet import sheet_pdf
from reports.models import HandoverSheet, Printing, SheetLink
from reports.models.printing import MAX_STEP_TIME, MAX_WAITING_TIME, PrintingQuerySet
from reports.system_checks import check_task_tables
from reports.typesetting.pdf import loaded_fonts
from tests import factories
from tests.reports import whole_jobs
from workshop.background.abandoned import take_up_abandoned
from workshop.background.processes import THREAD_NAME
from workshop.models import Role

WORKER = {"BACKEND": "django_tasks_db.DatabaseBackend"}
Step = Printing.Step


@pytest.fixture
def job(staff) -> Job:
    """Make a job of a bike that has not arrived, so that its sheet is short."""
    whole_jobs.make_shop(link_days=30)
    return factories.make_job(intended_use="track_only")


@pytest.fixture
def with_worker(settings) -> None:
    settings.TASKS = {**settings.TASKS, "default": WORKER}


def issue(job: Job, staff: dict[Role, Any], **more: Any) -> HandoverSheet:
    return issue_sheet(job=job, by=staff[Role.OWNER], override_reason="for a test", **more)


def run_worker() -> None:
    """Let a worker do what waits, but for its loop, which would end the test's own transaction."""
    worker = Worker(
        queue_names=["default"],
        excluded_queue_names=[],
        interval=0,
        batch=True,
        backend_name="default",
        startup_delay=False,
        max_tasks=None,
        worker_id="one",
    )
    for waiting in DBTaskResult.objects.ready():
        waiting.claim(worker.worker_id)
        worker.run_task(waiting)


def stopped(problem: BaseException) -> Callable[..., bytes]:
    def stop(*args: Any, **kwargs: Any) -> bytes:
        raise problem

    return stop


def lay_back(sheet: HandoverSheet, **how: Any) -> None:
    """As if it had been left so for an hour."""
    Printing.objects.filter(sheet=sheet).update(moved_at=timezone.now() - timedelta(hours=1), **how)


def handover_page(client: Client, job: Job) -> str:
    return client.get(reverse("handover", args=[job.number])).content.decode()


def wait_for_end(process: "Popen[bytes]") -> None:
    """Wait until a process has ended and the site has seen it."""
    for thread in threading.enumerate():
        if thread.name == THREAD_NAME:
            thread.join()
    with pytest.raises(ChildProcessError):  # it is reaped: no zombie is left
        os.waitpid(process.pid, 0)


@pytest.mark.slow
def test_process_prints_same_bytes_as_request(print_processes, login, job):
    data = {"issue_number": 1, "override_reason": "for a test"}
    client = login(Role.OWNER)
    answer = client.post(reverse("handover-issue", args=[job.number]), data, follow=True)
    assert "is issued. The PDF is being created" in answer.content.decode()
    (process,) = print_processes
    wait_for_end(process)
    sheet = HandoverSheet.objects.get()
    assert (process.returncode, sheet.printing.step) == (0, Step.DONE)
    assert issued_pdf(sheet) == sheet_pdf(sheet.snapshot)


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM])
def test_stopped_process_is_marked_failed_and_sheet_is_printed_again(print_processes, login, job, staff, how):
    sheet = issue(job, staff)
    print_processes[0].send_signal(how)
    wait_for_end(print_processes[0])
    client = login(Role.DESK)
    page = handover_page(client, job)
    assert "Not printed. Printing was stopped before it had finished." in page and "Print again" in page
    assert "The site tries again within two minutes." in page
    answer = client.post(reverse("sheet-print", args=[sheet.pk]), follow=True)
    assert "is issued. The PDF is being created" in answer.content.decode()
    wait_for_end(print_processes[1])
    assert issued_pdf(HandoverSheet.objects.get()).startswith(b"%PDF")


@pytest.mark.slow
def test_stopped_process_is_taken_up(print_processes, job, staff):
    sheet = issue(job, staff)
    print_processes[0].kill()
    wait_for_end(print_processes[0])
    assert Printing.objects.get().step == Step.STOPPED
    take_up_abandoned(timezone.now() + MAX_WAITING_TIME / 2)
    assert len(print_processes) == 1
    take_up_abandoned(timezone.now() + 2 * MAX_WAITING_TIME)
    wait_for_end(print_processes[1])
    sheet.refresh_from_db()
    assert issued_pdf(sheet) == sheet_pdf(sheet.snapshot)


@pytest.mark.usefixtures("with_worker")
@pytest.mark.parametrize(
    ("step", "limit"),
    [(Step.WAITING, MAX_WAITING_TIME), (Step.STOPPED, MAX_WAITING_TIME), (Step.PAGES, MAX_STEP_TIME)],
)
def test_sheet_of_dead_worker_is_taken_up_and_customer_served(client, job, staff, step, limit):
    sheet = issue(job, staff, build_customer_url=lambda token: f"https://shop.example/{token}/")
    DBTaskResult.objects.all().delete()  # its task was claimed by the worker that died
    Printing.objects.update(step=step)
    url = reverse("customer-sheet", args=[SheetLink.objects.get().token])
    take_up_abandoned(timezone.now() + limit * 0.9)
    run_worker()
    assert client.get(url).status_code == 503
    take_up_abandoned(timezone.now() + limit * 1.1)
    run_worker()
    assert client.get(url).status_code == 200
    assert (Printing.objects.get().attempt, sheet.history.model.objects.filter(id=sheet.pk).count()) == (2, 2)


@pytest.mark.usefixtures("with_worker")
def test_sheet_taken_up_is_printed_once(job, staff, monkeypatch):
    sheet = issue(job, staff)
    Printing.objects.update(step=Step.PAGES)
    seen = list(Printing.objects.abandoned(timezone.now() + timedelta(hours=1)))
    with monkeypatch.context() as at_the_same_time:
        at_the_same_time.setattr(PrintingQuerySet, "abandoned", lambda self, now: seen)
        for _ in range(2):  # two processes of the site
            take_up_abandoned()
    queued = [task.args_kwargs["args"] for task in DBTaskResult.objects.order_by("enqueued_at")]
    assert queued == [[sheet.pk, 1], [sheet.pk, 2]]
    tasks.print_sheet.call(sheet.pk, 2)
    monkeypatch.setattr(tasks, "sheet_pdf", stopped(AssertionError("printed a second time")))
    run_worker()
    take_up_abandoned(timezone.now() + timedelta(hours=1))
    assert Printing.objects.get().step == Step.DONE


@pytest.mark.usefixtures("with_worker")
def test_print_that_stops_three_times_is_left_to_people(client, login, job, staff):
    sheet = issue(job, staff, build_customer_url=lambda token: f"https://shop.example/{token}/")
    url = reverse("customer-sheet", args=[SheetLink.objects.get().token])
    for attempt in (1, 2, 3):
        Printing.objects.update(step=Step.PAGES)
        assert Printing.objects.get().attempt == attempt
        take_up_abandoned(timezone.now() + timedelta(hours=1))
    printing = Printing.objects.get()
    assert (printing.step, printing.attempt) == (Step.FAILED, 3)
    assert "Ask the shop." in client.get(url).content.decode()
    desk = login(Role.DESK)
    assert "stopped or not begun 3 times" in handover_page(desk, job)
    desk.post(reverse("sheet-print", args=[sheet.pk]))
    assert Printing.objects.get().taken_up == 0  # asked for again


def test_process_that_cannot_start_is_reported(print_processes, job, staff, monkeypatch):
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    sheet = issue(job, staff)
    assert (sheet.printing.step, print_processes) == (Step.FAILED, [])
    with pytest.raises(PdfUnavailable, match="could not be started: No such file"):
        issued_pdf(sheet)


def test_process_starts_after_transaction_commits(print_processes, job, staff):
    with transaction.atomic():
        issue(job, staff)
        assert print_processes == []
    assert len(print_processes) == 1


def test_immediate_backend_prints_within_request(job, staff):
    sheet = issue(job, staff)
    assert hashlib.sha256(issued_pdf(sheet)).hexdigest() == sheet.sha256
    assert sheet.printing.step == Step.DONE
    assert not DBTaskResult.objects.exists()


@pytest.mark.usefixtures("with_worker")
def test_worker_prints_same_bytes_as_request(job, staff):
    sheet = issue(job, staff)
    assert (sheet.sha256, sheet.pdf.name, sheet.printing.step) == ("", "", Step.WAITING)
    assert len(sheet.snapshot_sha256) == 64
    with pytest.raises(PrintingInProgress):
        issued_pdf(sheet)
    run_worker()
    printed = HandoverSheet.objects.get(pk=sheet.pk)
    assert printed.printing.step == Step.DONE
    assert issued_pdf(printed) == sheet_pdf(sheet.snapshot)


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("with_worker")
def test_worker_command_prints_sheet(job, staff):
    sheet = issue(job, staff)
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGQUIT)}
    call_command("db_worker", batch=True, interval=0, startup_delay=False, reload=False, verbosity=0)
    for number, handler in before.items():  # the command sets its own for the process
        signal.signal(number, handler)
    sheet.refresh_from_db()
    assert hashlib.sha256(issued_pdf(sheet)).hexdigest() == sheet.sha256


@pytest.mark.usefixtures("with_worker")
def test_page_shows_progress_and_customer_waits(client, login, job, staff):
    sheet = issue(job, staff, build_customer_url=lambda token: f"https://shop.example/{token}/")
    desk, token = login(Role.DESK), SheetLink.objects.get().token
    page = handover_page(desk, job)
    assert "Printing: waiting to be printed." in page
    assert "You can send the link when the PDF is ready." in page
    assert f"SHA-256 of its data {sheet.snapshot_sha256}" in page
    assert reverse("sheet-mail", args=[sheet.pk]) not in page
    for name in ("link-new", "sheet-mail", "sheet-pdf"):
        answer = desk.get(reverse(name, args=[sheet.pk]), follow=True)
        assert answer.redirect_chain == [(reverse("handover", args=[job.number]), 302)]
    for name in ("customer-sheet", "customer-pdf"):
        answer = client.get(reverse(name, args=[token]))
        assert answer.status_code == 503
        assert "being printed" in answer.content.decode()
    run_worker()
    assert reverse("sheet-mail", args=[sheet.pk]) in handover_page(desk, job)
    assert client.get(reverse("customer-sheet", args=[token])).status_code == 200


@pytest.mark.usefixtures("with_worker")
def test_page_polls_until_progress_changes(login, job, staff):
    sheet = issue(job, staff)
    client, url = login(Role.MECHANIC), reverse("sheet-printing", args=[sheet.pk])
    seen = {"seen": sheet.printing.progress_key}
    assert client.get(url, seen, headers={"HX-Request": "true"}).status_code == 204
    Printing.objects.update(step=Step.PICTURES, done=3, of=8)
    part = client.get(url, seen, headers={"HX-Request": "true"}).content.decode()
    assert "Printing: drawing the pictures, those of 3 of 8 sections are drawn." in part
    assert 'hx-trigger="every 2s"' in part and "<html" not in part
    assert client.get(url).status_code == 302
    Printing.objects.update(step=Step.WAITING)
    run_worker()
    part = client.get(url, seen, headers={"HX-Request": "true"}).content.decode()
    assert "Open the PDF" in part and "hx-get" not in part


@pytest.mark.slow
def test_progress_is_reported_for_every_step(snapshot):
    steps: list[tuple[str, int, int]] = []
    sheet_pdf(snapshot, lambda step, done=0, of=0: steps.append((step, done, of)))
    pictures = [(done, of) for step, done, of in steps if step == "pictures"]
    assert [step for step, *_ in steps] == ["pictures"] * len(pictures) + ["pages"]
    assert pictures == [(done, len(pictures) - 1) for done in range(len(pictures))]
    assert len(pictures) > 5


@pytest.mark.parametrize(
    ("problem", "sentence"),
    [
        (ValueError("odd"), "A program error stopped the printing. See the server log."),
        (OSError(errno.ENOSPC, "No space left on device"), "A file could not be written: No space left"),
        (SystemExit(1), "Printing was stopped before it had finished."),
    ],
)
@pytest.mark.usefixtures("with_worker")
def test_fault_is_shown_and_sheet_can_be_printed_again(login, job, staff, monkeypatch, problem, sentence):
    sheet = issue(job, staff)
    with monkeypatch.context() as broken:
        broken.setattr(tasks, "sheet_pdf", stopped(problem))
        run_worker()
    client = login(Role.DESK)
    page = handover_page(client, job)
    assert f"Not printed. {sentence}" in page and "Print again" in page
    answer = client.post(reverse("sheet-print", args=[sheet.pk]), follow=True)
    assert "The PDF is being created" in answer.content.decode()
    run_worker()
    assert issued_pdf(HandoverSheet.objects.get(pk=sheet.pk)).startswith(b"%PDF")


def test_fault_within_request_leaves_issued_sheet(login, job, staff, monkeypatch):
    monkeypatch.setattr(tasks, "sheet_pdf", stopped(ValueError("odd")))
    data = {"issue_number": 1, "override_reason": "for a test"}
    answer = login(Role.OWNER).post(reverse("handover-issue", args=[job.number]), data, follow=True)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert (
        "is issued, but the PDF could not be created. A program error stopped the printing" in page
        and "Print again" in page
    )
    assert HandoverSheet.objects.get().issue_number == 1


@pytest.mark.usefixtures("with_worker")
def test_sheet_of_dead_worker_can_be_printed_again(login, job, staff):
    sheet = issue(job, staff)
    Printing.objects.update(step=Step.PAGES)  # it took the sheet, and was heard of no more
    client = login(Role.TUNER)
    assert "Print again" not in handover_page(client, job)
    lay_back(sheet)
    assert "Printing has stopped" in handover_page(client, job)
    client.post(reverse("sheet-print", args=[sheet.pk]))
    run_worker()
    assert HandoverSheet.objects.get().is_printed
    assert Printing.objects.get().attempt == 2


@pytest.mark.usefixtures("with_worker")
def test_sheet_no_worker_takes_is_printed_by_process(login, job, staff):
    sheet = issue(job, staff)
    lay_back(sheet)
    client = login(Role.DESK)
    assert "Printing has not started." in handover_page(client, job)
    client.post(reverse("sheet-print", args=[sheet.pk]))
    printed = HandoverSheet.objects.get()
    assert printed.is_printed
    run_worker()  # comes at last, and finds nothing to do
    assert HandoverSheet.objects.get().pdf.name == printed.pdf.name


@pytest.mark.usefixtures("with_worker")
def test_sheet_printed_twice_has_one_pdf(job, staff):
    sheet = issue(job, staff)
    pdf = sheet_pdf(sheet.snapshot)
    slow, quick = HandoverSheet.objects.get(), HandoverSheet.objects.get()
    tasks.store_pdf(quick, pdf)
    tasks.store_pdf(slow, pdf)  # a worker taken for dead brings its pages after all
    folder, name = quick.pdf.name.rsplit("/", 1)
    assert default_storage.listdir(folder) == ([], [name])
    assert HandoverSheet.objects.get().pdf.name == quick.pdf.name
    assert sheet.history.model.objects.filter(id=sheet.pk).count() == 2  # issued, printed


def test_task_run_twice_prints_once(job, staff, monkeypatch):
    sheet = issue(job, staff)
    monkeypatch.setattr(tasks, "sheet_pdf", stopped(AssertionError("printed a second time")))
    tasks.print_sheet.call(sheet.pk, 1)
    assert Printing.objects.get().step == Step.DONE


@pytest.mark.usefixtures("with_worker")
def test_worker_restores_lost_file(login, job, staff):
    sheet = issue(job, staff)
    run_worker()
    sheet.refresh_from_db()
    pdf, client, url = issued_pdf(sheet), login(Role.MECHANIC), reverse("sheet-pdf", args=[sheet.pk])
    default_storage.delete(sheet.pdf.name)
    answer = client.get(url, follow=True)
    assert "is being printed. Try again in a minute." in answer.content.decode()
    run_worker()
    assert b"".join(client.get(url).streaming_content) == pdf


def test_fonts_are_loaded_again_if_their_folder_is_removed(job, staff):
    sheet = issue(job, staff)
    rmtree(loaded_fonts()._folder)
    assert sheet_pdf(sheet.snapshot) == issued_pdf(sheet)


def test_storage_error_is_reported(job, staff, monkeypatch):
    full = OSError(errno.ENOSPC, "No space left on device")
    monkeypatch.setattr(FileSystemStorage, "_save", stopped(full))
    sheet = issue(job, staff)
    assert not sheet.is_printed
    with pytest.raises(PdfUnavailable, match="No space left on device"):
        issued_pdf(sheet)


def test_printing_again_requires_role_that_issues(login, job, staff):
    sheet = issue(job, staff)
    url = reverse("sheet-print", args=[sheet.pk])
    assert login(Role.MECHANIC).post(url).status_code == 403
    assert login(Role.DESK).get(url).status_code == 405
    assert "is printed already" in login(Role.DESK).post(url, follow=True).content.decode()
    for name in ("sheet-print", "sheet-printing"):
        answer = login(Role.DESK).generic("POST" if name == "sheet-print" else "GET", reverse(name, args=[0]))
        assert answer.status_code == 404


def test_system_check_warns_if_task_tables_are_missing(db, settings, monkeypatch):
    assert check_task_tables(None, databases=["default"]) == []
    monkeypatch.setattr(DBTaskResult._meta, "db_table", "never_migrated")
    assert check_task_tables(None, databases=["default"]) == []  # nobody asks for them
    settings.TASKS = {**settings.TASKS, "default": WORKER}
    (missed,) = check_task_tables(None, databases=["default"])
    assert missed.id == "reports.W001" and "manage.py migrate" in missed.hint
