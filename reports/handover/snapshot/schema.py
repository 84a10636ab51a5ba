"""The snapshot of a sheet, format 1: every key of its JSON, with its type.

A key that is a word of Python carries an underscore here (``from_``). A key that older sheets lack has a
default. Figures are in the unit of their name, times are ISO 8601 in UTC. ``Json`` is what another part of
the program stores in a form of its own.
"""

from dataclasses import dataclass, field
from typing import Any

FORMAT = 1
LEFT_OUT_IF_NONE = {"left_out_if_none": True}  # a field without a key in the JSON unless it has a value

Json = dict[str, Any]
Curve = list[float | None]


# --- shop, customer, bike


@dataclass(frozen=True)
class LogoFacts:
    type: str
    base64: str


@dataclass(frozen=True)
class UnitFacts:
    power_unit: str
    torque_unit: str
    pressure_unit: str
    temperature_unit: str
    length_unit: str
    distance_unit: str


@dataclass(frozen=True)
class ShopFacts:
    name: str
    address: str
    phone: str
    email: str
    paper: str
    time_zone: str
    currency: str
    units: UnitFacts
    logo: LogoFacts | None


@dataclass(frozen=True)
class CustomerFacts:
    name: str
    experience: str
    riding_mass_kg: float | None


@dataclass(frozen=True)
class BikeFacts:
    title: str
    make: str
    model: str
    year: int | None
    vin: str
    plate: str
    front_sprocket: int | None
    rear_sprocket: int | None
    front_tyre: str
    rear_tyre: str


@dataclass(frozen=True)
class EngineFacts:
    title: str
    adjuster: str
    source: str
    check_interval_km: int | None
    check_interval_hours: int | None


# --- brief


@dataclass(frozen=True)
class WorkFacts:
    description: str
    price: str | None
    done: bool


@dataclass(frozen=True)
class PhotoFacts:
    shows: str
    taken_at: str | None
    jpeg_base64: str | None


@dataclass(frozen=True)
class BriefFacts:
    asked: str
    intended_use: str
    track_only: bool
    booked_for: str | None
    received_at: str | None
    promised_at: str | None
    handed_over_at: str | None
    odometer_km: float | None
    engine_hours: float | None
    fuel: str
    keys: int | None
    condition: str
    mechanic: str
    tuner: str
    work: list[WorkFacts]
    work_total: str | None
    authorised: str | None
    photos: list[PhotoFacts]


# --- valve clearances


@dataclass(frozen=True)
class ClearanceSetFacts:
    when: str
    at: str | None
    by: str
    instrument: str
    engine_temperature_c: float | None
    note: str


@dataclass(frozen=True)
class RangeFacts:
    label: str
    low_mm: float | None
    high_mm: float | None
    target_mm: float | None
    tolerance_mm: float | None


@dataclass(frozen=True)
class ReadingFacts:
    low_mm: float | None
    high_mm: float | None
    best_mm: float | None
    shim_mm: float | None
    shim_measured: bool


@dataclass(frozen=True)
class JudgedReadingFacts(ReadingFacts):
    verdict: str
    in_range: bool


@dataclass(frozen=True)
class LooseReadingFacts(ReadingFacts):
    label: str
    when: str
    at: str | None


@dataclass(frozen=True)
class ValveFacts:
    label: str
    low_mm: float | None
    high_mm: float | None
    target_mm: float | None
    found: JudgedReadingFacts | None
    left: JudgedReadingFacts | None
    surprise: str


@dataclass(frozen=True)
class ShimFacts:
    label: str
    out_mm: float | None
    in_mm: float | None
    stays: bool
    origin: str
    predicted_mm: float | None
    why: str


@dataclass(frozen=True)
class PlanFacts:
    policy: str
    accepted_at: str | None
    accepted_by: str
    booked_out_at: str | None
    rows: list[ShimFacts]


@dataclass(frozen=True)
class CourseFacts:
    label: str
    course: str


@dataclass(frozen=True)
class ClearanceFacts:
    sets: list[ClearanceSetFacts]
    plans: list[PlanFacts]
    rows: list[ValveFacts]
    summary: str
    ranges: list[RangeFacts]
    earlier: list[LooseReadingFacts]
    has_found: bool = False
    has_left: bool = False
    shims: bool = False
    out: list[str] = field(default_factory=list)
    not_measured: list[str] = field(default_factory=list)
    courses: list[CourseFacts] = field(default_factory=list)


