"""The clearance form: a box for each gap of each valve, placed where the valve is."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.db.models import TextChoices
from django.utils import timezone

from jobs.calc.clearances.readings import (
    AS_LEFT_WITHIN_MM,
    Reading,
    derive_closing_clearance,
    engine_temperature_warning,
)
from jobs.calc.clearances.shims import check_thickness, parse_marking
from jobs.calc.units.length_format import format_mm
from jobs.clearances.engine_heat import engine_ran_before
from jobs.clearances.engine_map import EngineView, engine_view, entry_orders
from jobs.clearances.form_boxes import (
    MEASURED,
    Box,
    GapInput,
    combined_gap,
    has_three_decimals,
    in_mm,
    limit_text,
    parse_gap,
)
from jobs.clearances.form_conflicts import is_same_gap, readings_at
from jobs.clearances.recording import GapEntry, plausibility_warning, record_clearances, to_mm
from jobs.clearances.shim_plan import available_sizes
from jobs.clearances.valve_gaps import Key, ValveGap, describe_limits, gap_key, measured_at
from jobs.models import ClearanceReading, ClearanceSet, ShimPlanRow
from workshop.instruments.forms import InstrumentChoiceField, MeasuredWithMixin
from workshop.models import ClearanceKind, EngineSpec, Instrument, ShopProfile
from workshop.records.conflict import ConflictingField
from workshop.records.fields import NumberInput, QuantityField
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin
from workshop.units.display import (
    format_for_input,
    format_plain,
    length_formatter,
    parse_number,
)
from workshop.units.shop_units import shop_unit

CONCURRENT_SET = (
    "{who} saved clearances {when} for this job at {at}, after you opened this page. Save again to keep "
    "yours as a second set. Theirs stay as they are."
)
ASK_WHETHER_COLD = (
    "Clearances are measured on a cold engine. Enter whether it was cold. If you save again without "
    "an answer, page and sheet show “not known”."
)
SHIM_WITHOUT_CLEARANCE = "Enter the clearance for this valve, or clear the shim."


class MarkField(forms.CharField):
    widget = NumberInput


class Blades(TextChoices):
    MM = "mm", "in mm (0.12)"
    INCH = "in", "in inches (0.0045)"


class ClosingAs(TextChoices):
    CLEARANCE = "clearance", "closing clearance"
    LOADED_GAP = "loaded_gap", "total gap with the closing rocker loaded"


ENTRY_ORDERS = {"cylinder": "cylinder by cylinder", "side": "all intake, then all exhaust"}


class ClearanceSetForm(MeasuredWithMixin, QuestionedTimesMixin, RecordForm):
    """A clearance set with all its readings; empty boxes stay not measured."""

    RECORDED = ("measured_at",)

    blades = forms.ChoiceField(
        label="Feeler gauge units",
        choices=Blades.choices,
        required=False,
        help_text="The cursor moves on after two decimals (mm) or four (inches).",
    )
    closing_as = forms.ChoiceField(label="Closing boxes contain", choices=ClosingAs.choices, required=False)
    # The newest set of this kind when the page was opened, to detect one saved since.
    last_seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    two_blades = forms.BooleanField(
        label="Two boxes per valve: largest blade that goes, smallest that does not", required=False
    )
    # Set once the question whether the engine was cold was put; unanswered after that, it is not known.
    heat_asked = forms.BooleanField(widget=forms.HiddenInput, required=False)
    cold_check = forms.BooleanField(
        label="Yes, the temperature is right. Save it as a cold check.", required=False
    )
    figures_right = forms.BooleanField(
        label="Yes, I have checked the marked values. Save them.", required=False
    )

    class Meta(RecordForm.Meta):
        model = ClearanceSet
        fields = [
            "engine_temperature_c",
            "engine_cold",
            "stood_hours",
            "feeler_gauge",
            "micrometer",
            "instrument",
            "measured_at",
            "note",
        ]

    feeler_gauge = InstrumentChoiceField(
        Instrument.Kind.FEELER, label="Feeler gauges", empty_label="which gauges?"
    )
    micrometer = InstrumentChoiceField(
        Instrument.Kind.MICROMETER, label="Micrometer", help_text="Used to measure the shims."
    )
    engine_temperature_c = QuantityField(
        storage_unit="c",
        label="Engine temperature (°C)",
        min_value=-30,
        max_value=150,
        error_messages={"required": "Measure the engine temperature first. Clearances are measured cold."},
    )

    def __init__(
        self,
        *args: Any,
        spec: EngineSpec,
        shop: ShopProfile,
        planned: Mapping[Key, ShimPlanRow] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.spec, self.shop, self.planned = spec, shop, planned or {}
        self.entries: list[GapEntry] = []
        self.questions: list[tuple[str, str]] = []  # box and question
        self.concurrent_set: ClearanceSet | None = None  # saved for the same job since the page was opened
        self.stored = self._stored_rows()
        temperature = self.fields["engine_temperature_c"]
        assert isinstance(temperature, QuantityField)
        temperature.set_unit(shop_unit(shop, "temperature"))
        self.ran = engine_ran_before(self.instance.job.bike_id, self.instance.measured_at)
        self.fields["engine_cold"].choices = [("", "not known"), *ClearanceSet.Cold.choices]  # type: ignore[attr-defined]  # a TypedChoiceField
        self.fields["instrument"].widget.attrs["placeholder"] = "feeler gauge, 0.01 mm steps"
        # Each mechanic has blades and a micrometer of their own.
        own = ClearanceSet.objects.filter(measured_by=self.instance.measured_by_id)
        self.offer_last_used(own, "feeler_gauge", "micrometer")
        if not spec.uses_shims:
            self.fields.pop("micrometer", None)
        self.fields["blades"].initial = shop.length_unit
        if self.instance.pk or not spec.has_closing:
            # A stored set holds clearances, never loaded gaps.
            del self.fields["closing_as"]
        newest = self._newest_of_its_kind()
        self.fields["last_seen"].initial = newest.pk if newest else 0
        self.engine = self._add_boxes()
        self.fields["two_blades"].initial = any(row.goes_mm is not None for row in self.stored.values())
        stored_c = self.instance.engine_temperature_c
        self.fields["cold_check"].initial = stored_c is not None and engine_temperature_warning(stored_c)

    def _stored_rows(self) -> dict[Key, ClearanceReading]:
        if self.instance.pk is None:
            return {}
        return {gap_key(row): row for row in self.instance.readings.all()}

    @property
    def unit(self) -> str:
        """Unit of a value that has none after it."""
        chosen = self.data.get(self.add_prefix("blades")) if self.is_bound else None
        return chosen if chosen in Blades.values else self.shop.length_unit

    @property
    def takes_loaded_gaps(self) -> bool:
        return self.cleaned_data.get("closing_as") == ClosingAs.LOADED_GAP

    # The boxes

    @property
    def entry_order_choices(self) -> dict[str, str]:
        """Return the entry orders that this engine offers, as choices."""
        fires = "-".join(str(cylinder) for cylinder in self.spec.firing_cylinders)
        return {name: ENTRY_ORDERS.get(name, f"in the firing order, {fires}") for name in self.orders}

    def _add_boxes(self) -> EngineView:
        """Add the inputs of every gap, and number them in the orders they may be reached."""
        self.orders = entry_orders(self.spec)
        self.valve_gaps = self.orders["cylinder"]
        for valve_gap in self.valve_gaps:
            self._add_inputs(valve_gap)
        return engine_view(self.spec, self.shop, self._box)

    def _entry_positions(self, valve_gap: ValveGap, kind: str) -> dict[str, str]:
        """Return a box's position in each order: clearances first, then markings, then measured shims."""
        gaps, each = len(self.valve_gaps), 2 if kind in "cn" else 1
        after = {"c": 0, "n": 1, "s": 2 * gaps, "m": 3 * gaps}[kind]
        return {
            f"data-order-{name}": str(each * order.index(valve_gap) + after)
            for name, order in self.orders.items()
        }

    def _add_inputs(self, valve_gap: ValveGap) -> None:
        initial = self.input_texts(self.stored.get(valve_gap.key), valve_gap)
        inputs = {"c": "", "n": ": does not go"}
        if self.spec.uses_shims:
            inputs |= {"s": ": marking of the shim", "m": ": measured shim"}
        for kind, what in inputs.items():
            attrs = {"class": "form-control", **self._entry_positions(valve_gap, kind)}
            if kind == "c":
                attrs["placeholder"] = valve_gap.valve.place
            elif kind == "n":
                attrs |= {"data-bracket": "stops", "placeholder": " "}
            elif kind == "m":
                attrs["data-own-round"] = ""
            name = f"{kind}-{valve_gap.slug}"
            self.fields[name] = MarkField(
                label=f"{valve_gap.label}{what}",
                required=False,
                max_length=30,
                initial=initial[kind],
                widget=NumberInput(attrs),
            )
        self.fields[f"c-{valve_gap.slug}"].help_text = describe_limits(valve_gap, self.shop)

    def _box(self, valve_gap: ValveGap) -> Box:
        shims = self.spec.uses_shims
        planned = self.planned.get(valve_gap.key)
        return Box(
            valve_gap=valve_gap,
            clearance=self[f"c-{valve_gap.slug}"],
            stops=self[f"n-{valve_gap.slug}"],
            marked=self[f"s-{valve_gap.slug}"] if shims else None,
            measured=self[f"m-{valve_gap.slug}"] if shims else None,
            limits={
                "low": limit_text(valve_gap.low_mm),
                "high": limit_text(valve_gap.high_mm),
                "target": limit_text(valve_gap.target_mm),
                "tolerance": limit_text(valve_gap.tolerance_mm),
                "predicted": limit_text(planned.predicted_mm if planned else None),
                "within": format_plain(AS_LEFT_WITHIN_MM),
            },
            stored=None if self.is_bound else measured_at(valve_gap, self.stored.get(valve_gap.key)),
            planned=planned,
        )

    def shown(self, clearance_mm: Decimal | None) -> str:
        """Format a clearance in the unit of the blades, as it would be typed."""
        if clearance_mm is None or self.unit == "mm":
            return in_mm(clearance_mm)
        return format_for_input(clearance_mm, self.unit, MEASURED.high)

    def input_texts(self, row: ClearanceReading | None, valve_gap: ValveGap) -> dict[str, str]:
        """Return the input texts of a gap for a stored reading, or for none."""
        if row is None:
            planned = self.planned.get(valve_gap.key)
            mark = self.format_marking(planned.in_mm, valve_gap) if planned else ""
            return {"c": "", "n": "", "s": mark, "m": ""}
        value = row.clearance_mm if row.goes_mm is None else row.goes_mm
        return {
            "c": self.shown(value),
            "n": self.shown(row.not_goes_mm),
            "s": self.format_marking(row.shim_marked_mm, valve_gap),
            "m": "" if row.shim_measured_mm is None else format_plain(row.shim_measured_mm),
        }

    def format_marking(self, marked_mm: Decimal | None, valve_gap: ValveGap) -> str:
        """Format a marking as input: to the third decimal if fewer would be questioned again."""
        if marked_mm is None:
            return ""
        text = format_mm(marked_mm)
        is_ambiguous = len(parse_marking(text, available_sizes(self.spec, valve_gap.gap)).could_be_mm) > 1
        return f"{marked_mm:.3f}" if is_ambiguous else text

    # Reading what was sent

    def clean(self) -> dict[str, Any] | None:
        self.entries = [self._entry_at(valve_gap) for valve_gap in self.valve_gaps]
        cleaned = super().clean()
        self._warn_about_temperature()
        self._ask_whether_cold()
        self._warn_about_concurrent_set()
        if not any(entry.shim_measured_mm for entry in self.entries):
            self.cleaned_data["micrometer"] = None
        if self.questions and not self.cleaned_data.get("figures_right"):
            for name, sentence in self.questions:
                self.add_error(name, sentence)
        if not self.errors and not any(entry.reading for entry in self.entries):
            self.add_error(None, "Enter the clearance of at least one valve.")
        return cleaned

    def _warn_about_temperature(self) -> None:
        temperature_c = self.cleaned_data.get("engine_temperature_c")
        if temperature_c is None or self.cleaned_data.get("cold_check"):
            return
        question = engine_temperature_warning(temperature_c)
        if question:
            self.add_error(
                "engine_temperature_c",
                f"{question} Let it cool down, or tick the box below to save as a cold check anyway.",
            )

    def _ask_whether_cold(self) -> None:
        """Ask once whether the engine was cold if it ran earlier on the day of the measurement."""
        measured_at = self.cleaned_data.get("measured_at")
        if measured_at is None:
            return
        self.ran = engine_ran_before(self.instance.job.bike_id, measured_at)
        if self.ran is None or self.cleaned_data.get("engine_cold") or self.cleaned_data.get("heat_asked"):
            return
        self.data = self.data.copy()
        self.data[self.add_prefix("heat_asked")] = "on"
        self.add_error("engine_cold", f"{self.ran.sentence} {ASK_WHETHER_COLD}")

    def _newest_of_its_kind(self) -> ClearanceSet | None:
        if self.instance.pk or not self.instance.job_id:
            return None
        kin = ClearanceSet.objects.filter(job=self.instance.job_id, when=self.instance.when)
        return kin.select_related("measured_by").order_by("pk").last()

    def _warn_about_concurrent_set(self) -> None:
        """Warn once if someone saved a set for this job after this page was opened."""
        seen, newest = self.cleaned_data.get("last_seen"), self._newest_of_its_kind()
        if seen is None or newest is None or newest.pk <= seen:
            return
        self.concurrent_set = newest
        self.data = self.data.copy()
        self.data[self.add_prefix("last_seen")] = str(newest.pk)
        at = timezone.localtime(newest.created_at)
        self.add_error(
            None,
            CONCURRENT_SET.format(who=newest.measured_by, when=newest.get_when_display(), at=f"{at:%H:%M}"),
        )

    def _entry_at(self, valve_gap: ValveGap) -> GapEntry:
        entry = GapEntry(valve_gap, self._parse_box(f"c-{valve_gap.slug}", self._reading_at, valve_gap))
        if not self.spec.uses_shims:
            return entry
        measured = self._parse_box(f"m-{valve_gap.slug}", self._measured_shim, valve_gap)
        marked = self._parse_box(f"s-{valve_gap.slug}", self._marked_shim, valve_gap)
        if entry.reading is None and f"c-{valve_gap.slug}" not in self.errors:
            self._refuse_shim_alone(valve_gap)
        return replace(entry, shim_marked_mm=marked, shim_measured_mm=measured)

    def _parse_box(self, name: str, read: Any, valve_gap: ValveGap) -> Any:
        """Parse a box, or return None and report the error at the box."""
        try:
            return read(valve_gap)
        except ValueError as problem:
            self.add_error(name, str(problem))
            return None

    def _text(self, kind: str, valve_gap: ValveGap) -> str:
        return str(self.cleaned_data.get(f"{kind}-{valve_gap.slug}") or "").strip()

    def _reading_at(self, valve_gap: ValveGap) -> Reading | None:
        if valve_gap.gap == ClearanceKind.CLOSING and self.takes_loaded_gaps:
            return self._closing_from_gaps(valve_gap)
        return self._typed_reading(valve_gap, valve_gap)

    def _closing_from_gaps(self, valve_gap: ValveGap) -> Reading | None:
        """Compute the closing clearance from the opener's two gaps."""
        key = (valve_gap.valve.key, ClearanceKind.OPENING.value)
        opening = next(gap for gap in self.valve_gaps if gap.key == key)
        loaded = self._typed_reading(valve_gap, combined_gap(opening, valve_gap))
        if loaded is None:
            return None
        try:
            unloaded = self._typed_reading(opening, opening, ask=False)
        except ValueError:
            unloaded = None
        if unloaded is None:
            raise ValueError(
                "Enter the opening clearance too. The closing clearance is calculated from both."
            )
        return derive_closing_clearance(unloaded, loaded)

    def _typed_reading(self, at: ValveGap, judged_as: ValveGap, *, ask: bool = True) -> Reading | None:
        """Parse the boxes of a gap; an implausible value has to be confirmed."""
        text, stops = self._text("c", at), self._text("n", at)
        if not text and not stops:
            return None
        if not text:
            raise ValueError("Enter both blades: the largest that goes and the smallest that does not.")
        typed = parse_gap(text, self.unit)
        if stops:
            typed = self._with_stop(typed, stops)
        lengths = length_formatter(self.shop.length_unit)
        questions = [plausibility_warning(figure, typed.unit, judged_as, lengths) for figure in typed.figures]
        question = next(filter(None, questions), "")
        lengths_mm = [to_mm(figure, typed.unit) for figure in typed.figures]
        try:
            reading = Reading(lengths_mm[0]) if len(lengths_mm) == 1 else Reading(None, *lengths_mm)
        except ValueError as problem:
            raise ValueError(question or str(problem)) from problem
        if question and ask:
            self.questions.append((f"c-{at.slug}", question))
        return reading

    def _with_stop(self, typed: GapInput, stops: str) -> GapInput:
        second = parse_gap(stops, typed.unit)
        if len(typed.figures) > 1 or len(second.figures) > 1:
            raise ValueError("Enter one blade per box.")
        return GapInput((*typed.figures, *second.figures), typed.unit)

    def _marked_shim(self, valve_gap: ValveGap) -> Decimal | None:
        text = self._text("s", valve_gap)
        if not text:
            return None
        mark = parse_marking(text, available_sizes(self.spec, valve_gap.gap))
        # The last candidate is the marking taken literally.
        as_marked = Decimal(f"{mark.could_be_mm[-1]:.5f}")
        is_ambiguous = len(mark.could_be_mm) > 1 and not has_three_decimals(text)
        if is_ambiguous and not self._text("m", valve_gap):
            raise ValueError(f"{mark.warning} Or enter it to three decimals, for example {as_marked:.3f}.")
        return as_marked

    def _measured_shim(self, valve_gap: ValveGap) -> Decimal | None:
        text = self._text("m", valve_gap)
        if not text:
            return None
        measured_mm = parse_number(text.removesuffix("mm"), MEASURED)
        check_thickness(measured_mm)
        return measured_mm

    def _refuse_shim_alone(self, valve_gap: ValveGap) -> None:
        planned = self.input_texts(None, valve_gap)
        if self._text("m", valve_gap) or self._text("s", valve_gap) not in ("", planned["s"]):
            self.add_error(f"c-{valve_gap.slug}", SHIM_WITHOUT_CLEARANCE)

    @property
    def needs_value_confirmation(self) -> bool:
        return bool(self.questions)

    @property
    def needs_heat_answer(self) -> bool:
        return self.ran is not None or bool(self["engine_cold"].value())

    @property
    def needs_temperature_confirmation(self) -> bool:
        refused = self.is_bound and "engine_temperature_c" in self.errors
        return refused or bool(self["cold_check"].value())

    # Saving, and another's save in between

    def save(self, commit: bool = True) -> ClearanceSet:
        self.instance.ran_at = self.ran.at if self.ran else None
        return record_clearances(measured=self.instance, entries=self.entries)

    def report_conflict(self, sent_version: int) -> None:
        """Report conflicts, readings included; a box left alone adopts the saved value."""
        super().report_conflict(sent_version)
        assert self.conflict is not None
        then, now = readings_at(self.instance, sent_version), self._stored_rows()
        changes = [
            change for valve_gap in self.valve_gaps for change in self._changes_at(valve_gap, then, now)
        ]
        self.conflict = replace(self.conflict, changes=[*self.conflict.changes, *changes])
        self.errors[NON_FIELD_ERRORS] = self.error_class([self.conflict.sentence], error_class="nonfield")

    def _changes_at(
        self, valve_gap: ValveGap, then: Mapping[Key, ClearanceReading], now: Mapping[Key, ClearanceReading]
    ) -> Iterable[ConflictingField]:
        was, theirs = (self.input_texts(rows.get(valve_gap.key), valve_gap) for rows in (then, now))
        for kind, before in was.items():
            name = f"{kind}-{valve_gap.slug}"
            if name not in self.fields or theirs[kind] == before:
                continue
            if self._sent(name) == before or (
                kind in "cn" and is_same_gap(self._sent(name), before, self.unit)
            ):
                self.data[self.add_prefix(name)] = theirs[kind]
            yield ConflictingField(
                str(self.fields[name].label), before or "–", theirs[kind] or "–", self._sent(name) or "–"
            )

    def _sent(self, name: str) -> str:
        return str(self.data.get(self.add_prefix(name), "")).strip()
