"""Form of an engine: only what its adjuster needs is required."""

from typing import Any

from django import forms
from django.db import models

from workshop.engines.gear_ratios import GearRatiosField
from workshop.models import EngineSpec
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.fields import LengthField
from workshop.records.form import RecordForm, record_form_field

SHIMS = ("shim_diameter_mm", "shim_step_mm", "shim_thinnest_mm", "shim_thickest_mm")
CLOSING_SHIMS = tuple(f"closing_{name}" for name in SHIMS)
ENDS = (("low", "high"), ("target",))  # as they are shown: the limits of a side, then both targets
CLOSING = tuple(f"{side}_closing_{end}_mm" for ends in ENDS for side in ("intake", "exhaust") for end in ends)
OPENING = tuple(f"{side}_{end}_mm" for ends in ENDS for side in ("intake", "exhaust") for end in ends)

SCREW = ("screw_pitch_mm",)

OPENING_LEGEND = "Clearances, engine cold"
CLOSING_LEGEND = "Closing clearances (desmodromic only)"
SHIMS_LEGEND = "Shims (not for screw and locknut)"
CLOSING_SHIMS_LEGEND = "Closing shims (desmodromic only)"
SCREW_LEGEND = "Screw (screw and locknut only)"

# Required to judge clearances and plan shims.
NEEDED_FOR_SHIMS = ("shim_diameter_mm", "shim_step_mm")
NEEDED_FOR_CLOSING = (
    "intake_closing_low_mm",
    "intake_closing_high_mm",
    "exhaust_closing_low_mm",
    "exhaust_closing_high_mm",
    "closing_shim_diameter_mm",
    "closing_shim_step_mm",
)

# The largest plausible lengths [mm], which tell what "1,234" means. Rule of thumb, no published source.
MAX_GAP_MM = 5
MAX_LENGTHS_MM = {"_thinnest_": 9, "_thickest_": 9, "_diameter_": 60}

# Every engine has one of these; most have the model's default.
KINDS = ("cycle", "induction", "ignition")

NEVER_ZERO = ("screw_pitch_mm", *SHIMS, *CLOSING_SHIMS)

ENGINE_GROUPS: Groups = (
    (
        "Engine",
        (
            "maker",
            "name",
            "cylinders",
            "arrangement",
            "front_bank_cylinders",
            "camshafts",
            "intake_valves",
            "exhaust_valves",
            "intake_at_front",
            "firing_order",
            "adjuster",
            "cycle",
            "induction",
            "ignition",
        ),
    ),
    (OPENING_LEGEND, (*OPENING, "target_tolerance_mm")),
    (CLOSING_LEGEND, CLOSING),
    (SHIMS_LEGEND, SHIMS),
    (CLOSING_SHIMS_LEGEND, CLOSING_SHIMS),
    (SCREW_LEGEND, SCREW),
    ("Speeds and intervals", ("idle_rpm", "rev_limit_rpm", "check_interval_km", "check_interval_hours")),
    ("Gearing", ("primary_ratio", "gear_ratios", "front_sprocket", "rear_sprocket")),
    (
        "Masses, inertia and tyres",
        (
            "dry_mass_kg",
            "wet_mass_kg",
            "engine_inertia_kgm2",
            "wheel_inertia_kgm2",
            "front_tyre",
            "rear_tyre",
        ),
    ),
    ("Source", ("source_manual", "source_edition", "source_page", "note")),
)


def engine_field(field: "models.Field[Any, Any]", **kwargs: Any) -> forms.Field | None:
    """Return the form field of a model field; a length takes a unit behind it."""
    if field.name.endswith("_mm"):
        high = next((high for part, high in MAX_LENGTHS_MM.items() if part in field.name), MAX_GAP_MM)
        return field.formfield(form_class=LengthField, min_value=0, max_value=high, **kwargs)
    return record_form_field(field, **kwargs)


