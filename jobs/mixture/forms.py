"""The form of a mixture study: runs, axes, target, limits; what it asks for is computed as it is checked."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator

from jobs.calc.mixture.fuel import FUELS, FULL_THROTTLE_LAMBDA
from jobs.job.table_field import READ_FROM_FILE, show_file_text, table_area
from jobs.mixture.study import LOADS, Asked, Limits, StudyProblem, at, delay_from, read_fuel_table, study_of
from jobs.models import MixtureStudy, Run
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import FloatNumberField
from workshop.records.form import RecordForm
from workshop.units.display import format_plain, parse_number

MAX_POINTS = 60
EXAMPLE = "\t3000\t4000\t5000\n20\t5.10\t5.25\t5.30\n100\t7.40\t7.75\t7.80"
NO_FIGURES = "Enter at least one figure."


def parse_figures(text: str) -> list[float]:
    """Figures as a row of them is typed or pasted: blanks, semicolons, tabs or commas between them.

    A comma between two digits is a decimal comma, unless commas are all there is between the figures.

    Raises
    ------
    ValueError
        A figure can't be read.
    """
    text = text.strip()
    between = r"[\s;,]+" if text.count(",") > 1 and not re.search(r"[\s;]", text) else r"[\s;]+|,\s+"
    return [float(parse_number(part)) for part in re.split(between, text) if part]


class Figures(forms.TextInput):
    """A box as wide as the page: an axis may have many points."""


class FiguresField(forms.CharField):
    """A list of figures in one line."""

    widget = Figures(attrs={"autocomplete": "off", "inputmode": "text", "spellcheck": "false"})

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or isinstance(value, list):
            return value or []
        try:
            figures = parse_figures(str(value))
        except ValueError as problem:
            raise ValidationError(str(problem)) from problem
        if len(figures) > MAX_POINTS:
            raise ValidationError(f"{len(figures)} points were given; at most {MAX_POINTS} can be used.")
        return figures

    def prepare_value(self, value: Any) -> Any:
        return "  ".join(map(format_plain, value)) if isinstance(value, list) else value


class TargetField(forms.CharField):
    """A target lambda: one figure, one for each load in a row, or a table of one line for each load."""

    widget = forms.Textarea(attrs={"rows": 2, "spellcheck": "false"})

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or not isinstance(value, str):
            return value
        try:
            lines = [parse_figures(line) for line in value.splitlines() if line.strip()]
        except ValueError as problem:
            raise ValidationError(str(problem)) from problem
        if not lines or not lines[0]:
            raise ValidationError(NO_FIGURES)
        if len(lines) == 1:
            return lines[0] if len(lines[0]) > 1 else lines[0][0]
        if all(len(line) == 1 for line in lines):
            return [line[0] for line in lines]
        if len({len(line) for line in lines}) > 1:
            raise ValidationError("The lines of this target hold different numbers of figures.")
        return lines

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, list):
            return format_plain(value) if isinstance(value, float | int) else value
        if value and isinstance(value[0], list):
            return "\n".join("  ".join(map(format_plain, line)) for line in value)
        return "  ".join(map(format_plain, value))


def limit_field(
    label: str, low: float, high: float, help_text: str = "", *, required: bool = True
) -> FloatNumberField:
    return FloatNumberField(
        label=label,
        help_text=help_text,
        required=required,
        validators=[MinValueValidator(low), MaxValueValidator(high)],
    )


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


# Limits that are kept as shares and typed in %.
SHARES = {"largest_pass_pct": "largest_pass", "lean_pct": "lean_share"}
# How a delay that was not given came to be, among a study's settings.
DELAY_FOUND = ("delay_found_in", "delay_correlation")
LIMITS = ("min_dwell_s", "grip_rate_pct_s", "speed_rate_rpm_s", "fewest_dwells", "largest_half_width")


class MixtureStudyForm(FieldGroupsMixin, RecordForm):
    GROUPS = (
        ("Runs", ("title", "runs", "load_channel", "delay_ms", "delay_run")),
        ("Axes", ("rpm_axis", "load_axis")),
        ("Target", ("target", "fuel")),
        ("Fuel table", ("fuel_table", "fuel_table_file", "dead_time")),
        ("", ("fill", "on_sheet")),
    )
    LIMIT_NAMES = (*LIMITS, "largest_pass_pct", "high_load_pct", "lean_pct")

    runs = RunsField(
        queryset=Run.objects.none(),
        label="Runs",
        error_messages={"required": "Choose at least one run."},
        help_text="Held runs, several at each opening: a cell needs two visits to be corrected.",
    )
    load_channel = forms.ChoiceField(label="Throttle measured by", choices=list(LOADS.items()))
    delay_ms = limit_field(
        "Sensor delay (ms)", 0, 1000, "Gas run and sensor together: lambda is taken back by it."
    )
    delay_run = DelayRunField(
        queryset=Run.objects.none(),
        label="or find the delay from a run",
        required=False,
        empty_label="no, as given",
        help_text="A run at one held point in which the fuel was stepped up or down, with the injectors' "
        "opening time in it.",
    )
    rpm_axis = FiguresField(label="Engine speeds (1/min)", required=False)
    load_axis = FiguresField(label="Throttle openings (%)", required=False)
    target = TargetField(
        label="Target lambda",
        help_text="One figure, one for each throttle opening, or a line of figures for each opening. Full "
        f"throttle on petrol without a charger: {FULL_THROTTLE_LAMBDA[0]:.2f} to "
        f"{FULL_THROTTLE_LAMBDA[1]:.2f} is common practice, no source.",
    )
    fuel = forms.ChoiceField(label="Fuel", choices=[(key, each.name) for key, each in FUELS.items()])
    fuel_table = forms.CharField(
        label="Fuel table, pasted",
        required=False,
        strip=False,
        widget=table_area(6, EXAMPLE),
        help_text="Engine speeds in the first row, throttle openings in the first column. It comes back "
        "corrected where it was measured and unchanged elsewhere. Axes left empty above are taken from it. ",
    )
    fuel_table_file = forms.FileField(
        label="or a text or CSV file with it", required=False, widget=forms.FileInput
    )
    dead_time = limit_field(
        "Injector dead time in the cells",
        0,
        5000,
        "0 where the cells hold amounts of fuel. Where they hold opening times, in the unit of the cells: it "
        "delivers nothing, so only what is beyond it is corrected.",
        required=False,
    )
    fill = forms.BooleanField(
        label="fill a single cell between two measured ones, marked as filled", required=False
    )

    min_dwell_s = limit_field("Shortest dwell (s)", 0.1, 60)
    grip_rate_pct_s = limit_field("Grip moves at most (% in 1 s)", 0.1, 100)
    speed_rate_rpm_s = limit_field("Engine speed moves at most (1/min in 1 s)", 10, 5000)
    fewest_dwells = forms.IntegerField(label="Dwells a cell needs", min_value=2, max_value=50)
    largest_half_width = limit_field("Half-width of lambda at most", 0.001, 0.5)
    largest_pass_pct = limit_field("Correction at most (% in one pass)", 0.5, 50)
    high_load_pct = limit_field("High load begins at (%)", 10, 100)
    lean_pct = limit_field("Lean is more than (% above target)", 0.5, 20)

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
        self.offer_delay_from(with_step)
        used = self.instance.settings_used
        self.initial.update({"dead_time": used.get("dead_time", 0.0), "fill": used.get("fill", False)})
        limits = Limits.of(used)
        for name in (*LIMITS, "high_load_pct"):
            self.initial[name] = getattr(limits, name)
        for name, kept in SHARES.items():
            self.initial[name] = round(100 * getattr(limits, kept), 6)
        if not self.instance.pk:
            self.suggest(usable)
        stored = self.instance.rpm_axis, self.instance.load_axis
        for name, suggested, own in zip(("rpm_axis", "load_axis"), axes, stored, strict=True):
            self.initial[name] = own or suggested
        before = self.instance.fuel_table_before
        self.initial["fuel_table"] = before["text"] if before else ""

    def offer_delay_from(self, runs: Sequence[Run]) -> None:
        if not runs:
            del self.fields["delay_run"]
            return
        field: Any = self.fields["delay_run"]
        field.queryset = Run.objects.filter(pk__in=[run.pk for run in runs]).select_related("tune_revision")

    def suggest(self, usable: Sequence[Run]) -> None:
        """The held runs of the latest tune that has any, under its name."""
        held = [run for run in usable if run.kind == Run.Kind.HELD]
        if held:
            tune = held[-1].tune_revision
            self.initial["runs"] = [run.pk for run in held if run.tune_revision == tune]
            self.initial["title"] = f"Mixture, {tune}" if tune else "Mixture"

    @property
    def limits(self) -> list[forms.BoundField]:
        return [self[name] for name in self.LIMIT_NAMES]

    @property
    def limits_at_fault(self) -> bool:
        return any(field.errors for field in self.limits)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        upload = self.cleaned_data.get("fuel_table_file")
        try:
            if upload:
                with at("fuel_table_file"):
                    show_file_text(self, "fuel_table", upload)
            if self.errors:
                return cleaned
            self.take_axes()
            delay = self.take_delay()
            study_of(self.instance, self.asked())
            self.instance.settings_used |= delay
        except StudyProblem as problem:
            self.add_error(problem.field, str(problem))
            if upload and problem.field == "fuel_table":
                self.add_error("fuel_table_file", READ_FROM_FILE.format(upload.name))
        return cleaned

    def take_delay(self) -> dict[str, Any]:
        """The delay found in the run chosen for it, and how, for the study's settings."""
        run, used = self.cleaned_data.get("delay_run"), self.instance.settings_used
        if run is None:
            as_found = self.cleaned_data["delay_ms"] == self.instance.delay_ms
            return {name: used[name] for name in DELAY_FOUND if as_found and name in used}
        with at("delay_run"):
            found = delay_from(run)
        self.cleaned_data["delay_ms"] = found.delay_ms
        return dict(zip(DELAY_FOUND, (str(run), round(found.correlation, 3)), strict=True))

    def take_axes(self) -> None:
        """Axes left empty are the fuel table's."""
        if self.cleaned_data["rpm_axis"] and self.cleaned_data["load_axis"]:
            return
        pasted = read_fuel_table(self.cleaned_data["fuel_table"])
        for name, axis in (("rpm_axis", "column_axis"), ("load_axis", "row_axis")):
            if not self.cleaned_data[name]:
                if pasted is None:
                    raise StudyProblem(name, "Enter the points of this axis, or paste a fuel table below.")
                self.cleaned_data[name] = getattr(pasted, axis).tolist()

    def asked(self) -> Asked:
        data = self.cleaned_data
        limits = {name: data[name] for name in (*LIMITS, "high_load_pct")}
        limits |= {kept: data[name] / 100 for name, kept in SHARES.items()}
        names = ("load_channel", "rpm_axis", "load_axis", "target", "fuel", "delay_ms", "fuel_table", "fill")
        return Asked(
            runs=list(data["runs"]),
            limits=Limits(**limits),
            dead_time=data["dead_time"] or 0.0,
            **{name: data[name] for name in names},
        )
