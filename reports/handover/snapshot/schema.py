"""The snapshot of a sheet, format 1; the facts of each record are declared in its own package.

A key that older sheets lack has a default. Values are in the unit of their name, times are ISO 8601 in UTC.
"""

from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

from jobs.job.printed import Printed

FORMAT = 1
T = TypeVar("T")


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
    responsible_name: str = ""
    responsible_role: str = ""


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


# --- what was not tested, what comes next, notices


@dataclass(frozen=True)
class UntestedFacts:
    """A sentence, and the events that it is about."""

    text: str
    events: list[str]


@dataclass(frozen=True)
class NotTestedFacts:
    note: str = field(metadata={"key": "said"})
    derived: list[UntestedFacts]


@dataclass(frozen=True)
class NextServiceFacts:
    note: str = field(metadata={"key": "said"})
    derived: list[str]


@dataclass(frozen=True)
class NoticeFacts:
    wording: int
    track_only: bool
    state: str
    lead: str
    causes: list[str]
    informed_person: str = field(metadata={"key": "told"})
    road_use: str
    safety: str
    cautions: list[str]
    shop: str
    record: str
    looked_at: str = ""
    to_report: list[str] = field(default_factory=list)

    @property
    def report_sentence(self) -> str:
        """What the insurer or an authority may have to be told of; empty if nothing is recorded."""
        if not self.to_report:
            return ""
        named = "; ".join(self.to_report)
        return f"The insurer, the inspection body or an authority may have to be told of: {named}."


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
    open_points: list[str] = field(default_factory=list)  # that the owner overrode to issue it
    not_told: bool = False  # the customer was to be told about road use and was not
    check_address: str = ""  # where anyone can compare the sheet with what the shop issued


@dataclass(frozen=True)
class Snapshot:
    """Everything an issued sheet says."""

    sheet: SheetFacts
    shop: ShopFacts
    customer: CustomerFacts
    bike: BikeFacts
    engine: EngineFacts | None
    records: dict[str, Any]  # the facts of each record, by the name of what it prints
    not_tested: NotTestedFacts
    next_service: NextServiceFacts
    not_printed: list[str]
    notices: NoticeFacts
    done: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    not_inspected: str = ""
    confirmation: str = ""  # what the customer's name on the sheet stands for
    format: int = FORMAT

    def get(self, printed: Printed[T]) -> T:
        """Return the facts of a record."""
        return cast("T", self.records.get(printed.name, printed.absent))
