"""Ten jobs at the limits of a sheet: with nothing recorded, with very much, with other units and scripts."""

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal

from django.core.files.base import ContentFile

from fixtures import simulator
from jobs.models import (
    ClearanceReading,
    ClearanceSet,
    Comparison,
    ComparisonRun,
    Job,
    Part,
    Photo,
    Run,
    ThrottleTable,
    TuneChange,
    TuneChangeKind,
    TuneRevision,
    Wish,
)
from tests import factories
from tests.jobs.images import jpeg, png
from tests.reports import whole_jobs
from tests.reports.whole_jobs import ARRIVED, GRIP, SPEED, hours, make_run, make_shop, plate
from workshop.models import Role, StaffMember

Staff = dict[Role, StaffMember]
INCH_SHOP = {
    "paper": "Letter",
    "length_unit": "in",
    "torque_unit": "lbf_ft",
    "power_unit": "hp",
    "distance_unit": "mi",
    "pressure_unit": "inhg",
    "temperature_unit": "f",
}
WORDS = (
    "The bike hesitates when the grip is opened slowly out of a second gear corner and runs on for a moment "
    "after it is closed. It was worse in the cold of last month and better with half a tank of fuel. "
)


def make_sweeps(
    job: Job, by: StaffMember, state: str, start: datetime, tune: TuneRevision, pull: int
) -> list[Run]:
    """Make the sweeps of a bike in one state; ``pull`` tells them from others of the same files."""
    wanted = [run for run in simulator.runs() if (run.bike, run.when, run.kind) == ("tern", state, "sweep")]
    return [
        make_run(job, by, made, start + timedelta(minutes=7 * place), tune, pull=pull)
        for place, made in enumerate(wanted)
    ]


def make_bare_job(staff: Staff) -> Job:
    """Make a job on which nothing is recorded but its check-in."""
    make_shop()
    return factories.make_job(received_at=ARRIVED, odometer_km=23480.0, stage="ready")


def make_clearance_job(staff: Staff) -> Job:
    """Make a job of a plain clearance check: measured, set, measured again, and no run."""
    make_shop()
    bike = factories.make_bike(engine_spec=factories.make_engine(check_interval_km=24000))
    job = factories.make_job(
        bike=bike, brief="Valve clearances are due by the book.", received_at=ARRIVED, odometer_km=23480.0,
        stage="ready",
    )  # fmt: skip
    whole_jobs.add_clearances(job, staff[Role.MECHANIC])
    return job


def make_long_job(staff: Staff) -> Job:
    """Make a job with 200 parts and 20,000 words."""
    make_shop()
    job = factories.make_job(brief=WORDS * 200, received_at=ARRIVED, odometer_km=23480.0, stage="ready")
    kinds = [factories.get_part_kind(name) for name in ("brakes", "intake", "exhaust")]
    Part.objects.bulk_create(
        Part(
            job=job,
            kind=kinds[number % 3],
            name=f"Bracket of the fairing, part {number}",
            maker="Skerry",
            part_number=f"SK-{number:05d}",
            fitted_at=hours(30 + number / 10),
            replaces="the part that the bike came with",
            note=WORDS * 2,
        )
        for number in range(200)
    )
    return job


def make_many_runs_job(staff: Staff) -> Job:
    """Make a job with 40 runs and 6 comparisons."""
    make_shop()
    job = factories.make_job(
        brief="More torque in the middle.", received_at=ARRIVED, odometer_km=23480.0, stage="ready"
    )
    tuner = staff[Role.TUNER]
    received = TuneRevision.objects.create(job=job, number=0, loaded_by=tuner, loaded_at=ARRIVED)
    groups = [make_sweeps(job, tuner, "before", hours(2), received, 1)]
    made_from = received
    for number in range(1, 7):
        tune = TuneRevision.objects.create(
            job=job, number=number, made_from=made_from, title=f"ignition step {number}",
            loaded_at=hours(10 * number), loaded_by=tuner,
        )  # fmt: skip
        state = "after" if number > 3 else "before"
        groups.append(make_sweeps(job, tuner, state, hours(10 * number + 1), tune, 10 * number))
        groups[-1] += make_sweeps(job, tuner, state, hours(10 * number + 3), tune, 10 * number + 1)
        made_from = tune
    make_sweeps(job, tuner, "before", hours(4), received, 2)
    for number, group in enumerate(groups[1:], 1):
        comparison = Comparison.objects.create(job=job, title=f"As it came in and tune {number}")
        for name, runs in (("before", groups[0]), ("after", group)):
            for run in runs[:6]:
                ComparisonRun.objects.create(comparison=comparison, run=run, group=name)
    return job


def make_modes_job(staff: Staff) -> Job:
    """Make a job with six riding modes, of a shop with Letter paper that measures in inches."""
    job = whole_jobs.make_whole_job(staff)
    make_shop(**INCH_SHOP)
    received, tune = job.tune_revisions.order_by("number")
    for number, mode in enumerate(("Rain", "Town", "Sport", "Race A", "Race B"), 1):
        for revision, when in ((received, "before"), (tune, "after" if number % 2 else "before")):
            table = [[round(min(100.0, value * (0.6 + 0.15 * number)), 1) for value in row]
                     for row in plate("tern", when)]  # fmt: skip
            ThrottleTable.objects.create(
                revision=revision, mode=mode, for_whom=f"riders who choose {mode}", grip_pct=GRIP,
                engine_speed_rpm=SPEED, plate_pct=table,
            )  # fmt: skip
    return job


