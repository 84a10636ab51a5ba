"""Tune revisions, what each changed and why, and the throttle tables they carry."""

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.models.job import Job
from workshop.models import PersonalData, Record


class TuneChangeKind(Record):
    """A tune change type, which the owner can add: its unit, its effect on road use, its cautions.

    ``caution`` is for the tuner who chooses it, ``customer_caution`` for the rider. ``sets`` says which value
    of the engine spec a change of this type replaces.
    """

    class Sets(models.TextChoices):
        IDLE = "idle_rpm", "idle speed"
        REV_LIMIT = "rev_limit_rpm", "rev limit"

    name = models.CharField(max_length=80, unique=True)
    unit = models.CharField(max_length=20, blank=True)
    affects_road_use = models.BooleanField("may affect road use", default=False)
    road_use_effect = models.CharField("road-use effect (printed)", max_length=300, blank=True)
    inform = models.BooleanField("the insurer or an authority may have to be told", default=False)
    as_built = models.CharField("value as built, if every bike has the same", max_length=40, blank=True)
    caution = models.CharField("workshop caution (shown to the tuner)", max_length=300, blank=True)
    customer_caution = models.CharField("note for the rider (printed)", max_length=300, blank=True)
    sets = models.CharField(
        "value of the engine spec that it replaces", max_length=20, choices=Sets.choices, blank=True
    )
    order = models.PositiveSmallIntegerField(default=100)
    retired = models.BooleanField("archived", default=False)

    class Meta:
        ordering = ("order", "name")
        constraints = [
            models.CheckConstraint(
                condition=Q(affects_road_use=False) | ~Q(road_use_effect=""),
                name="change_kind_effect_in_words",
            )
        ]

    def __str__(self) -> str:
        return self.name


class TuneRevision(Record):
    """A tune as loaded; number 0 is 'as received'. Its file is stored whole and never interpreted."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="tune_revisions")
    number = models.PositiveSmallIntegerField(editable=False)
    made_from = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="made_into"
    )
    title = models.CharField("short name", max_length=120, blank=True)
    loaded_at = models.DateTimeField("loaded at", default=timezone.now)
    loaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    is_as_built = models.BooleanField("the manufacturer's own calibration, unchanged", default=False)
    calibration = models.FileField("calibration file", upload_to="calibrations/%Y/", blank=True)
    calibration_name = models.CharField(max_length=200, blank=True, editable=False)
    calibration_sha256 = models.CharField(max_length=64, blank=True, editable=False)
    note = models.TextField(blank=True)

    personal_data = PersonalData(customer="job__customer", free_text=("title", "calibration_name", "note"))

    class Meta:
        ordering = ("job", "number")
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="tune_revision_number_unique"),
            models.CheckConstraint(
                condition=Q(calibration="") | ~Q(calibration_sha256=""), name="calibration_has_sha256"
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        return _("as received") if self.number == 0 else _("tune %(number)s") % {"number": self.number}

    @property
    def full_title(self) -> str:
        """Return the title, and that the calibration is the manufacturer's own if so."""
        return ", ".join(
            filter(None, [self.title, _("the manufacturer's own calibration") if self.is_as_built else ""])
        )


class TuneChange(Record):
    """One thing a tune changes: from, to, why."""

    revision = models.ForeignKey(TuneRevision, on_delete=models.CASCADE, related_name="changes")
    kind = models.ForeignKey(TuneChangeKind, on_delete=models.PROTECT, related_name="+")
    detail = models.CharField("applies to (mode, cylinder, range)", max_length=120, blank=True)
    from_value = models.CharField("from", max_length=80, blank=True)
    to_value = models.CharField("to", max_length=80)
    unit = models.CharField(max_length=20, blank=True)
    reason = models.CharField("why", max_length=300)

    personal_data = PersonalData(customer="revision__job__customer", free_text=("detail", "reason"))

    class Meta:
        ordering = ("created_at", "pk")
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="tune_change_has_reason")]

    def __str__(self) -> str:
        return f"{self.kind}: {self.to_value} {self.unit}".strip()


def check_grid(table: "ThrottleTable") -> None:
    rows, columns = len(table.grip_pct), len(table.engine_speed_rpm)
    if len(table.plate_pct) != rows or any(len(row) != columns for row in table.plate_pct):
        raise ValidationError(
            f"The table must have {rows} rows (grip) of {columns} values (engine speed) each."
        )


class ThrottleTable(Record):
    """Plate opening by grip and engine speed, for one riding mode of one tune."""

    revision = models.ForeignKey(TuneRevision, on_delete=models.CASCADE, related_name="throttle_tables")
    mode = models.CharField("riding mode (as named on the bike)", max_length=40)
    for_whom = models.CharField("who this mode suits", max_length=200, blank=True)
    grip_pct = models.JSONField()
    engine_speed_rpm = models.JSONField()
    plate_pct = models.JSONField(help_text="rows by grip, columns by engine speed")

    personal_data = PersonalData(customer="revision__job__customer", free_text=("mode", "for_whom"))

    class Meta:
        ordering = ("revision", "mode")
        constraints = [
            models.UniqueConstraint(fields=["revision", "mode"], name="throttle_table_mode_unique")
        ]

    def __str__(self) -> str:
        return f"{self.mode}, {self.revision}"

    def clean(self) -> None:
        if None not in self.as_arrays():
            check_grid(self)

    @property
    def rows(self) -> list[tuple[float, list[float]]]:
        """Return each grip with its plate openings over the engine speeds."""
        return list(zip(self.grip_pct, self.plate_pct, strict=True))

    def get_plate_pct_display(self) -> str:
        """Summarise the table in few words, for the change log."""
        return f"a table of {len(self.grip_pct)} grips by {len(self.engine_speed_rpm)} engine speeds"

    def as_arrays(self) -> tuple[Any, Any, Any]:
        """Return (grip [n], engine speed [m], plate [n, m]) as stored lists."""
        return self.grip_pct, self.engine_speed_rpm, self.plate_pct
