"""Records for tests, with sensible values that a test may override."""

import hashlib
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.files.base import ContentFile
from django.utils import timezone

from fixtures import simulator
from jobs.intake import signing
from jobs.job import results
from jobs.job.page import get_job
from jobs.job.results import JobResults
from jobs.models import (
    ClearanceReading,
    ClearanceSet,
    Job,
    PartKind,
    Run,
    SignedReceipt,
    TuneRevision,
    WorkPlace,
)
from jobs.runs.channel_files import store_channels
from workshop.models import (
    Bike,
    Customer,
    EngineSpec,
    Instrument,
    InstrumentCheck,
    Role,
    ShopProfile,
    StaffMember,
)

NAMES = {
    Role.DESK: "Dana Desk",
    Role.MECHANIC: "Mika Mechanic",
    Role.TUNER: "Toni Tuner",
    Role.OWNER: "Ola Owner",
}


def make_staff(role: Role, **overrides: Any) -> StaffMember:
    first, last = NAMES[role].split()
    values = {"username": role.value, "first_name": first, "last_name": last, f"is_{role.value}": True}
    person = StaffMember(**{**values, **overrides})
    person.set_password("a long enough pass phrase")
    person.save()
    return person


def make_customer(**overrides: Any) -> Customer:
    return Customer.objects.create(
        **{"name": "Ines Quill", "email": "ines@example.org", "phone": "+00 555 0101", **overrides}
    )


def make_engine(**overrides: Any) -> EngineSpec:
    """Create an in-line triple with twelve valves and shims under buckets."""
    values: dict[str, Any] = {
        "maker": "Pellorin",
        "name": "Tern 660",
        "cylinders": 3,
        "arrangement": EngineSpec.Arrangement.INLINE,
        "intake_valves": 2,
        "exhaust_valves": 2,
        "adjuster": EngineSpec.Adjuster.SHIM_UNDER_BUCKET,
        "intake_low_mm": Decimal("0.10"),
        "intake_high_mm": Decimal("0.20"),
        "intake_target_mm": Decimal("0.16"),
        "exhaust_low_mm": Decimal("0.25"),
        "exhaust_high_mm": Decimal("0.35"),
        "exhaust_target_mm": Decimal("0.31"),
        "shim_diameter_mm": Decimal("7.48"),
        "shim_step_mm": Decimal("0.05"),
        "shim_thinnest_mm": Decimal("1.20"),
        "shim_thickest_mm": Decimal("3.50"),
        "source_manual": "Pellorin workshop book",
        "source_edition": "2",
        "source_page": "41",
    }
    return EngineSpec.objects.create(**{**values, **overrides})


def make_bike(**overrides: Any) -> Bike:
    values = {"make": "Pellorin", "model": "Tern 660", "year": 2021, "plate": "DEMO 22"}
    if "owner" not in overrides:
        overrides["owner"] = make_customer()
    if "engine_spec" not in overrides:
        overrides["engine_spec"] = EngineSpec.objects.first() or make_engine()
    return Bike.objects.create(**{**values, **overrides})


def make_job(**overrides: Any) -> Job:
    if "bike" not in overrides:
        overrides["bike"] = make_bike()
    values = {
        "customer": overrides["bike"].owner,
        "brief": "Smoother pick-up from closed throttle",
        "intended_use": Job.IntendedUse.ROAD,
    }
    return Job.objects.create(**{**values, **overrides})


def get_part_kind(name: str) -> PartKind:
    """Return one of the kinds of part and change that a new shop starts with."""
    return PartKind.objects.get(name=name)


def get_workstation(name: str) -> WorkPlace:
    """Return one of the workstations that a new shop starts with."""
    return WorkPlace.objects.get(name=name)


def make_clearance_set(
    job: Job, by: StaffMember, clearance_mm: str = "0.15", **overrides: Any
) -> ClearanceSet:
    """Create a full set with the same clearance and a 2.50 mm shim for every valve."""
    values = {"when": ClearanceSet.When.AS_FOUND, "engine_temperature_c": 21.0, "measured_at": timezone.now()}
    measured = ClearanceSet.objects.create(job=job, measured_by=by, **{**values, **overrides})
    spec = job.bike.engine_spec
    assert spec is not None
    for valve in spec.valves:
        for gap in spec.gaps:
            ClearanceReading.objects.create(
                clearance_set=measured,
                cylinder=valve.cylinder,
                side=valve.side,
                position=valve.position,
                gap=gap,
                clearance_mm=Decimal(clearance_mm),
                shim_marked_mm=Decimal("2.50") if spec.uses_shims else None,
            )
    return measured


def make_revision(job: Job, by: StaffMember, number: int = 0, **overrides: Any) -> TuneRevision:
    return TuneRevision.objects.create(job=job, number=number, loaded_by=by, **overrides)


def make_instrument(kind: str, name: str, number: str = "", **overrides: Any) -> Instrument:
    return Instrument.objects.create(kind=kind, name=name, number=number, **overrides)


def add_check(
    instrument: Instrument, on: date, due: date | None = None, by: str = "Fennport laboratory", **given: Any
) -> InstrumentCheck:
    return InstrumentCheck.objects.create(
        instrument=instrument, checked_on=on, due_on=due, checked_by=by, **given
    )


def make_simulated_run(job: Job, by: StaffMember, simulated: simulator.SimulatedRun, **overrides: Any) -> Run:
    """Create a run from the demo simulator with all channels, as if imported."""
    values = {"original_name": simulated.name, "size": 24, "kind": simulated.kind, "status": Run.Status.READ}
    run = Run(job=job, made_by=by, **{**values, **overrides})
    run.sha256 = hashlib.sha256(f"{job.pk} {simulated.name}".encode()).hexdigest()
    run.original.save(simulated.name, ContentFile(b"as sent"), save=False)
    store_channels(run, simulator.channels(simulated))
    run.save()
    return run


def make_channel_run(
    job: Job, by: StaffMember, name: str, channels: Mapping[str, Any], **overrides: Any
) -> Run:
    """Create a run with given channels, as if imported."""
    values = {"original_name": name, "size": 1, "kind": Run.Kind.HELD, "status": Run.Status.READ}
    run = Run(job=job, made_by=by, **{**values, **overrides})
    run.sha256 = hashlib.sha256(f"{job.pk} {name}".encode()).hexdigest()
    run.original.save(name, ContentFile(b"as sent"), save=False)
    store_channels(run, channels)
    run.save()
    return run


def make_simulated_runs(
    job: Job, by: StaffMember, bike: str, when: str, kind: str, **overrides: Any
) -> list[Run]:
    """Create all simulated runs of one kind for a bike in one state."""
    matching = [
        simulated
        for simulated in simulator.runs()
        if (simulated.bike, simulated.when, simulated.kind) == (bike, when, kind)
    ]
    return [make_simulated_run(job, by, simulated, **overrides) for simulated in matching]


def load_results(job: Job) -> JobResults:
    """Return results of a job from freshly read rows."""
    return results.load_job_results(get_job(job.number), ShopProfile.current())


def sign_receipt(job: Job, by: StaffMember, **given: Any) -> SignedReceipt:
    """Have the receipt of a job signed as it is, without printing it."""
    values = {"signed_by": "Ines Quill", "signature": [[[100, 50], [200, 80], [300, 40]]], **given}
    return signing.sign_receipt(results=load_results(job), by=by, **values)
