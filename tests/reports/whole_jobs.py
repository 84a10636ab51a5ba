"""Jobs with every kind of record, for the tests of the sheet; runs come from the demo's simulator."""

import hashlib
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
from django.core.files.base import ContentFile

from fixtures import simulator
from fixtures.bikes import BIKES, true_plate_pct
from jobs.contacts.add import add_contact
from jobs.mixture.study import Limits, StudyInputs, fill_study
from jobs.models import (
    Authorisation,
    BikeChange,
    Check,
    CheckItem,
    ClearanceSet,
    Comparison,
    ComparisonRun,
    ContactEntry,
    DynoSession,
    Handover,
    Job,
    MixtureStudy,
    Part,
    Run,
    ShimPlan,
    ShimPlanRow,
    StageEntry,
    SuspensionSetting,
    ThrottleTable,
    TuneChange,
    TuneChangeKind,
    TuneRevision,
    Wish,
    WorkItem,
)
from jobs.runs.channel_files import store_channels
from tests import factories
from workshop.models import Role, ShopProfile, StaffMember

ARRIVED = datetime(2025, 3, 10, 7, 30, tzinfo=UTC)
GRIP = [0, 5, 10, 20, 40, 60, 80, 100]
SPEED = [2000, 4000, 8000]


def hours(count: float) -> datetime:
    return ARRIVED + timedelta(hours=count)


def make_shop(**values: Any) -> ShopProfile:
    shop = ShopProfile.current()
    given = {
        "name": "Saltmarsh Cycle Works",
        "address": "Pier Row 7\nFennport",
        "phone": "+00 555 0100",
        "email": "desk@example.org",
        "time_zone": "Europe/Paris",
        "responsible_name": "Ola Owner",
        "responsible_role": "workshop manager",
        **values,
    }
    for name, value in given.items():
        setattr(shop, name, value)
    shop.save()
    return shop


def make_run(
    job: Job, by: StaffMember, made: simulator.SimulatedRun, at: datetime, tune: TuneRevision, **values: Any
) -> Run:
    """Create a run with the simulator's channels, as reading its file would store them."""
    air = simulator.SESSIONS[made.bike, made.when].air
    run = Run(
        job=job,
        original_name=made.name,
        sha256=hashlib.sha256(f"{job.pk} {made.name}".encode()).hexdigest(),
        size=1,
        status=Run.Status.READ,
        kind=made.kind,
        gear=BIKES[made.bike].run_gear,
        temperature_c=air.temperature_c,
        pressure_kpa=air.pressure_kpa,
        humidity_pct=air.humidity_pct,
        tune_revision=tune,
        made_at=at,
        made_by=by,
        **values,
    )
    run.original.save(made.name, ContentFile(b"as the roller wrote it"), save=False)
    store_channels(run, simulator.channels(made))
    run.save()
    return run


def make_runs(
    job: Job, by: StaffMember, of: tuple[str, Any, str], start: datetime, tune: TuneRevision
) -> list[Run]:
    """All runs of a bike in one state and of one kind."""
    wanted = [run for run in simulator.runs() if (run.bike, run.when, run.kind) == of]
    return [
        make_run(job, by, made, start + timedelta(minutes=7 * place), tune)
        for place, made in enumerate(wanted)
    ]


def plate(bike: str, when: Any) -> list[list[float]]:
    grip = np.array(GRIP, dtype=float)
    asked = true_plate_pct(BIKES[bike], when, np.zeros((1, len(SPEED))), grip[:, None])
    return np.round(asked * np.ones((1, len(SPEED))), 1).tolist()


def make_short_job(staff: dict[Role, StaffMember]) -> Job:
    """Make a job that is ready once the customer is told of its silencer; its sheet is short."""
    make_shop()
    job = factories.make_job(
        intended_use=Job.IntendedUse.ROAD_AND_TRACK, received_at=ARRIVED, odometer_km=23480.0, stage="ready"
    )
    Part.objects.create(
        job=job,
        name="Silencer Skerry S",
        fitted_at=hours(32),
        race_only=True,
        kind=factories.get_part_kind("exhaust"),
    )
    for item in CheckItem.objects.filter(list="before_handover"):
        Check.objects.create(job=job, item=item, by=staff[Role.MECHANIC], at=hours(80), note="")
    return job


