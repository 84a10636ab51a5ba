"""The snapshot of a sheet, format 1; the facts of each record are declared in its own package.

A key that older sheets lack has a default. Values are in the unit of their name, times are ISO 8601 in UTC.
"""

from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

from django.utils.translation import gettext as _

from jobs.comparisons.facts import COMPARISONS, ComparisonFacts
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
        text = _("Your insurer, the inspection body or an authority may have to be told about: %(named)s.")
        return text % {"named": "; ".join(self.to_report)}


@dataclass(frozen=True)
class PresentFacts:
    """The bike before the first change and now.

    Attributes
    ----------
    index : int or None
        Which printed comparison it is.
    comparison : ComparisonFacts or None
        The comparison itself if it is none of those.
    reason : str
        Why there is none.
    since : list of str
        What changed after the last run, so that "now" was not measured.
    """

    index: int | None = None
    comparison: ComparisonFacts | None = None
    reason: str = ""
    since: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class InstrumentFacts:
    """What something was measured with; an empty text is not recorded.

    Attributes
    ----------
    used : str
        What was measured, and on which days.
    checked : str
        The last check on or before those days.
    overdue : bool
        Whether the next check was due before them.
    """

    name: str
    number: str = ""
    checked: str = ""
    used: str = ""
    overdue: bool = False


# --- the sheet itself


@dataclass(frozen=True)
class SupersededFacts:
    number: str
    issued_at: str | None
    changed: list[str]


@dataclass(frozen=True)
class IssueFacts:
    """An earlier issue of the sheet, and what was new in it."""

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
    language: str = ""  # of its sentences and of the paper; English if not stored


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
    present: PresentFacts | None = None
    instruments: list[InstrumentFacts] = field(default_factory=list)
    issues: list[IssueFacts] = field(default_factory=list)  # before this one, oldest first
    format: int = FORMAT

    @property
    def language(self) -> str:
        return self.sheet.language or "en"

    @property
    def comparisons(self) -> list[ComparisonFacts]:
        """The printed comparisons; last the one between the bike before the first change and now."""
        computed = self.present.comparison if self.present else None
        return [*self.get(COMPARISONS), *([computed] if computed else [])]

    @property
    def overall_index(self) -> int | None:
        """Which of ``comparisons`` is between the bike before the first change and now, if any.

        A sheet issued before this was derived has the first one that has curves.
        """
        found = self.comparisons
        if self.present is None:
            return next((index for index, compared in enumerate(found) if compared.curves), None)
        index = len(found) - 1 if self.present.comparison else self.present.index
        is_there = index is not None and index < len(found) and found[index].curves
        return index if is_there else None

    @property
    def overall(self) -> ComparisonFacts | None:
        return None if self.overall_index is None else self.comparisons[self.overall_index]

    def get(self, printed: Printed[T]) -> T:
        """Return the facts of a record."""
        return cast("T", self.records.get(printed.name, printed.absent))
