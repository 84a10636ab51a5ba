"""The road-use notice of every kind of part, change, tune setting and state, for every intended use.

The expected values are written by hand from the rules: a kind with an effect is a cause as long as what it
names is on the bike, from whichever job; what was taken off, undone or put back is none; a marking for race
use is a cause of its own; an approval removes none. The customer is to be told if the bike is meant for the
road and has a cause. Only a bike for the track is stamped.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from jobs.job.road_use import road_causes as find_road_causes
from jobs.job.road_use import to_report
from jobs.models import (
    BikeChange,
    Job,
    Part,
    PartKind,
    SuspensionSetting,
    TuneChange,
    TuneChangeKind,
    TuneRevision,
)
from reports.handover.issuing import needs_informed_person
from reports.handover.notices import notices_for
from reports.handover.sheet import page_stamps
from reports.handover.snapshot import make_snapshot
from tests import factories
from workshop.models import Role, StaffMember

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

# What a kind does to road use, and whether the insurer or an authority may have to be told.
NOTHING, MAY, MAY_TELL, RACE_TELL = "nothing", "may", "may, tell", "race, tell"

PART_KINDS = {
    "part as built, renewed or refitted": NOTHING,
    "put back as built, or removed": NOTHING,
    "brakes": MAY_TELL,
    "anti-lock brakes or a rider aid": MAY_TELL,
    "gearing": MAY_TELL,
    "suspension": MAY_TELL,
    "steering or handlebar": MAY_TELL,
    "frame or swing arm": MAY_TELL,
    "wheel": MAY_TELL,
    "tyre as the bike's papers name it": NOTHING,
    "tyre": MAY,
    "tyre not for the road": RACE_TELL,
    "silencer": MAY_TELL,
    "exhaust": MAY_TELL,
    "catalyst": MAY_TELL,
    "catalyst taken out": RACE_TELL,
    "intake": MAY_TELL,
    "air box": MAY_TELL,
    "air filter": MAY,
    "emission control part": MAY_TELL,
    "sensor removed or disabled": MAY_TELL,
    "control unit or added module": MAY_TELL,
    "power or speed limiter": MAY_TELL,
    "engine part, not as built": MAY_TELL,
    "lights, indicators or reflectors": MAY,
    "mirrors": MAY,
    "number plate or its holder": MAY,
    "horn or speedometer": MAY,
    "seat or footrests": MAY,
    "bodywork, screen or guards": MAY,
    "stand or luggage": MAY,
    "road equipment removed": RACE_TELL,
    "fuel": NOTHING,
    "fuel not sold for the road": MAY,
    "something else": MAY_TELL,
}
TUNE_KINDS = {
    "idle speed": NOTHING,
    "rev limiter": MAY_TELL,
    "top-speed limiter": MAY_TELL,
    "sensor feedback": MAY_TELL,
    "throttle table": NOTHING,
    "throttle plate at closed grip": NOTHING,
    "fuel": MAY_TELL,
    "ignition": MAY_TELL,
    "cooling-fan threshold": NOTHING,
    "quick-shift": NOTHING,
    "engine braking": NOTHING,
    "traction control or wheelie control": MAY_TELL,
    "secondary air system": MAY_TELL,
    "exhaust valve": MAY_TELL,
    "gear-dependent torque limit": MAY_TELL,
    "something else": MAY_TELL,
}
NO_KIND = "a part without a kind"


@dataclass(frozen=True)
class Expected:
    """Number of causes, and whether the insurer or an authority may have to be told."""

    causes: int
    tell: bool = False
    race: bool = False


NONE = Expected(0)
# By state of the part or change, and by what its kind does.
STATES: dict[str, dict[str, Expected]] = {
    "fitted in this job": {
        NOTHING: NONE,
        MAY: Expected(1),
        MAY_TELL: Expected(1, tell=True),
        RACE_TELL: Expected(1, tell=True, race=True),
    },
    "fitted in an earlier job": {
        NOTHING: NONE,
        MAY: Expected(1),
        MAY_TELL: Expected(1, tell=True),
        RACE_TELL: Expected(1, tell=True, race=True),
    },
    "with an approval number": {
        NOTHING: NONE,
        MAY: Expected(1),
        MAY_TELL: Expected(1, tell=True),
        RACE_TELL: Expected(1, tell=True, race=True),
    },
    "listed, not fitted": {
        NOTHING: NONE,
        MAY: Expected(1),
        MAY_TELL: Expected(1, tell=True),
        RACE_TELL: Expected(1, tell=True, race=True),
    },
    "taken off in a later job": {NOTHING: NONE, MAY: NONE, MAY_TELL: NONE, RACE_TELL: NONE},
    "original part refitted in a later job": {NOTHING: NONE, MAY: NONE, MAY_TELL: NONE, RACE_TELL: NONE},
    "marked race use only": {
        NOTHING: Expected(1, tell=True, race=True),
        MAY: Expected(1, tell=True, race=True),
        MAY_TELL: Expected(1, tell=True, race=True),
        RACE_TELL: Expected(1, tell=True, race=True),
    },
}
PARTS_ONLY = {"listed, not fitted", "marked race use only"}
TUNE_STATES: dict[str, dict[str, Expected]] = {
    "loaded in this job": {NOTHING: NONE, MAY_TELL: Expected(1, tell=True)},
    "loaded in an earlier job": {NOTHING: NONE, MAY_TELL: Expected(1, tell=True)},
    "put back in this job": {NOTHING: NONE, MAY_TELL: NONE},
    "put back in a later job": {NOTHING: NONE, MAY_TELL: NONE},
    "manufacturer's calibration loaded later": {NOTHING: NONE, MAY_TELL: NONE},
}
# By intended use: whether a cause has to be told to the customer, and the stamp on every page.
USES: dict[str, tuple[bool, list[str]]] = {
    "road": (True, []),
    "road_and_track": (True, []),
    "track_only": (False, ["Track use only"]),
}
START = datetime(2026, 3, 2, 9, tzinfo=UTC)


@dataclass
class Bench:
    """A bike with an earlier job and the present one."""

    earlier: Job
    now: Job
    by: StaffMember

    def at(self, job: Job) -> datetime:
        return START if job == self.earlier else START + timedelta(days=30)

    def fit(self, job: Job, kind: str, **values: Any) -> Part:
        found = None if kind == NO_KIND else factories.get_part_kind(kind)
        return Part.objects.create(
            job=job, **{"name": "Thing", "kind": found, "fitted_at": self.at(job), **values}
        )

    def change(self, job: Job, kind: str, **values: Any) -> BikeChange:
        found = factories.get_part_kind(kind)
        return BikeChange.objects.create(
            job=job, kind=found, by=self.by, **{"description": "Thing", "at": self.at(job), **values}
        )

    def load(
        self, job: Job, number: int, kind: str = "", before: str = "", after: str = "", **values: Any
    ) -> None:
        received = {"loaded_by": self.by, "loaded_at": self.at(job)}
        TuneRevision.objects.get_or_create(job=job, number=0, defaults=received)
        at = self.at(job) + timedelta(hours=number)
        tune = TuneRevision.objects.create(job=job, number=number, loaded_by=self.by, loaded_at=at, **values)
        if kind:
            found = TuneChangeKind.objects.get(name=kind)
            TuneChange.objects.create(
                revision=tune, kind=found, from_value=before, to_value=after, reason="asked for"
            )

    def set(self, job: Job, when: str, **values: Any) -> None:
        at = self.at(job) + timedelta(hours=1 if when == "as_left" else 0)
        SuspensionSetting.objects.create(job=job, when=when, set_at=at, by=self.by, **values)


@pytest.fixture
def bench(db) -> Bench:
    by = factories.make_staff(Role.OWNER)
    spec = factories.make_engine(
        rev_limit_rpm=10_000, primary_ratio=1.85, gear_ratios=[2.0, 1.0], front_sprocket=16, rear_sprocket=45
    )
    bike = factories.make_bike(engine_spec=spec)
    earlier = factories.make_job(bike=bike, received_at=START)
    return Bench(earlier, factories.make_job(bike=bike, received_at=START + timedelta(days=30)), by)


def check(bench: Bench, expected: Expected, state: str) -> None:
    """Hold causes, telling and stamp to what is expected, for each intended use."""
    for use, (is_told, stamps) in USES.items():
        bench.now.intended_use = use
        bench.now.save()
        results = factories.load_results(bench.now)
        causes = results.get(find_road_causes)
        notice = notices_for(results, "")
        found = (
            len(causes),
            bool(to_report(causes)),
            any(cause.race_only for cause in causes),
            needs_informed_person(results),
            ["Track use only"] if notice.track_only else [],
            notice.state,
        )
        lead = "track" if use == "track_only" else "causes" if expected.causes else "clear"
        is_due = bool(expected.causes) and is_told
        assert found == (expected.causes, expected.tell, expected.race, is_due, stamps, lead), (state, use)
        assert len(notice.causes) == expected.causes


def make_state(bench: Bench, state: str, kind: str, make: Callable[..., Part | BikeChange]) -> None:
    """Bring the bike into a state by a part or change of a kind."""
    if state == "fitted in this job":
        make(bench.now, kind)
    elif state == "fitted in an earlier job":
        make(bench.earlier, kind)
    elif state == "with an approval number":
        make(bench.now, kind, approval="E1 04*0017")
    elif state == "listed, not fitted":
        make(bench.now, kind, fitted_at=None)
    elif state == "marked race use only":
        make(bench.now, kind, race_only=True)
    else:
        gone = make(bench.earlier, kind)
        takes_off = {"removes_part" if isinstance(gone, Part) else "removes_change": gone}
        if state == "taken off in a later job":
            bench.change(bench.now, "put back as built, or removed", **takes_off)
        else:
            bench.fit(bench.now, "part as built, renewed or refitted", **takes_off)


def clear(bench: Bench) -> None:
    for model in (TuneRevision, SuspensionSetting, BikeChange, Part):
        for row in model.objects.order_by("-pk"):
            row.delete()


@pytest.mark.parametrize("kind", [*PART_KINDS, NO_KIND])
def test_part_of_every_kind(bench, kind) -> None:
    for state, expected in STATES.items():
        make_state(bench, state, kind, bench.fit)
        check(bench, expected[PART_KINDS.get(kind, NOTHING)], state)
        clear(bench)


@pytest.mark.parametrize("kind", PART_KINDS)
def test_bike_change_of_every_kind(bench, kind) -> None:
    for state in STATES.keys() - PARTS_ONLY:
        make_state(bench, state, kind, bench.change)
        check(bench, STATES[state][PART_KINDS[kind]], state)
        clear(bench)


@pytest.mark.parametrize("kind", TUNE_KINDS)
def test_tune_change_of_every_kind(bench, kind) -> None:
    for state, expected in TUNE_STATES.items():
        first = bench.now if "this job" in state else bench.earlier
        bench.load(first, 1, kind, "on", "off")
        if state == "put back in this job":
            bench.load(bench.now, 2, kind, "off", "on")
        elif state == "put back in a later job":
            bench.load(bench.now, 1, kind, "off", "on")
        elif state.startswith("manufacturer's"):
            bench.load(bench.now, 1, is_as_built=True)
        check(bench, expected[TUNE_KINDS[kind]], state)
        clear(bench)


def top_speed(bench: Bench, kmh: int, **tyres: str) -> None:
    bench.now.bike.top_speed_kmh = kmh
    geared(bench, **tyres)


def geared(bench: Bench, **tyres: str) -> None:
    for name, marking in tyres.items():
        setattr(bench.now.bike, name, marking)
    bench.now.bike.save()


# Speed symbols by UN R75 and ISO 4223-1: H 210, V 240, W 270 km/h; in brackets, or Z alone: more than that.
# Geared: 10 000 rpm / (1.85 · 45/16) · 3.05 · (17 · 25.4 + 2 · 140 · 0.8) mm · 60 / 10⁶ = 230.6 km/h.
OTHER_STATES: dict[str, tuple[Callable[[Bench], None], Expected]] = {
    "calibration file without a typed change": (
        lambda b: b.load(b.now, 1, calibration="a", calibration_name="a.bin", calibration_sha256="0" * 64),
        Expected(1, tell=True),
    ),
    "the same in an earlier job": (
        lambda b: b.load(
            b.earlier, 1, calibration="a", calibration_name="a.bin", calibration_sha256="0" * 64
        ),
        Expected(1, tell=True),
    ),
    "tune without any recorded change": (
        lambda b: b.load(b.now, 1, title="smoother"),
        Expected(1, tell=True),
    ),
    "manufacturer's own calibration": (lambda b: b.load(b.now, 1, is_as_built=True), NONE),
    "sprockets other than as built": (
        lambda b: b.set(b.earlier, "as_left", front_sprocket=15, rear_sprocket=45),
        Expected(1, tell=True),
    ),
    "sprockets put back": (
        lambda b: (
            b.set(b.earlier, "as_left", front_sprocket=15, rear_sprocket=45),
            b.set(b.now, "as_left", front_sprocket=16, rear_sprocket=45),
        ),
        NONE,
    ),
    "ride height changed": (
        lambda b: (b.set(b.now, "as_found", rear_height="0 mm"), b.set(b.now, "as_left", rear_height="6 mm")),
        Expected(1),
    ),
    "ride height put back": (
        lambda b: (
            b.set(b.earlier, "as_found", rear_height="0 mm"),
            b.set(b.now, "as_left", rear_height="0 MM"),
        ),
        NONE,
    ),
    "springs and clicks changed": (
        lambda b: (b.set(b.now, "as_found", rear_preload="3"), b.set(b.now, "as_left", rear_preload="5")),
        NONE,
    ),
    "both tyres below the papers' top speed": (
        lambda b: top_speed(b, 215, front_tyre="120/70-17 58H", rear_tyre="160/60-17 69H"),
        Expected(2, tell=True),
    ),
    "tyres at the papers' top speed": (
        lambda b: top_speed(b, 210, front_tyre="120/70-17 58H", rear_tyre="160/60-17 69H"),
        NONE,
    ),
    "rear tyre below the geared speed": (
        lambda b: geared(b, rear_tyre="140/80-17 69H"),
        Expected(1, tell=True),
    ),
    "rear tyre above the geared speed": (lambda b: geared(b, rear_tyre="140/80-17 69V"), NONE),
    "open-ended symbol below the top speed": (
        lambda b: top_speed(b, 299, rear_tyre="190/50ZR17 (73W)"),
        Expected(1, tell=True),
    ),
    "size with Z alone below the top speed": (
        lambda b: top_speed(b, 250, rear_tyre="190/50ZR17"),
        Expected(1, tell=True),
    ),
    "symbol without a known top speed": (lambda b: geared(b, front_tyre="120/70-17 58H"), NONE),
    "nothing recorded": (lambda b: None, NONE),
}


@pytest.mark.parametrize("state", OTHER_STATES)
def test_other_state_of_the_bike(bench, state) -> None:
    make, expected = OTHER_STATES[state]
    make(bench)
    check(bench, expected, state)


@pytest.mark.parametrize("use", USES)
def test_only_a_bike_for_the_track_is_stamped(bench, use) -> None:
    bench.now.intended_use = use
    bench.now.save()
    for _ in range(2):
        results = factories.load_results(bench.now)
        snapshot = make_snapshot(results, issue_number=1, issued_by=bench.by, at=START)
        assert page_stamps(snapshot) == USES[use][1]
        bench.fit(bench.now, "exhaust", race_only=True)


def kinds_of_a_new_shop() -> Iterator[tuple[str, set[str], set[str]]]:
    yield "parts and changes", set(PartKind.objects.values_list("name", flat=True)), set(PART_KINDS)
    yield "tune changes", set(TuneChangeKind.objects.values_list("name", flat=True)), set(TUNE_KINDS)
    yield "intended uses", set(Job.IntendedUse.values), set(USES)


def test_table_holds_every_kind_and_use() -> None:
    for what, stored, listed in kinds_of_a_new_shop():
        assert stored == listed, what


def test_effect_and_telling_of_every_kind_are_as_listed() -> None:
    meanings = {
        NOTHING: ("none", False),
        MAY: ("may", False),
        MAY_TELL: ("may", True),
        RACE_TELL: ("race", True),
    }
    for name, meaning in PART_KINDS.items():
        kind = factories.get_part_kind(name)
        assert (kind.road_use, kind.inform) == meanings[meaning], name