def make_whole_job(staff: dict[Role, StaffMember]) -> Job:
    """Make a job with valves, parts, tunes, runs, throttle tables, suspension and checks."""
    make_shop()
    desk, mechanic, tuner = (staff[role] for role in (Role.DESK, Role.MECHANIC, Role.TUNER))
    spec = factories.make_engine(
        check_interval_km=24000,
        check_interval_hours=300,
        primary_ratio=1.85,
        gear_ratios=[2.73, 1.95, 1.55, 1.28, 1.12, 1.0],
        wet_mass_kg=188.0,
    )
    customer = factories.make_customer(
        name="Ines Quill", experience="intermediate", riding_mass_kg=82.5, note="pays late"
    )
    bike = factories.make_bike(
        owner=customer,
        engine_spec=spec,
        year=2019,
        plate="DEMO 660",
        vin="XX9TERN66K0000001",
        front_sprocket=16,
        rear_sprocket=45,
        rear_tyre="180/55 ZR17",
    )
    job = factories.make_job(
        bike=bike,
        brief=BIKES["tern"].brief,
        stage="ready",
        intended_use=Job.IntendedUse.ROAD_AND_TRACK,
        booked_for=hours(-1),
        promised_at=hours(100),
        odometer_km=23480.0,
        engine_hours=512.0,
        fuel=Job.Fuel.HALF,
        keys=2,
        condition="Scratch on the left mirror; chain dry.",
        authorised_amount=Decimal("900.00"),
        mechanic=mechanic,
        tuner=tuner,
        next_service="Look at the oil level after 500 km.",
        not_tested="Cold start below 5 °C.",
    )
    Job.objects.filter(pk=job.pk).update(received_at=ARRIVED)
    job.refresh_from_db()
    StageEntry.objects.create(job=job, stage="received", by=desk, at=ARRIVED)
    Handover.objects.create(
        job=job,
        at=hours(1),
        by=desk,
        handed_to="Ines Quill",
        informed=Handover.Informed.NOT_TOLD,
        open_points=["Nothing was done yet."],
        override_reason="Taken to the track, and brought back.",
    )
    WorkItem.objects.create(
        job=job, description="Check and set the valve clearances", price=Decimal("280"), done=True
    )
    WorkItem.objects.create(job=job, description="Tune on the roller", price=Decimal("420"), done=True)
    Authorisation.objects.create(
        job=job,
        amount=Decimal("900"),
        asked="Ines Quill",
        asked_by=desk,
        how="phone",
        at=hours(20),
        answer="agreed",
        words="Go on, if it is the valves.",
    )
    add_contact(job, ContactEntry.Kind.MESSAGE, "The stall is worst in the cold.", said_at=hours(21))
    received = TuneRevision.objects.create(job=job, number=0, loaded_by=desk, loaded_at=ARRIVED)
    make_runs(job, tuner, ("tern", "before", "sweep"), hours(2), received)
    add_clearances(job, mechanic)
    add_parts(job)
    tune = add_tune(job, tuner, received)
    make_runs(job, tuner, ("tern", "after", "sweep"), hours(77), tune)
    spoilt = job.runs.order_by("made_at").last()
    spoilt.set_aside, spoilt.set_aside_reason, spoilt.note = (
        True,
        "tyre slipped",
        "Strap tightened afterwards.",
    )
    spoilt.save()
    compare(job, "Before the work and after it")
    make_runs(job, tuner, ("tern", "after", "held"), hours(78), tune)
    add_study(job, tuner)
    add_settings(job, mechanic)
    add_checks(job, mechanic)
    add_wishes(job, tuner)
    return job


def add_wishes(job: Job, by: StaffMember) -> None:
    """Add a wish that a record answers, one in the tuner's words, and one that is open."""
    shown = f"clearances-{job.clearance_sets.last().pk}"
    for position, (text, result, answer, records) in enumerate(
        (
            ("Valves are due.", Wish.Result.DONE, "Twelve of twelve valves in range.", [shown]),
            ("It snatches in town.", Wish.Result.PARTLY, "Calmer on the stand, not ridden yet.", []),
            ("It stalls when cold.", Wish.Result.OPEN, "", []),
        ),
        start=1,
    ):
        person = by if answer else None
        Wish.objects.create(
            job=job,
            position=position,
            text=text,
            result=result,
            answer=answer,
            answered_by=person,
            records=records,
        )


def add_checks(job: Job, by: StaffMember) -> None:
    """Tick every list when it is due; the bike was strapped down again for the runs after the work."""
    again = DynoSession.objects.create(job=job, number=2, started_at=hours(76.2), by=by)
    job.runs.filter(made_at__gt=hours(76.2)).update(session=again)
    due = [
        ("before_roller", None, hours(1.5)),
        ("after_valves", None, hours(31)),
        ("before_roller", again, hours(76.5)),
        ("before_handover", None, hours(80)),
    ]
    for name, session, at in due:
        for item in CheckItem.objects.filter(list=name):
            Check.objects.create(job=job, item=item, session=session, by=by, at=at)


def add_clearances(job: Job, by: StaffMember) -> None:
    found = factories.make_clearance_set(
        job, by, "0.12", measured_at=hours(24), instrument="feeler blades", note="Cover gasket renewed."
    )
    left = factories.make_clearance_set(
        job, by, "0.16", measured_at=hours(30), when=ClearanceSet.When.AS_LEFT, instrument="feeler blades"
    )
    plan = ShimPlan.objects.create(
        clearance_set=found,
        policy="target",
        accepted_by=by,
        accepted_at=hours(25),
        stock_booked_out_at=hours(26),
    )
    for place, row in enumerate(found.readings.all()):
        loose = row.side == "exhaust"
        row.clearance_mm = Decimal("0.22" if loose else "0.12") + Decimal("0.01") * (place % 3)
        row.save()
        ShimPlanRow.objects.create(
            plan=plan,
            cylinder=row.cylinder,
            side=row.side,
            position=row.position,
            gap=row.gap,
            out_mm=Decimal("2.50"),
            in_mm=Decimal("2.45") if place % 2 else Decimal("2.50"),
            origin="stock" if place % 2 else "stays",
            predicted_mm=Decimal("0.31") if loose else Decimal("0.16"),
        )
    for row in left.readings.filter(side="exhaust"):
        row.clearance_mm, row.shim_marked_mm = Decimal("0.31"), Decimal("2.45")
        row.save()