def make_48_valve_job(staff: Staff) -> Job:
    """Make a job of an engine with eight cylinders and six valves in each."""
    make_shop()
    spec = factories.make_engine(
        name="Oct 1600", cylinders=8, arrangement="v", front_bank_cylinders=4, intake_valves=3,
        exhaust_valves=3, check_interval_km=24000,
    )  # fmt: skip
    bike = factories.make_bike(engine_spec=spec, model="Oct 1600")
    job = factories.make_job(
        bike=bike, brief="Set the valves.", received_at=ARRIVED, odometer_km=23480.0, stage="ready"
    )
    mechanic = staff[Role.MECHANIC]
    factories.make_clearance_set(job, mechanic, "0.12", measured_at=hours(24))
    left = factories.make_clearance_set(
        job, mechanic, "0.16", measured_at=hours(30), when=ClearanceSet.When.AS_LEFT
    )
    for place, row in enumerate(ClearanceReading.objects.filter(clearance_set=left)):
        row.clearance_mm = Decimal("0.31") if row.side == "exhaust" else Decimal("0.16")
        row.clearance_mm += Decimal("0.01") * (place % 3 - 1)
        row.save()
    return job


def make_photo_job(staff: Staff) -> Job:
    """Make a job with a logo and photos of several shapes."""
    shop = make_shop()
    shop.logo.save("logo.png", png("logo.png"))
    job = whole_jobs.make_short_job(staff)
    for number, size in enumerate(((1600, 1200), (900, 1600), (1600, 500), (800, 800), (1600, 1200)), 1):
        photo = Photo(
            job=job, original_name="p.jpg", by=staff[Role.DESK],
            caption=f"Photo {number}: scratch on the tank, under the badge" if number % 2 else "",
        )  # fmt: skip
        photo.image.save("p.jpg", ContentFile(jpeg("p.jpg", size).read()))
        photo.save()
    return job


def make_scripts_job(staff: Staff) -> Job:
    """Make a job with texts in Arabic, Hebrew, Korean, Thai, Hindi and pictures."""
    make_shop(name="Saltmarsh Cycle Works 🏍")
    owner = factories.make_customer(name="محمد الفارسي")
    bike = factories.make_bike(owner=owner, model="Tern 660 빠른")
    job = factories.make_job(
        bike=bike,
        brief="الدراجة بطيئة في المدينة. האופנוע מגמגם בסיבובים נמוכים. 밸브 간극을 조정해 주세요. "
        "ช่วยตั้งวาล์ว कृपया वाल्व सेट करें। 吹け上がりが悪い。 👍🔧",
        received_at=ARRIVED,
        odometer_km=23480.0,
        stage="ready",
        condition="خدش في الخزان",
        next_service="שמן בעוד 500 ק״מ",
    )
    whole_jobs.add_clearances(job, staff[Role.MECHANIC])
    whole_jobs.add_parts(job)
    Wish.objects.create(
        job=job, position=1, text="밸브 간극을 조정해 주세요 👍", result=Wish.Result.DONE,
        answer="All valves in range. تم الضبط", answered_by=staff[Role.TUNER],
    )  # fmt: skip
    return job


def make_seven_tunes_job(staff: Staff) -> Job:
    """Make a job with seven tunes, each with changes; runs with the first and the last."""
    job = whole_jobs.make_whole_job(staff)
    tuner = staff[Role.TUNER]
    kinds = list(TuneChangeKind.objects.all())
    made_from = job.tune_revisions.get(number=1)
    last_run = job.runs.order_by("-made_at").first()
    assert last_run is not None
    for number in range(2, 8):
        made_from = TuneRevision.objects.create(
            job=job, number=number, made_from=made_from, title=f"step {number} towards a calm first opening",
            loaded_at=last_run.made_at + timedelta(hours=number), loaded_by=tuner,
        )  # fmt: skip
        for place in range(3):
            kind = kinds[(number + place) % len(kinds)]
            TuneChange.objects.create(
                revision=made_from, kind=kind, detail=f"range {place + 1}", from_value=str(number),
                to_value=str(number + 1), unit=kind.unit, reason="felt better on the stand",
            )  # fmt: skip
    make_sweeps(job, tuner, "after", last_run.made_at + timedelta(hours=9), made_from, 2)
    return job


def make_track_job(staff: Staff) -> Job:
    """Make a job of a bike for the track only."""
    job = whole_jobs.make_whole_job(staff)
    Job.objects.filter(pk=job.pk).update(intended_use=Job.IntendedUse.TRACK_ONLY)
    job.refresh_from_db()
    return job


STRESS_JOBS: dict[str, Callable[[Staff], Job]] = {
    "nothing recorded": make_bare_job,
    "clearances only": make_clearance_job,
    "200 parts and 20,000 words": make_long_job,
    "40 runs and 6 comparisons": make_many_runs_job,
    "six modes on Letter in inches": make_modes_job,
    "48 valves": make_48_valve_job,
    "logo and photos": make_photo_job,
    "other scripts": make_scripts_job,
    "seven tunes": make_seven_tunes_job,
    "track only": make_track_job,
}