# --- parts and tune


@dataclass(frozen=True)
class PartFacts:
    name: str
    maker: str
    number: str
    serial: str
    quantity: float | None
    fitted_at: str | None
    replaces: str
    race_only: bool
    changes: list[str]
    note: str


@dataclass(frozen=True)
class TuneChangeFacts:
    kind: str
    detail: str
    from_: str
    to: str
    unit: str
    reason: str
    affects_road_use: bool


@dataclass(frozen=True)
class RevisionFacts:
    label: str
    title: str
    made_from: str
    loaded_at: str | None
    loaded_by: str
    in_bike: bool
    calibration_name: str
    calibration_sha256: str
    note: str
    changes: list[TuneChangeFacts]


@dataclass(frozen=True)
class TuneFacts:
    in_bike: str
    revisions: list[RevisionFacts]


# --- runs and comparisons


@dataclass(frozen=True)
class RunFacts:
    name: str
    kind: str
    made_at: str | None
    made_by: str
    gear: int | None
    tune: str
    temperature_c: float | None
    pressure_kpa: float | None
    humidity_pct: float | None
    standard: str
    factor: float | None
    limits_passed: list[str]
    came_corrected: bool
    peak_power_kw: float | None
    peak_power_rpm: float | None
    peak_torque_nm: float | None
    peak_torque_rpm: float | None
    flags: list[str]
    without_curve: str
    set_aside: str
    note: str
    sha256: str


@dataclass(frozen=True)
class SeriesFacts:
    label: str
    state: str
    x: list[float]
    y: Curve
    low: Curve | None = field(default=None, metadata=LEFT_OUT_IF_NONE)
    high: Curve | None = field(default=None, metadata=LEFT_OUT_IF_NONE)


@dataclass(frozen=True)
class PanelFacts:
    title: str
    y_label: str
    y_unit: str
    digits: int
    series: list[SeriesFacts]


@dataclass(frozen=True)
class ChartFacts:
    x_label: str
    x_unit: str
    x_digits: int
    panels: list[PanelFacts]


@dataclass(frozen=True)
class DriveRowFacts:
    label: str
    before: str
    after: str
    difference: str
    interval: str
    verdict: str


@dataclass(frozen=True)
class DriveBandFacts:
    name: str
    rows: list[DriveRowFacts]


@dataclass(frozen=True)
class DriveFacts:
    caption: str
    lead: str
    bands: list[DriveBandFacts]
    ceiling: str
    notes: list[str]
    assumed: str
    chart: ChartFacts


@dataclass(frozen=True)
class SideFacts:
    """The mean curves of one side of a comparison, with their 95 % bands."""

    runs: int
    power_kw: Curve
    power_kw_low: Curve
    power_kw_high: Curve
    torque_nm: Curve
    torque_nm_low: Curve
    torque_nm_high: Curve
    lambda_: Curve | None


@dataclass(frozen=True)
class DifferenceFacts:
    mean: Curve
    low: Curve
    high: Curve


@dataclass(frozen=True)
class CurvesFacts:
    engine_speed_rpm: list[float]
    before: SideFacts
    after: SideFacts
    power_difference_kw: DifferenceFacts
    torque_difference_nm: DifferenceFacts


@dataclass(frozen=True)
class FigureFacts:
    label: str
    quantity: str
    before: float
    after: float
    difference: float
    low: float
    high: float
    difference_pct: float | None
    verdict: str
    sentence: str


@dataclass(frozen=True)
class BandFacts:
    name: str
    from_rpm: float
    to_rpm: float
    figures: list[FigureFacts]


@dataclass(frozen=True)
class EventFacts:
    at: str | None
    text: str


@dataclass(frozen=True)
class ComparisonFacts:
    title: str
    note: str
    before_runs: list[str]
    after_runs: list[str]
    standard: str
    reason: str
    changes: list[EventFacts]
    claim: str
    flags: list[str]
    left_out: list[str]
    curves: CurvesFacts | None
    bands: list[BandFacts]
    drive_out: DriveFacts | None = None
    assumed_pct: float | None = None


