"""Run files and calibration files that hold the name of a customer who is erased."""

import hashlib

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from jobs.models import Job, Run, TuneRevision
from jobs.runs.importing import RunDetails, import_run
from tests.factories import make_job, make_revision
from workshop.models import DocumentDecision, Role
from workshop.privacy.documents import Decision, find_documents
from workshop.privacy.erase import erase

pytestmark = pytest.mark.django_db
DELETE, KEEP = Decision(DocumentDecision.Choice.DELETE), Decision(DocumentDecision.Choice.KEEP, "evidence")
TABLE = "alpha;beta\n" + "".join(f"{n};{n * n}\n" for n in range(40))
HEAD = "# Rider: Ines Quill, +00 555-0101, Überlingen\n"
BLANKED = "# Rider: ##########, ############, Überlingen\n"


@pytest.fixture
def job(staff) -> Job:
    return make_job(stage="handed_over")


def add_run(job: Job, staff, text: str, encoding: str = "utf-8") -> Run:
    data = text.encode(encoding)
    return import_run(
        job=job, by=staff[Role.TUNER], name=f"{encoding}.csv", data=data, details=RunDetails()
    ).run


def read(file) -> bytes:
    with file.open() as opened:
        return opened.read()


def decide(job: Job, staff, decision: Decision) -> None:
    found = find_documents(job.customer)
    erase(job.customer, documents={document.key: decision for document in found}, by=staff[Role.OWNER])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_name_in_run_file_is_blanked_and_all_else_stays(
    job, staff, encoding, django_capture_on_commit_callbacks
):
    run = add_run(job, staff, HEAD + TABLE, encoding)
    before, old_name = read(run.original), run.original.name
    with django_capture_on_commit_callbacks(execute=True):
        decide(job, staff, DELETE)
    run.refresh_from_db()
    data = read(run.original)
    assert data.decode(encoding) == BLANKED + TABLE
    assert len(data) == len(before) == run.size
    assert run.sha256 == hashlib.sha256(data).hexdigest()
    assert not default_storage.exists(old_name)
    assert find_documents(job.customer) == []


def test_run_file_that_is_kept_stays_as_it_was(job, staff):
    run = add_run(job, staff, HEAD + TABLE)
    before = Run.objects.values().get()
    decide(job, staff, KEEP)
    assert Run.objects.values().get() == before
    assert "Ines Quill" in read(run.original).decode()


def test_run_file_without_the_name_needs_no_decision(job, staff):
    add_run(job, staff, TABLE)
    assert find_documents(job.customer) == []


def test_lost_run_file_needs_no_decision(job, staff):
    run = add_run(job, staff, HEAD + TABLE)
    default_storage.delete(run.original.name)
    assert find_documents(job.customer) == []


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le"])
def test_calibration_file_is_deleted_whole(job, staff, encoding, django_capture_on_commit_callbacks):
    tune = make_revision(job, staff[Role.TUNER], calibration_sha256="a" * 64)
    tune.calibration.save("a.bin", ContentFile(b"\x00\xff" + "for Ines Quill".encode(encoding) + b"\x00"))
    name = tune.calibration.name
    (document,) = find_documents(job.customer)
    assert document.title == f"Calibration file of as received, job {job}"
    with django_capture_on_commit_callbacks(execute=True):
        decide(job, staff, DELETE)
    left = TuneRevision.objects.get()
    assert (left.calibration.name, left.calibration_sha256) == ("", "a" * 64)
    assert not default_storage.exists(name)
