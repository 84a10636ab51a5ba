"""Form of a mixture study; validation computes the study, so that every error is shown at its field."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from jobs.calc.mixture.fuel import FUELS, FULL_THROTTLE_LAMBDA
from jobs.calc.tables.pasted_table import MIN_FULL_SPEED_RPM
from jobs.calc.units.numbers import format_number
from jobs.job.table_field import READ_FROM_FILE, show_file_text, table_area
from jobs.mixture.study import (
    LOADS,
    Limits,
    StudyInputError,
    StudyInputs,
    errors_at,
    fill_study,
    find_delay,
    parse_fuel_table,
)
from jobs.models import MixtureStudy, Run
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import FloatNumberField, WholeNumberField
from workshop.records.form import RecordForm
from workshop.units.display import ANYTHING, Plausible, format_typed, parse_number

MAX_POINTS = 60
EXAMPLE = "\t3000\t4000\t5000\n20\t5.10\t5.25\t5.30\n100\t7.40\t7.75\t7.80"
LAMBDA = Plausible(0.3, 3)
SPEED_AXIS = Plausible(MIN_FULL_SPEED_RPM, 30_000, thousandths=False)
LOAD_AXIS = Plausible(0, 250)  # % of throttle, or a load in %
NO_NUMBERS = "Enter at least one number."


def parse_numbers(text: str, plausible: Plausible = ANYTHING) -> list[float]:
    """Parse numbers separated by spaces, tabs, semicolons or commas.

    A comma between two digits is a decimal comma, unless commas are the only separators.

    Raises
    ------
    ValueError
        A number cannot be read.
    """
    text = text.strip()
    separator = r"[\s;,]+" if text.count(",") > 1 and not re.search(r"[\s;]", text) else r"[\s;]+|,\s+"
    return [float(parse_number(part, plausible)) for part in re.split(separator, text) if part]


def format_lambda(value: float) -> str:
    return format_typed(value, LAMBDA)


class NumberListInput(forms.TextInput):
    """Input as wide as the page, because an axis may have many points."""


class NumberListField(forms.CharField):
    """A list of numbers in one line."""

    widget = NumberListInput(attrs={"autocomplete": "off", "inputmode": "text", "spellcheck": "false"})

    def __init__(self, *, plausible: Plausible = ANYTHING, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.plausible = plausible

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or isinstance(value, list):
            return value or []
        try:
            numbers = parse_numbers(str(value), self.plausible)
        except ValueError as problem:
            raise ValidationError(str(problem)) from problem
        if len(numbers) > MAX_POINTS:
            raise ValidationError(f"At most {MAX_POINTS} points can be used. You entered {len(numbers)}.")
        return numbers

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, list):
            return value
        return "  ".join(format_typed(number, self.plausible) for number in value)


class TargetField(forms.CharField):
    """A target lambda: one number, one per load in a row, or a table with one line per load."""

    widget = forms.Textarea(attrs={"rows": 2, "spellcheck": "false"})

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or not isinstance(value, str):
            return value
        try:
            lines = [parse_numbers(line, LAMBDA) for line in value.splitlines() if line.strip()]
        except ValueError as problem:
            raise ValidationError(str(problem)) from problem
        if not lines or not lines[0]:
            raise ValidationError(NO_NUMBERS)
        if len(lines) == 1:
            return lines[0] if len(lines[0]) > 1 else lines[0][0]
        if all(len(line) == 1 for line in lines):
            return [line[0] for line in lines]
        if len({len(line) for line in lines}) > 1:
            raise ValidationError("All lines of the target need the same number of values.")
        return lines

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, list):
            return format_lambda(value) if isinstance(value, float | int) else value
        if value and isinstance(value[0], list):
            return "\n".join("  ".join(map(format_lambda, line)) for line in value)
        return "  ".join(map(format_lambda, value))


def limit_field(label: str, low: float, high: float, help_text: str = "", **kwargs: Any) -> FloatNumberField:
    return FloatNumberField(label=label, help_text=help_text, min_value=low, max_value=high, **kwargs)


def run_label(run: Run) -> str:
    tune = f", {run.tune_revision}" if run.tune_revision else ""
    return f"{run.get_kind_display()}: {run}{tune}"


class RunsField(forms.ModelMultipleChoiceField):
    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: Any) -> str:
        return run_label(obj)


class DelayRunField(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        return run_label(obj)


# Limits stored as shares and entered in %.
SHARES = {"largest_pass_pct": "largest_pass", "lean_pct": "lean_share"}
# Settings that record how the delay was found.
DELAY_FOUND = ("delay_found_in", "delay_correlation")
LIMITS = ("min_dwell_s", "grip_rate_pct_s", "speed_rate_rpm_s", "fewest_dwells", "largest_half_width")


class MixtureStudyForm(FieldGroupsMixin, RecordForm):
    """Form that computes a mixture study while it is validated."""

    GROUPS = (
        ("Runs", ("title", "runs", "load_channel", "delay_ms", "delay_run")),
        ("Axes", ("rpm_axis", "load_axis")),
        ("Target", ("target", "fuel")),
        ("Fuel table", ("fuel_table", "fuel_table_file", "dead_time")),
        ("Options", ("fill", "with_uncertain", "on_sheet")),
    )
    LIMIT_NAMES = (*LIMITS, "largest_pass_pct", "high_load_pct", "lean_pct")

    runs = RunsField(
        queryset=Run.objects.none(),
        label="Runs",
        error_messages={"required": "Choose at least one run."},
        help_text="Held-throttle runs, several at each opening. A cell is corrected if it has at least as "
        "many holds as set under “Holds needed per cell”.",
    )
    load_channel = forms.ChoiceField(label="Load axis", choices=list(LOADS.items()))
    delay_ms = limit_field(
        "Sensor delay (ms)",
        0,
        1000,
        "Exhaust travel time plus sensor response. Lambda is shifted back by this time.",
    )
    delay_run = DelayRunField(
        queryset=Run.objects.none(),
        label="Or find the delay from a run",
        required=False,
        empty_label="No, use the delay above",
        help_text="A run held at one point in which the fuel was stepped up or down. It must contain the "
        "injector pulse width.",
    )
    rpm_axis = NumberListField(label="Engine speeds (rpm)", required=False, plausible=SPEED_AXIS)
    load_axis = NumberListField(label="Throttle openings (%)", required=False, plausible=LOAD_AXIS)
    target = TargetField(
        label="Target lambda",
        help_text="One value, one per throttle opening, or one line per opening. Full throttle on petrol, "
        f"not turbo- or supercharged: {FULL_THROTTLE_LAMBDA[0]:.2f} to {FULL_THROTTLE_LAMBDA[1]:.2f} is a "
        "rule of thumb without a published source.",
    )
    fuel = forms.ChoiceField(label="Fuel", choices=[(key, fuel.name) for key, fuel in FUELS.items()])
    fuel_table = forms.CharField(
        label="Fuel table, pasted",
        required=False,
        strip=False,
        widget=table_area(6, EXAMPLE),
        help_text="Engine speeds in the first row, throttle openings in the first column. Measured cells are "
        "corrected, all others stay unchanged. If the axes above are empty, they are taken from this table.",
    )
    fuel_table_file = forms.FileField(label="Or a text or CSV file", required=False, widget=forms.FileInput)
    dead_time = limit_field(
        "Injector dead time included in the cells",
        0,
        5000,
        "Enter 0 if the cells are fuel quantities. If they are pulse widths, enter the dead time in the same "
        "unit. No fuel flows during it, so only the rest is corrected.",
        required=False,
    )
    fill = forms.BooleanField(
        label="Interpolate a single cell between two measured ones (marked)", required=False
    )

    with_uncertain = forms.BooleanField(
        label="Also correct cells with not enough holds or too wide an interval (marked with the interval)",
        required=False,
    )

    min_dwell_s = limit_field("Minimum hold time (s)", 0.1, 60)
    grip_rate_pct_s = limit_field("Maximum grip movement (% in 1 s)", 0.1, 100)
    speed_rate_rpm_s = limit_field("Maximum change of engine speed (rpm in 1 s)", 10, 5000, thousandths=False)
    fewest_dwells = WholeNumberField(label="Holds needed per cell", min_value=2, max_value=50)
    largest_half_width = limit_field("Maximum lambda half-width (95 %)", 0.001, 0.5)
    largest_pass_pct = limit_field("Maximum correction per pass (%)", 0.5, 50)
    high_load_pct = limit_field("High load from (%)", 10, 100)
    lean_pct = limit_field("Lean if more than (% above target)", 0.5, 20)

    class Meta(RecordForm.Meta):
        model = MixtureStudy
        fields = ["title", "runs", "load_channel", "delay_ms", "target", "fuel", "on_sheet"]

    def __init__(
        self,
        *args: Any,
        usable: Sequence[Run],
        with_step: Sequence[Run] = (),
        axes: tuple[list[float], list[float]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        runs: Any = self.fields["runs"]
        runs.queryset = Run.objects.filter(pk__in=[run.pk for run in usable]).select_related("tune_revision")
        self.set_delay_choices(with_step)
        used = self.instance.settings_used
        self.initial["dead_time"] = used.get("dead_time", 0.0)
        self.initial.update({name: used.get(name, False) for name in ("fill", "with_uncertain")})
        limits = Limits.from_settings(used)
        for name in (*LIMITS, "high_load_pct"):
            self.initial[name] = getattr(limits, name)
        for name, share in SHARES.items():
            self.initial[name] = round(100 * getattr(limits, share), 6)
        if not self.instance.pk:
            self.set_suggestions(usable)
        stored = self.instance.rpm_axis, self.instance.load_axis
        for name, suggested, saved in zip(("rpm_axis", "load_axis"), axes, stored, strict=True):
            self.initial[name] = saved or suggested
        before = self.instance.fuel_table_before
        self.initial["fuel_table"] = before["text"] if before else ""

    def set_delay_choices(self, runs: Sequence[Run]) -> None:
        if not runs:
            del self.fields["delay_run"]
            return
        field: Any = self.fields["delay_run"]
        field.queryset = Run.objects.filter(pk__in=[run.pk for run in runs]).select_related("tune_revision")

    def set_suggestions(self, usable: Sequence[Run]) -> None:
        """Suggest the held runs of the latest tune that has any, and its name as the title."""
        held = [run for run in usable if run.kind == Run.Kind.HELD]
        if held:
            tune = held[-1].tune_revision
            self.initial["runs"] = [run.pk for run in held if run.tune_revision == tune]
            self.initial["title"] = f"Mixture, {tune}" if tune else "Mixture"

    @property
    def limits(self) -> list[forms.BoundField]:
        return [self[name] for name in self.LIMIT_NAMES]

    @property
    def limits_have_errors(self) -> bool:
        return any(field.errors for field in self.limits)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        upload = self.cleaned_data.get("fuel_table_file")
        try:
            if upload:
                with errors_at("fuel_table_file"):
                    show_file_text(self, "fuel_table", upload)
            if self.errors:
                return cleaned
            self.check_decimal_mark()
            self.fill_axes_from_table()
            delay = self.resolve_delay()
            fill_study(self.instance, self.inputs())
            self.instance.settings_used |= delay
        except StudyInputError as problem:
            self.add_error(problem.field, str(problem))
            if upload and problem.field == "fuel_table":
                self.add_error("fuel_table_file", READ_FROM_FILE.format(upload.name))
        return cleaned

    def check_decimal_mark(self) -> None:
        """Ask what "4,500" means if no cell of the fuel table shows it: one changed cell answers."""
        pasted = parse_fuel_table(self.cleaned_data["fuel_table"])
        if pasted is None or not pasted.unclear:
            return
        mark, cell = pasted.decimal_mark, pasted.unclear
        whole, decimal = cell.replace(mark, ""), cell.replace(mark, ".")
        other = "," if mark == "." else "."
        raise StudyInputError(
            "fuel_table",
            f"{cell} can mean {format_number(int(whole))} or {decimal}, and no cell shows which. "
            f"Write one cell as {cell}0 for {decimal}, or as {cell}{other}0 for {whole}.",
        )

    def resolve_delay(self) -> dict[str, Any]:
        """Find the delay in the chosen run and return how it was found, for the study's settings."""
        run, used = self.cleaned_data.get("delay_run"), self.instance.settings_used
        if run is None:
            is_unchanged = self.cleaned_data["delay_ms"] == self.instance.delay_ms
            return {name: used[name] for name in DELAY_FOUND if is_unchanged and name in used}
        with errors_at("delay_run"):
            found = find_delay(run)
        self.cleaned_data["delay_ms"] = found.delay_ms
        return dict(zip(DELAY_FOUND, (str(run), round(found.correlation, 3)), strict=True))

    def fill_axes_from_table(self) -> None:
        """Take axes left empty from the fuel table."""
        if self.cleaned_data["rpm_axis"] and self.cleaned_data["load_axis"]:
            return
        pasted = parse_fuel_table(self.cleaned_data["fuel_table"])
        for name, axis in (("rpm_axis", "column_axis"), ("load_axis", "row_axis")):
            if not self.cleaned_data[name]:
                if pasted is None:
                    raise StudyInputError(name, "Enter the axis points, or paste a fuel table below.")
                self.cleaned_data[name] = getattr(pasted, axis).tolist()

    def inputs(self) -> StudyInputs:
        data = self.cleaned_data
        limits = {name: data[name] for name in (*LIMITS, "high_load_pct")}
        limits |= {share: data[name] / 100 for name, share in SHARES.items()}
        axes = ("rpm_axis", "load_axis", "load_channel")
        names = (*axes, "target", "fuel", "delay_ms", "fuel_table", "fill", "with_uncertain")
        return StudyInputs(
            runs=list(data["runs"]),
            limits=Limits(**limits),
            dead_time=data["dead_time"] or 0.0,
            **{name: data[name] for name in names},
        )