def add_parts(job: Job) -> None:
    Part.objects.create(
        job=job,
        name="Air filter, cotton",
        maker="Gannet",
        part_number="GF-660",
        fitted_at=hours(31),
        replaces="paper filter",
        kind=factories.get_part_kind("intake"),
        note="Wash every 10,000 km.",
    )
    Part.objects.create(
        job=job,
        name="Silencer Skerry S",
        maker="Skerry",
        serial="S-00417",
        fitted_at=hours(32),
        race_only=True,
        kind=factories.get_part_kind("exhaust"),
    )
    Part.objects.create(
        job=job,
        name="Rear brake pads",
        quantity=2,
        fitted_at=hours(33),
        kind=factories.get_part_kind("brakes"),
    )


def add_tune(job: Job, by: StaffMember, received: TuneRevision) -> TuneRevision:
    tune = TuneRevision.objects.create(
        job=job,
        number=1,
        made_from=received,
        title="fuel and throttle for road and track",
        loaded_at=hours(76),
        loaded_by=by,
        calibration_name="tern-660-r1.bin",
        calibration="calibrations/tern-660-r1.bin",
        calibration_sha256=hashlib.sha256(b"calibration").hexdigest(),
        note="Loaded with the ignition on, battery on the charger.",
    )
    kinds = {kind.name: kind for kind in TuneChangeKind.objects.all()}
    for name, detail, before, after, reason in (
        ("idle speed", "", "1250", "1350", "stalls when warm"),
        ("fuel", "cylinder 2, 5,000 to 7,000 1/min", "0", "+6", "lean at full load"),
        ("throttle table", "Road", "as received", "calmer to 20 % grip", "returning rider"),
    ):
        TuneChange.objects.create(
            revision=tune,
            kind=kinds[name],
            detail=detail,
            from_value=before,
            to_value=after,
            unit=kinds[name].unit,
            reason=reason,
        )
    for revision, when in ((received, "before"), (tune, "after")):
        ThrottleTable.objects.create(
            revision=revision,
            mode="Road",
            for_whom="a rider who comes back after a break",
            grip_pct=GRIP,
            engine_speed_rpm=SPEED,
            plate_pct=plate("tern", when),
        )
    return tune


def compare(job: Job, title: str) -> Comparison:
    comparison = Comparison.objects.create(
        job=job, title=title, note="Same fuel, same day temperature within 7 °C."
    )
    for run in job.runs.all():
        group = "before" if "_before_" in run.original_name else "after"
        ComparisonRun.objects.create(comparison=comparison, run=run, group=group)
    return comparison


def add_settings(job: Job, by: StaffMember) -> None:
    readings = {
        "front_unloaded_mm": 620.0,
        "front_bike_only_mm": 596.0,
        "front_pushed_mm": 585.0,
        "front_lifted_mm": 591.0,
        "front_travel_mm": 120.0,
        "front_pressure_kpa": 240.0,
        "rear_pressure_kpa": 250.0,
    }
    SuspensionSetting.objects.create(
        job=job,
        when="as_found",
        set_at=hours(34),
        by=by,
        front_preload="4 turns",
        front_rebound="8 clicks",
        **readings,
    )
    SuspensionSetting.objects.create(
        job=job,
        when="as_left",
        set_at=hours(35),
        by=by,
        front_preload="6 turns",
        front_rebound="10 clicks",
        note="Rear spring rate not known.",
        **{**readings, "front_pushed_mm": 588.0, "front_lifted_mm": 592.0},
    )
    BikeChange.objects.create(
        job=job,
        kind=factories.get_part_kind("tyre as the bike's papers name it"),
        description="rear tyre renewed, same size",
        at=hours(36),
        by=by,
    )


def add_study(job: Job, by: StaffMember) -> MixtureStudy:
    """Create a mixture study of the held-throttle runs of one state of the bike."""
    runs = list(job.runs.filter(kind=Run.Kind.HELD, original_name__contains="_after_"))
    asked = StudyInputs(
        runs=runs,
        load_channel="grip_pct",
        rpm_axis=[3000.0, 4000.0, 5000.0, 6000.0, 7000.0, 8000.0],
        load_axis=[20.0, 40.0, 60.0, 100.0],
        target=[1.0, 1.0, 0.92, 0.89],
        fuel="petrol_e5",
        delay_ms=150.0,
        limits=Limits(),
    )
    study = MixtureStudy(
        job=job, title="Held runs after the tune", made_by=by, fuel=asked.fuel, delay_ms=asked.delay_ms
    )
    fill_study(study, asked)
    study.save()
    study.runs.set(runs)
    return study
