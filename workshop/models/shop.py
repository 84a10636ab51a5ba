"""The profile of the shop, one for each installation."""

from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from workshop.models.base import Record

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def default_bands() -> list[dict[str, Any]]:
    """Return the rpm bands over which runs are compared; None is the end of the measured range."""
    return [
        {"name": "whole range", "low_rpm": None, "high_rpm": None},
        {"name": "drive band", "low_rpm": 4000, "high_rpm": 8000},
    ]


def default_working_hours() -> list[list[str] | None]:
    """Return opening and closing times from Monday on; None for a closed day."""
    return [["08:00", "18:00"]] * 5 + [None] * 2


def error_field(name: str, limit: float) -> "models.FloatField[float | None, float | None]":
    """Return a field for the largest error of an instrument; empty if nobody stated it."""
    return models.FloatField(
        name, null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(limit)]
    )


class ShopProfile(Record):
    """Name, units and standards of the shop: one row, created on first use."""

    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Letter", "Letter"

    name = models.CharField(max_length=120, default="Your workshop")
    address = models.TextField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    logo = models.ImageField(upload_to="shop/", blank=True)
    time_zone = models.CharField(max_length=60, default="UTC")
    paper = models.CharField(max_length=10, choices=Paper, default=Paper.A4)
    power_unit = models.CharField(
        max_length=8, choices=[("kw", "kW"), ("hp", "hp"), ("ps", "PS")], default="kw"
    )
    torque_unit = models.CharField(max_length=8, choices=[("nm", "N·m"), ("lbf_ft", "lbf·ft")], default="nm")
    pressure_unit = models.CharField(
        max_length=8, choices=[("kpa", "kPa"), ("mbar", "mbar"), ("inhg", "inHg")], default="kpa"
    )
    temperature_unit = models.CharField(max_length=8, choices=[("c", "°C"), ("f", "°F")], default="c")
    length_unit = models.CharField(max_length=8, choices=[("mm", "mm"), ("in", "in")], default="mm")
    distance_unit = models.CharField(max_length=8, choices=[("km", "km"), ("mi", "mi")], default="km")
    currency = models.CharField(max_length=3, default="EUR")
    correction_standard = models.CharField(max_length=20, default="eu_134_2014")
    elevation_m = models.FloatField(
        "elevation (m)", default=0, validators=[MinValueValidator(-430), MaxValueValidator(5500)]
    )
    repeatability_pct = models.FloatField(
        "assumed repeatability (%)", default=1.0, validators=[MinValueValidator(0.05), MaxValueValidator(10)]
    )
    measured_spread = models.JSONField("measured spread of runs", null=True, blank=True, editable=False)
    air_temperature_error_c = error_field("air temperature read within (± K)", 20)
    air_pressure_error_kpa = error_field("air pressure read within (± kPa)", 10)
    humidity_error_pct = error_field("relative humidity read within (± %)", 50)
    inertia_error_pct = error_field("inertia or load cell true within (± % of power)", 50)
    slip_error_pct = error_field("slip of the tyre known within (± % of power)", 50)
    loss_error_pct = error_field("losses known within (± % of power)", 50)
    bands = models.JSONField(default=list, blank=True)
    grid_step_rpm = models.PositiveSmallIntegerField(
        "rpm grid step (rpm)", choices=[(25, "25"), (50, "50"), (100, "100")], default=50
    )
    smoothing_width_rpm = models.PositiveSmallIntegerField("smoothing width (rpm)", default=300)
    roller_inertia_kgm2 = models.FloatField(
        "roller inertia (kg·m²)", null=True, blank=True, validators=[MinValueValidator(0)]
    )
    roller_radius_m = models.FloatField(
        "roller radius (m)", null=True, blank=True, validators=[MinValueValidator(0)]
    )
    working_hours = models.JSONField(default=list)
    link_days = models.PositiveSmallIntegerField("customer link valid for (days)", default=90)
    responsible_name = models.CharField("responsible for the work", max_length=120, blank=True)
    responsible_role = models.CharField("role of the person responsible", max_length=120, blank=True)
    notice_text = models.TextField("your own notice on the handover sheet", blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="shop_profile_is_one"),
            models.CheckConstraint(
                condition=models.Q(repeatability_pct__gt=0), name="shop_repeatability_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_measured_spread_display(self) -> str:
        if not self.measured_spread:
            return ""
        return f"{self.measured_spread['mean'][0]:g} % from run to run"

    def get_bands_display(self) -> str:
        ends = ((band["name"], band["low_rpm"], band["high_rpm"]) for band in self.bands)
        return "; ".join(f"{name} {low or '…'}–{high or '…'} rpm" for name, low, high in ends)

    def get_working_hours_display(self) -> str:
        days = zip(WEEKDAYS, self.working_hours, strict=True)
        return "; ".join(f"{day[:3]} {hours[0]}–{hours[1]}" for day, hours in days if hours)

    @classmethod
    def current(cls) -> "ShopProfile":
        if shop := cls.objects.filter(pk=1).first():
            return shop
        first = {"bands": default_bands(), "working_hours": default_working_hours()}
        return cls.objects.get_or_create(pk=1, defaults=first)[0]
