"""The engine library: clearances, shims and ratios, and the source of the values."""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from jobs.calc.dyno import air
from workshop.models.base import Record
from workshop.models.personal_data import PersonalData


class Side(models.TextChoices):
    INTAKE = "intake", "intake"
    EXHAUST = "exhaust", "exhaust"


class ClearanceKind(models.TextChoices):
    """The gaps of a valve; only a desmodromic valve has a closing one."""

    OPENING = "opening", "opening clearance"
    CLOSING = "closing", "closing clearance"


POSITIONS = {1: ("",), 2: ("left", "right"), 3: ("left", "centre", "right")}


@dataclass(frozen=True)
class Valve:
    """One valve: cylinder from 1, side, position from 1 (left to right, seen from the rider's seat)."""

    cylinder: int
    side: str
    position: int
    of: int

    @property
    def key(self) -> str:
        return f"{self.cylinder}-{self.side}-{self.position}"

    @property
    def place(self) -> str:
        """'left', 'centre' or 'right'; '' if the side has only one valve."""
        return POSITIONS[self.of][self.position - 1]

    @property
    def label(self) -> str:
        text = _("cylinder %(number)s, %(side)s %(place)s")
        side, place = pgettext("valve", str(self.side)), _(self.place) if self.place else ""
        return (text % {"number": self.cylinder, "side": side, "place": place}).strip()


@dataclass(frozen=True)
class ClearanceRange:
    """Limits of one kind of clearance [mm]; None if not entered."""

    label: str
    low_mm: Decimal | None
    high_mm: Decimal | None
    target_mm: Decimal | None


@dataclass(frozen=True)
class ShimSeries:
    """The available shims [mm]; None if not entered."""

    label: str
    diameter_mm: Decimal | None
    step_mm: Decimal | None
    thinnest_mm: Decimal | None
    thickest_mm: Decimal | None


def mm_field(name: str, **kwargs: Any) -> models.DecimalField:
    """Return a model field for a length [mm], exact to 0.00001 mm so that inch entries lose nothing."""
    return models.DecimalField(
        name,
        max_digits=9,
        decimal_places=5,
        validators=[MinValueValidator(0)],
        **{"null": True, "blank": True, **kwargs},
    )


