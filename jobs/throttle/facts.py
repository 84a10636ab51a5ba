"""Throttle tables, idle and engine braking on the handover sheet."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import zip_longest

from django.utils.translation import gettext as _

from jobs.job.facts import ChartFacts, Curve
from jobs.job.facts_codec import from_json
from jobs.job.json_values import number
from jobs.job.printed import Printed
from jobs.job.results import JobResults
from jobs.models import Run
from jobs.throttle.from_runs import drift_checks, job_idles
from jobs.throttle.torque_charts import EngineBraking, engine_braking, idle_change, torque_by_grip
from jobs.tunes.revisions import tune_in_bike
from jobs.tunes.throttle_tables import (
    Mode,
    TableReview,
    compare_modes,
    riding_modes,
    steeper_ends,
    table_speeds,
)


@dataclass(frozen=True)
class ThrottleTableFacts:
    name: str
    before: bool
    grip_pct: list[float]
    engine_speed_rpm: list[float]
    plate_pct: list[Curve]


@dataclass(frozen=True)
class ModeFacts:
    mode: str
    for_whom: str
    tables: list[ThrottleTableFacts]
    sentences: list[str] = field(metadata={"key": "words"})
    changed: bool
    flags: list[str]
    also_recorded: list[str]


@dataclass(frozen=True)
class ModePairFacts:
    pair: str
    sentences: list[str] = field(metadata={"key": "words"})


@dataclass(frozen=True)
class TorqueRowFacts:
    engine_speed_rpm: float
    cells: list[str]


@dataclass(frozen=True)
class TorqueFacts:
    tune: str
    runs: int
    unit: str
    at_rpm: float
    modes: list[str]
    chart: ChartFacts | None
    rows: list[TorqueRowFacts]

    @property
    def by_mode(self) -> list[tuple[str, list[str]]]:
        """The cells of each mode over engine speed: a table of many modes is read by rows."""
        return [(mode, [row.cells[at] for row in self.rows]) for at, mode in enumerate(self.modes)]


@dataclass(frozen=True)
class BrakingRowFacts:
    engine_speed_rpm: float
    torque: Curve
    half_width: Curve = field(default_factory=list)

    @property
    def cells(self) -> list[tuple[float | None, float | None]]:
        """The torque of each tune with its half-width; sheets issued before have none."""
        return list(zip_longest(self.torque, self.half_width))


@dataclass(frozen=True)
class BrakingFacts:
    unit: str
    tunes: list[str]
    change: str
    chart: ChartFacts
    rows: list[BrakingRowFacts]


@dataclass(frozen=True)
class HeldFacts:
    tune: str
    sentence: str


@dataclass(frozen=True)
class IdleFacts:
    run: str
    sentence: str


@dataclass(frozen=True)
class ThrottleFacts:
    modes: list[ModeFacts]
    against: list[ModePairFacts]
    torque: TorqueFacts | None
    held: list[HeldFacts]
    idle: list[IdleFacts]
    idle_change: str
    braking: BrakingFacts | None


def throttle_facts(results: JobResults) -> ThrottleFacts | None:
    """Return riding modes, idle, held grips and engine braking; None if nothing is recorded."""
    modes = results.get(riding_modes)
    held = [HeldFacts(grip.label, grip.result.sentence) for grip in results.get(drift_checks)]
    idles = results.get(job_idles)
    idle = [
        IdleFacts(str(found.run), found.result.sentence if found.result else found.problem) for found in idles
    ]
    brakes = results.get(engine_braking)
    if not (modes or held or idle or brakes):
        return None
    return ThrottleFacts(
        modes=[mode_facts(mode) for mode in modes],
        against=pair_facts(modes),
        torque=torque_facts(results),
        held=held,
        idle=idle,
        idle_change=idle_change(idles),
        braking=braking_facts(brakes) if brakes else None,
    )


def pair_facts(modes: Sequence[Mode]) -> list[ModePairFacts]:
    """Return how the modes in the bike compare, and which end steeper than a sharper one."""
    pairs = [ModePairFacts(pair, sentences) for pair, sentences in compare_modes(modes)]
    steeper = steeper_ends({mode.name: mode.loaded for mode in modes if mode.loaded})
    return [*pairs, *([ModePairFacts(_("Steeper at the end"), steeper)] if steeper else [])]


def torque_facts(results: JobResults) -> TorqueFacts | None:
    """Return torque by grip in each mode, within what held runs measured."""
    modes = results.get(riding_modes)
    speeds = table_speeds(modes)
    if not speeds:
        return None
    tables = {
        f"{mode.name}, {name}" if mode.is_changed else mode.name: review
        for mode in modes
        for name, review in mode.tables
    }
    at_rpm = speeds[len(speeds) // 2]
    found = torque_by_grip(tables, results.rows(Run), results.get(tune_in_bike), speeds, at_rpm, results.shop)
    if found is None or found.problem or not found.rows:
        return None
    return TorqueFacts(
        tune=found.tune,
        runs=found.runs,
        unit=found.unit,
        at_rpm=at_rpm,
        modes=found.modes,
        chart=from_json(found.chart, ChartFacts) if found.chart else None,
        rows=[
            TorqueRowFacts(rpm, [str(cell or _("not measured")) for _mode, cell in cells])
            for rpm, cells in found.rows
        ],
    )


def braking_facts(found: EngineBraking) -> BrakingFacts:
    return BrakingFacts(
        unit=found.unit,
        tunes=found.tunes,
        change=found.change,
        chart=from_json(found.chart, ChartFacts),
        rows=[
            BrakingRowFacts(
                rpm,
                [number(cell.torque, 2) for _, cell in cells],
                [number(cell.half_width, 2) for _, cell in cells],
            )
            for rpm, cells in found.rows
        ],
    )


def mode_facts(mode: Mode) -> ModeFacts:
    return ModeFacts(
        mode=mode.name,
        for_whom=mode.for_whom,
        tables=[table_facts(name, review, mode) for name, review in mode.tables if review.throttle_map],
        sentences=list(mode.sentences),
        changed=mode.is_changed,
        flags=[flag.sentence for flag in mode.flags],
        also_recorded=[table.revision.label for table in mode.others],
    )


def table_facts(name: str, review: TableReview, mode: Mode) -> ThrottleTableFacts:
    grip, speed, plate = review.table.as_arrays()
    return ThrottleTableFacts(
        name=name,
        before=mode.is_changed and review is mode.received,
        grip_pct=grip,
        engine_speed_rpm=speed,
        plate_pct=plate,
    )


def modes_changed(throttle: ThrottleFacts | None) -> list[str]:
    """Return a sentence for each mode that was changed."""
    modes = throttle.modes if throttle else []
    return [mode.sentences[0] for mode in modes if mode.changed and mode.sentences]


def throttle_done(results: JobResults) -> list[str]:
    return modes_changed(results.get(throttle_facts))


THROTTLE: Printed[ThrottleFacts | None] = Printed(
    "throttle",
    throttle_facts,
    ThrottleFacts | None,
    heading="Throttle and idle",
    title="throttle",
    template="jobs/throttle/_sheet.html",
)
