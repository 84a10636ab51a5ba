"""Eight concurrent users: no save is lost, conflicts are reported, nothing is created twice."""

import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any, TypeVar

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connections
from django.test import Client
from django.urls import reverse

from jobs.calc.clearances.shim_plan import Policy
from jobs.clearances.shim_plan import collect_plan_inputs, plan_engine, stock_for
from jobs.models import Job, Run, ShimPlan, StageEntry
from tests import factories
from tests.jobs.run_files import sweep_csv
from workshop.models import Customer, Role, ShimStock

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]

CLIENTS = 8
ROUNDS = 5
Made = TypeVar("Made")


def run_concurrently(work: Callable[[int], Made]) -> list[Made]:
    """Start eight threads together, with one database connection per thread."""
    start = Barrier(CLIENTS)

    def run(number: int) -> Made:
        start.wait(timeout=30)
        try:
            return work(number)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(CLIENTS) as pool:
        return list(pool.map(run, range(CLIENTS)))


@pytest.fixture
def clients(login: Callable[[Role], Client]) -> list[Client]:
    """Return eight clients logged in as the owner."""
    return [login(Role.OWNER) for _ in range(CLIENTS)]


def save_line(client: Client, pk: int, line: str) -> bool:
    """Add a line to a customer's note; return False if the edit conflict was reported."""
    read = Customer.objects.get(pk=pk)
    names = ("name", "phone", "email", "language", "version")
    sent = {name: getattr(read, name) for name in names}
    response = client.post(reverse("customer-edit", args=[pk]), {**sent, "note": f"{read.note}\n{line}"})
    if response.status_code == 302:
        return True
    assert response.status_code == 422
    assert "Not saved. Ola Owner changed this" in response.content.decode()
    return False


def test_concurrent_saves_are_stored_or_rejected(clients: list[Client]) -> None:
    customer = factories.make_customer()

    def save(number: int) -> list[str]:
        lines = [f"{number}-{turn}" for turn in range(ROUNDS)]
        return [line for line in lines if save_line(clients[number], customer.pk, line)]

    saved = [line for lines in run_concurrently(save) for line in lines]
    customer.refresh_from_db()
    assert saved
    assert sorted(customer.note.split()) == sorted(saved)
    assert customer.version == 1 + len(saved)


def booking(bike_pk: int, **more: Any) -> dict[str, Any]:
    rows = {"work-TOTAL_FORMS": 0, "work-INITIAL_FORMS": 0}
    return {
        "which-chosen": bike_pk,
        "job-brief": "Valves",
        "job-intended_use": "road",
        **rows,
        **more,
    }


def test_concurrent_bookings_get_consecutive_numbers(clients: list[Client]) -> None:
    bike = factories.make_bike()

    def book(number: int) -> list[int]:
        send = clients[number].post
        return [send(reverse("job-book"), booking(bike.pk)).status_code for _ in range(ROUNDS)]

    assert run_concurrently(book) == [[302] * ROUNDS] * CLIENTS
    jobs = Job.objects.order_by("sequence")
    assert list(jobs.values_list("sequence", flat=True)) == list(range(1, CLIENTS * ROUNDS + 1))
    assert StageEntry.objects.count() == CLIENTS * ROUNDS


def test_form_submitted_concurrently_books_once(clients: list[Client]) -> None:
    sent = booking(factories.make_bike().pk, form_key=uuid.uuid4())
    responses = run_concurrently(lambda number: clients[number].post(reverse("job-book"), sent))
    job = Job.objects.get()
    assert [(a.status_code, a.headers["Location"]) for a in responses] == [(302, f"/jobs/{job.number}/")] * 8


def test_concurrent_stage_change_succeeds_once(clients: list[Client]) -> None:
    job = factories.make_job()
    step = {"seen": "booked", "stage": "received"}
    responses = run_concurrently(
        lambda number: clients[number].post(reverse("job-stage", args=[job.number]), step)
    )
    assert sorted(response.status_code for response in responses) == [302] + [422] * 7
    refused = [response.content.decode() for response in responses if response.status_code == 422]
    assert all("moved this job" in page or "at the same time" in page for page in refused)
    assert StageEntry.objects.filter(job=job).count() == 1


@pytest.mark.parametrize("in_drawer", [3, 0])
def test_concurrent_acceptance_takes_shims_from_stock_once(
    clients: list[Client], staff: dict[Role, Any], in_drawer: int
) -> None:
    measured = factories.make_clearance_set(factories.make_job(), staff[Role.MECHANIC], "0.16")
    measured.readings.filter(side="exhaust").update(clearance_mm="0.31")
    # Clearance 0.21 with shim 2.50 and target 0.31: the new shim is 2.40.
    measured.readings.filter(side="exhaust", cylinder=1, position=1).update(clearance_mm="0.21")
    drawer = ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.40", count=in_drawer)
    spec = measured.job.bike.engine_spec
    plan = plan_engine(collect_plan_inputs(spec, measured.readings.all()), Policy.TARGET, stock_for(spec))
    sent = {"policy": "target", "fingerprint": plan.fingerprint}
    url = reverse("shim-plan-accept", args=[measured.pk])
    responses = run_concurrently(lambda number: clients[number].post(url, {**sent, "form_key": uuid.uuid4()}))
    assert {response.status_code for response in responses} <= {302, 422}
    assert ShimPlan.objects.count() == 1
    drawer.refresh_from_db()
    assert drawer.count == max(0, in_drawer - 1)


def test_file_uploaded_concurrently_is_imported_once(clients: list[Client]) -> None:
    job = factories.make_job()
    data, url = sweep_csv(), reverse("run-attach", args=[job.number])

    def send(number: int) -> int:
        file = SimpleUploadedFile("sweep.csv", data, "text/csv")
        return clients[number].post(url, {"run_files": file, "kind": "sweep"}).status_code

    assert run_concurrently(send) == [302] * CLIENTS
    assert Run.objects.get().status == Run.Status.READ


def test_uploads_and_saves_run_concurrently(clients: list[Client]) -> None:
    job = factories.make_job()
    url = reverse("run-attach", args=[job.number])

    def work(number: int) -> list[bool]:
        saved = []
        for turn in range(2):
            data = sweep_csv(rows=201, salt=1 + 2 * number + turn)
            sent = {"run_files": SimpleUploadedFile(f"{number}-{turn}.csv", data), "kind": "sweep"}
            assert clients[number].post(url, sent).status_code == 302
            saved.append(save_line(clients[number], job.customer_id, f"{number}-{turn}"))
        return saved

    saved = [line for lines in run_concurrently(work) for line in lines]
    assert Run.objects.filter(status=Run.Status.READ).count() == CLIENTS * 2
    assert len(Customer.objects.get().note.split()) == sum(saved)