class EngineSpec(Record):
    class Arrangement(models.TextChoices):
        SINGLE = "single", "single"
        INLINE = "inline", "in-line"
        V = "v", "V"
        BOXER = "boxer", "boxer"

    class Adjuster(models.TextChoices):
        SHIM_UNDER_BUCKET = "shim_under_bucket", "shim under bucket"
        SHIM_OVER_BUCKET = "shim_over_bucket", "shim over bucket"
        FINGER_FOLLOWER = "finger_follower", "finger follower with shim"
        SCREW = "screw", "screw and locknut"
        DESMODROMIC = "desmodromic", "desmodromic, opening and closing shims"

    class Camshafts(models.TextChoices):
        SOHC = "sohc", "one camshaft per bank (SOHC)"
        DOHC = "dohc", "two camshafts per bank (DOHC)"

    class Cycle(models.TextChoices):
        FOUR_STROKE = "four_stroke", "four-stroke"
        TWO_STROKE = "two_stroke", "two-stroke"

    class Induction(models.TextChoices):
        NATURAL = air.Induction.NATURAL.value, "naturally aspirated"
        CHARGED = air.Induction.CHARGED.value, "forced induction, boost follows the outside air"
        CONSTANT_BOOST = (
            air.Induction.CONSTANT_BOOST.value,
            "forced induction that keeps its boost pressure by itself",
        )

    class Ignition(models.TextChoices):
        SPARK = air.Ignition.SPARK.value, "spark ignition"
        COMPRESSION = air.Ignition.COMPRESSION.value, "compression ignition"

    maker = models.CharField("manufacturer", max_length=60)
    name = models.CharField("engine", max_length=80)
    cylinders = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(8)])
    arrangement = models.CharField(max_length=10, choices=Arrangement)
    front_bank_cylinders = models.PositiveSmallIntegerField(
        "cylinders of the front bank (V) or left side (boxer)", null=True, blank=True
    )
    camshafts = models.CharField(max_length=8, choices=Camshafts, default=Camshafts.DOHC)
    intake_valves = models.PositiveSmallIntegerField(
        "intake valves per cylinder", validators=[MinValueValidator(1), MaxValueValidator(3)]
    )
    exhaust_valves = models.PositiveSmallIntegerField(
        "exhaust valves per cylinder", validators=[MinValueValidator(1), MaxValueValidator(3)]
    )
    intake_at_front = models.BooleanField("intake side faces the front", default=False)
    firing_order = models.CharField(max_length=30, blank=True)
    adjuster = models.CharField(max_length=20, choices=Adjuster)

    intake_low_mm = mm_field("intake, lower limit (mm)", null=False, blank=False)
    intake_high_mm = mm_field("intake, upper limit (mm)", null=False, blank=False)
    intake_target_mm = mm_field("intake target (mm)")
    exhaust_low_mm = mm_field("exhaust, lower limit (mm)", null=False, blank=False)
    exhaust_high_mm = mm_field("exhaust, upper limit (mm)", null=False, blank=False)
    exhaust_target_mm = mm_field("exhaust target (mm)")
    intake_closing_low_mm = mm_field("intake closing, lower limit (mm)")
    intake_closing_high_mm = mm_field("intake closing, upper limit (mm)")
    intake_closing_target_mm = mm_field("intake closing target (mm)")
    exhaust_closing_low_mm = mm_field("exhaust closing, lower limit (mm)")
    exhaust_closing_high_mm = mm_field("exhaust closing, upper limit (mm)")
    exhaust_closing_target_mm = mm_field("exhaust closing target (mm)")
    target_tolerance_mm = mm_field("target tolerance (mm)", null=False, blank=False, default="0.01")

    shim_diameter_mm = mm_field("shim diameter (mm)")
    shim_step_mm = mm_field("shim step (mm)")
    shim_thinnest_mm = mm_field("thinnest shim (mm)")
    shim_thickest_mm = mm_field("thickest shim (mm)")
    closing_shim_diameter_mm = mm_field("closing shim diameter (mm)")
    closing_shim_step_mm = mm_field("closing shim step (mm)")
    closing_shim_thinnest_mm = mm_field("thinnest closing shim (mm)")
    closing_shim_thickest_mm = mm_field("thickest closing shim (mm)")
    screw_pitch_mm = mm_field("adjuster screw pitch (mm)")

    check_interval_km = models.PositiveIntegerField("check every (km)", null=True, blank=True)
    check_interval_hours = models.PositiveIntegerField("check every (engine hours)", null=True, blank=True)
    cycle = models.CharField("working cycle", max_length=12, choices=Cycle, default=Cycle.FOUR_STROKE)
    induction = models.CharField(max_length=16, choices=Induction, default=Induction.NATURAL)
    ignition = models.CharField(max_length=12, choices=Ignition, default=Ignition.SPARK)
    engine_inertia_kgm2 = models.FloatField(
        "rotating inertia of the engine, at the crank (kg·m²)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.001), MaxValueValidator(1)],
    )
    wheel_inertia_kgm2 = models.FloatField(
        "rotating inertia of the rear wheel with tyre (kg·m²)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.05), MaxValueValidator(5)],
    )
    idle_rpm = models.PositiveIntegerField("idle speed (rpm)", null=True, blank=True)
    rev_limit_rpm = models.PositiveIntegerField("rev limit (rpm)", null=True, blank=True)
    primary_ratio = models.FloatField(
        "primary ratio", null=True, blank=True, validators=[MinValueValidator(0.2)]
    )
    gear_ratios = models.JSONField("gear ratios", default=list, blank=True)
    front_sprocket = models.PositiveSmallIntegerField("front sprocket (teeth)", null=True, blank=True)
    rear_sprocket = models.PositiveSmallIntegerField("rear sprocket (teeth)", null=True, blank=True)
    dry_mass_kg = models.FloatField(
        "dry mass (kg)", null=True, blank=True, validators=[MinValueValidator(20)]
    )
    wet_mass_kg = models.FloatField(
        "wet mass (kg)", null=True, blank=True, validators=[MinValueValidator(20)]
    )
    front_tyre = models.CharField("front tyre size", max_length=30, blank=True)
    rear_tyre = models.CharField("rear tyre size", max_length=30, blank=True)

    source_manual = models.CharField("source (manual, edition, page)", max_length=160, blank=True)
    source_edition = models.CharField("edition", max_length=60, blank=True)
    source_page = models.CharField("page", max_length=40, blank=True)
    note = models.TextField(blank=True)

    personal_data = PersonalData(free_text=("note",))

    class Meta:
        ordering = ("maker", "name")
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="engine_spec_unique"),
            models.CheckConstraint(
                condition=Q(cylinders__gte=1, cylinders__lte=8), name="engine_cylinders_1_to_8"
            ),
            models.CheckConstraint(
                condition=Q(intake_low_mm__lte=F("intake_high_mm")), name="engine_intake_range"
            ),
            models.CheckConstraint(
                condition=Q(exhaust_low_mm__lte=F("exhaust_high_mm")), name="engine_exhaust_range"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"

    def clean(self) -> None:
        errors = {}
        for prefix in ("intake", "exhaust", "intake_closing", "exhaust_closing"):
            low, high, target = (getattr(self, f"{prefix}_{end}_mm") for end in ("low", "high", "target"))
            if low is not None and high is not None and low > high:
                errors[f"{prefix}_high_mm"] = "The upper limit must be above the lower limit."
            elif None not in (low, high, target) and not low <= target <= high:
                errors[f"{prefix}_target_mm"] = f"The target must be within {low} to {high} mm."
        if self.has_closing and self.intake_closing_high_mm is None:
            errors["intake_closing_high_mm"] = "Enter a closing-clearance range. Desmodromic valves need one."
        if self.front_bank_cylinders and self.cylinders and self.front_bank_cylinders >= self.cylinders:
            errors["front_bank_cylinders"] = "The front bank must have fewer cylinders than the engine."
        if errors:
            raise ValidationError(errors)

    @property
    def has_closing(self) -> bool:
        return self.adjuster == self.Adjuster.DESMODROMIC

    @property
    def uses_shims(self) -> bool:
        return self.adjuster != self.Adjuster.SCREW

    @property
    def source(self) -> str:
        """Source of the values, or '' if not entered."""
        page = f"p. {self.source_page}" if self.source_page else ""
        return ", ".join(part for part in (self.source_manual, self.source_edition, page) if part)

    @property
    def firing_cylinders(self) -> list[int]:
        """Cylinders in firing order, or empty if the entry does not name each cylinder once."""
        order = [int(number) for number in re.findall(r"\d+", self.firing_order, re.ASCII)]
        return order if sorted(order) == list(range(1, self.cylinders + 1)) else []

    @property
    def gaps(self) -> list[ClearanceKind]:
        return [ClearanceKind.OPENING, ClearanceKind.CLOSING] if self.has_closing else [ClearanceKind.OPENING]

    @property
    def valves(self) -> list[Valve]:
        """All valves, cylinder by cylinder, intake first."""
        counts = ((Side.INTAKE, self.intake_valves), (Side.EXHAUST, self.exhaust_valves))
        return [
            Valve(cylinder, str(side), position, of)
            for cylinder in range(1, self.cylinders + 1)
            for side, of in counts
            for position in range(1, of + 1)
        ]

    def limits(self, side: str, gap: str = ClearanceKind.OPENING) -> tuple[Any, Any, Any]:
        """Return (low, high, target) [mm] as Decimals, each None if not entered."""
        prefix = side if gap == ClearanceKind.OPENING else f"{side}_closing"
        low, high, target = (getattr(self, f"{prefix}_{end}_mm") for end in ("low", "high", "target"))
        return low, high, target

    @property
    def ranges(self) -> list[ClearanceRange]:
        """Limits as the rows of a table."""
        found = []
        for gap in self.gaps:
            for side in Side:
                name = pgettext("valve", side.label)
                label = f"{name}, {_(gap.label)}" if self.has_closing else name
                found.append(ClearanceRange(label, *self.limits(side, gap)))
        return found

    @property
    def shim_series(self) -> list[ShimSeries]:
        """One series of shims, two for desmodromic valves, none for screws."""
        prefixes = {"": "opening" if self.has_closing else "all valves", "closing_": "closing"}
        return [
            ShimSeries(
                label,
                *(
                    getattr(self, f"{prefix}shim_{name}_mm")
                    for name in ("diameter", "step", "thinnest", "thickest")
                ),
            )
            for prefix, label in prefixes.items()
            if self.uses_shims and (self.has_closing or not prefix)
        ]

    def get_gear_ratios_display(self) -> str:
        return " ".join(f"{ratio:g}" for ratio in self.gear_ratios)

    def bank(self, cylinder: int) -> int:
        """Return the bank of a cylinder: 0 for the front (V), left (boxer) or only one, otherwise 1."""
        if self.arrangement not in (self.Arrangement.V, self.Arrangement.BOXER):
            return 0
        return 0 if cylinder <= (self.front_bank_cylinders or (self.cylinders + 1) // 2) else 1

    def camshaft(self, valve: Valve) -> str:
        """Return the name of the camshaft that opens a valve."""
        bank = ""
        if self.arrangement == self.Arrangement.V:
            bank = ("front ", "rear ")[self.bank(valve.cylinder)]
        elif self.arrangement == self.Arrangement.BOXER:
            bank = ("left ", "right ")[self.bank(valve.cylinder)]
        return f"{bank}{valve.side} camshaft" if self.camshafts == self.Camshafts.DOHC else f"{bank}camshaft"