class EngineForm(FieldGroupsMixin, RecordForm):
    """An engine: clearances in the shop's unit of length, shims in mm as they are sold."""

    gear_ratios = GearRatiosField(label="Gear ratios", required=False)

    SHOWN_FOR = {
        CLOSING_LEGEND: EngineSpec.Adjuster.DESMODROMIC.value,
        CLOSING_SHIMS_LEGEND: EngineSpec.Adjuster.DESMODROMIC.value,
        SHIMS_LEGEND: " ".join(
            kind for kind in EngineSpec.Adjuster.values if kind != EngineSpec.Adjuster.SCREW
        ),
        SCREW_LEGEND: EngineSpec.Adjuster.SCREW.value,
    }

    GROUPS = ENGINE_GROUPS

    class Meta(RecordForm.Meta):
        model = EngineSpec
        fields = field_names(ENGINE_GROUPS)
        formfield_callback = engine_field
        help_texts = {
            "front_bank_cylinders": "V and boxer engines only. Leave empty for half of the cylinders.",
            "firing_order": "For example 1-3-2.",
            "intake_low_mm": "You can add a unit: 0.12 mm or 0.005 in. Stored exactly, in mm.",
            "source_manual": "If empty, the engine is marked “no source given”.",
            "shim_step_mm": "Size step of available shims, for example 0.05.",
            "induction": "Decides whether power is corrected for the air.",
            "engine_inertia_kgm2": (
                "Crankshaft, clutch, alternator and gearbox, referred to crankshaft speed. Added to power "
                "calculated from roller speed. If empty, it is not added and the results say so."
            ),
            "primary_ratio": "Crankshaft turns per turn of the gearbox input shaft.",
        }

    def __init__(self, *args: Any, length_unit: str = "mm", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # A file of engines may leave these out: the model's default counts.
        for name in KINDS:
            self.fields[name].required = False
        for name in (*OPENING, *CLOSING, "target_tolerance_mm"):
            field = self.fields[name]
            assert isinstance(field, LengthField)
            field.set_unit(length_unit)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        for name in KINDS:
            if name not in self.errors and not self.cleaned_data.get(name):
                self.cleaned_data[name] = getattr(self.instance, name)
        self._refuse_same_name()
        self._check_firing_order()
        adjuster = self.cleaned_data.get("adjuster")
        if adjuster is None:
            return cleaned
        desmodromic = adjuster == EngineSpec.Adjuster.DESMODROMIC
        screw = adjuster == EngineSpec.Adjuster.SCREW
        label = EngineSpec.Adjuster(adjuster).label
        self._require(NEEDED_FOR_SHIMS if not screw else (), label)
        self._require(NEEDED_FOR_CLOSING if desmodromic else (), label)
        self._leave_empty(() if desmodromic else (*CLOSING, *CLOSING_SHIMS), label)
        self._leave_empty(SHIMS if screw else SCREW, label)
        self._order_sizes()
        return cleaned

    def _refuse_same_name(self) -> None:
        maker, name = self.cleaned_data.get("maker"), self.cleaned_data.get("name")
        same = EngineSpec.objects.filter(maker=maker, name=name).exclude(pk=self.instance.pk)
        if maker and name and same.exists():
            self.add_error("name", f"{maker} {name} is already in the library.")

    def _check_firing_order(self) -> None:
        order, cylinders = self.cleaned_data.get("firing_order"), self.cleaned_data.get("cylinders")
        if order and cylinders and not EngineSpec(cylinders=cylinders, firing_order=order).firing_cylinders:
            self.add_error("firing_order", f"List each of the {cylinders} cylinders once, for example 1-3-2.")

    def _require(self, names: tuple[str, ...], adjuster: str) -> None:
        for name in names:
            if name not in self.errors and self.cleaned_data.get(name) is None:
                self.add_error(name, f"Required for “{adjuster}”.")

    def _leave_empty(self, names: tuple[str, ...], adjuster: str) -> None:
        for name in names:
            if self.cleaned_data.get(name) is not None:
                self.add_error(
                    name, f"Not used with “{adjuster}”. Clear this field or change the adjuster type."
                )

    def _order_sizes(self) -> None:
        for prefix in ("", "closing_"):
            thinnest = self.cleaned_data.get(f"{prefix}shim_thinnest_mm")
            thickest = self.cleaned_data.get(f"{prefix}shim_thickest_mm")
            step = self.cleaned_data.get(f"{prefix}shim_step_mm")
            if thinnest is None or thickest is None:
                continue
            if thickest < thinnest:
                self.add_error(
                    f"{prefix}shim_thickest_mm", "The thickest shim must not be thinner than the thinnest."
                )
            elif step and (thickest - thinnest) % step:
                self.add_error(
                    f"{prefix}shim_thickest_mm",
                    f"Steps of {step:f} mm from {thinnest:f} mm do not reach {thickest:f} mm. "
                    "Check the three values.",
                )
        for name in NEVER_ZERO:
            if self.cleaned_data.get(name) == 0:
                self.add_error(name, "Enter a value above zero.")