# --- mixture and throttle


@dataclass(frozen=True)
class MixtureFacts:
    title: str
    runs: list[str]
    engine_speed_rpm: list[float]
    load_pct: list[float]
    load: str
    target: Any
    fuel: str
    delay_ms: float | None
    settings: Json
    result: Json | None
    standing: str
    grave: list[str]
    told: list[str]
    fuel_table: str
    warnings: list[str]
    left_out: list[str]
    fuel_table_before: Json | None
    fuel_table_after: Json | None


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
    words: list[str]
    changed: bool
    flags: list[str]
    also_recorded: list[str]


@dataclass(frozen=True)
class ModePairFacts:
    pair: str
    words: list[str]


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


@dataclass(frozen=True)
class BrakingRowFacts:
    engine_speed_rpm: float
    torque: Curve


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


# --- suspension, other changes, checks


@dataclass(frozen=True)
class SettingFacts:
    when: str
    at: str | None
    by: str
    note: str


@dataclass(frozen=True)
class SettingFigureFacts:
    value: str | float | None
    quantity: str


@dataclass(frozen=True)
class SettingRowFacts:
    name: str
    figures: list[SettingFigureFacts]


@dataclass(frozen=True)
class SettingGroupFacts:
    title: str
    rows: list[SettingRowFacts]


@dataclass(frozen=True)
class GearFacts:
    number: int
    speeds_kmh: list[float]


@dataclass(frozen=True)
class GearsFacts:
    engine_speed_rpm: float
    change_pct: float | None
    sprockets: list[list[int]]
    gears: list[GearFacts]


@dataclass(frozen=True)
class SuspensionFacts:
    settings: list[SettingFacts]
    groups: list[SettingGroupFacts]
    gears: GearsFacts | None
    hints: list[str]
    guides: list[str]


@dataclass(frozen=True)
class BikeChangeFacts:
    kind: str
    description: str
    at: str | None
    by: str


@dataclass(frozen=True)
class CheckFacts:
    text: str
    by: str
    at: str | None
    note: str


@dataclass(frozen=True)
class ChecklistFacts:
    title: str
    items: list[CheckFacts]
    open: int


# --- what was not tested, what comes next, notices


@dataclass(frozen=True)
class UntestedFacts:
    """A sentence, and the events that it is about."""

    text: str
    events: list[str]


@dataclass(frozen=True)
class NotTestedFacts:
    said: str
    derived: list[UntestedFacts]


@dataclass(frozen=True)
class NextServiceFacts:
    said: str
    derived: list[str]


@dataclass(frozen=True)
class NoticeFacts:
    wording: int
    track_only: bool
    state: str
    lead: str
    causes: list[str]
    told: str
    road_use: str
    safety: str
    cautions: list[str]
    shop: str
    record: str


# --- the sheet itself


@dataclass(frozen=True)
class SupersededFacts:
    number: str
    issued_at: str | None
    changed: list[str]


@dataclass(frozen=True)
class LinkFacts:
    address: str
    until: str


@dataclass(frozen=True)
class SheetFacts:
    job: str
    number: str
    issue_number: int
    issued_at: str
    issued_by: str
    override_reason: str
    draft: bool
    supersedes: SupersededFacts | None
    link: LinkFacts | None


@dataclass(frozen=True)
class Snapshot:
    """Everything an issued sheet says."""

    sheet: SheetFacts
    shop: ShopFacts
    customer: CustomerFacts
    bike: BikeFacts
    engine: EngineFacts | None
    brief: BriefFacts
    clearances: ClearanceFacts | None
    parts: list[PartFacts]
    tune: TuneFacts | None
    runs: list[RunFacts]
    comparisons: list[ComparisonFacts]
    mixture: list[MixtureFacts]
    throttle: ThrottleFacts | None
    suspension: SuspensionFacts | None
    bike_changes: list[BikeChangeFacts]
    checks: list[ChecklistFacts]
    not_tested: NotTestedFacts
    next_service: NextServiceFacts
    not_printed: list[str]
    notices: NoticeFacts
    done: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    format: int = FORMAT
