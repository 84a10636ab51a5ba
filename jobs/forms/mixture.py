"""The form of a mixture study: runs, axes, target, limits; what it asks for is computed as it is checked."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator

from jobs.calc.fuel import FUELS
from jobs.forms.throttle import table_area
from jobs.mixture import LOADS, Asked, Limits, StudyProblem, read_fuel_table, study_of
from jobs.models import MixtureStudy, Run
from workshop.forms.fields import FloatNumberField, plain
from workshop.forms.groups import Grouped
from workshop.forms.records import RecordForm
from workshop.units import parse_number

MOST_POINTS = 60
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
        if len(figures) > MOST_POINTS:
            raise ValidationError(f"{len(figures)} points were given; at most {MOST_POINTS} can be used.")
        return figures

    def prepare_value(self, value: Any) -> Any:
        return "  ".join(map(plain, value)) if isinstance(value, list) else value


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
            return plain(value) if isinstance(value, float | int) else value
        if value and isinstance(value[0], list):
            return "\n".join("  ".join(map(plain, line)) for line in value)
        return "  ".join(map(plain, value))


def limit_field(label: str, low: float, high: float, help_text: str = "") -> FloatNumberField:
    return FloatNumberField(
        label=label,
        help_text=help_text,
        validators=[MinValueValidator(low), MaxValueValidator(high)],
    )


def run_label(run: Run) -> str:
    tune = f", {run.tune_revision}" if run.tune_revision else ""
    return f"{run.get_kind_display()}: {run}{tune}"


class RunsField(forms.ModelMultipleChoiceField):
    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, obj: Any) -> str:
        return run_label(obj)


# Limits that are kept as shares and typed in %.
SHARES = {"largest_pass_pct": "largest_pass", "lean_pct": "lean_share"}
LIMITS = ("min_dwell_s", "grip_rate_pct_s", "speed_rate_rpm_s", "fewest_dwells", "largest_half_width")


class MixtureStudyForm(Grouped, RecordForm):
    GROUPS = (
        ("Runs", ("title", "runs", "load_channel", "delay_ms")),
        ("Axes", ("rpm_axis", "load_axis")),
        ("Target", ("target", "fuel")),
        ("Fuel table", ("fuel_table",)),
        ("", ("on_sheet",)),
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
    rpm_axis = FiguresField(label="Engine speeds (1/min)", required=False)
    load_axis = FiguresField(label="Throttle openings (%)", required=False)
    target = TargetField(
        label="Target lambda",
        help_text="One figure, one for each throttle opening, or a line of figures for each opening. Full "
        "throttle on petrol without a charger: 0.86 to 0.90 is common practice, no source.",
    )
    fuel = forms.ChoiceField(label="Fuel", choices=[(key, each.name) for key, each in FUELS.items()])
    fuel_table = forms.CharField(
        label="Fuel table, pasted",
        required=False,
        strip=False,
        widget=table_area(6, EXAMPLE),
        help_text="Engine speeds in the first row, throttle openings in the first column. It comes back "
        "corrected where it was measured and unchanged elsewhere. Axes left empty above are taken from it. "
        "Where the cells are opening times, take the injectors' dead time off first: it delivers nothing.",
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
        self, *args: Any, usable: Sequence[Run], axes: tuple[list[float], list[float]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        runs: Any = self.fields["runs"]
        runs.queryset = Run.objects.filter(pk__in=[run.pk for run in usable]).select_related("tune_revision")
        limits = Limits.of(self.instance.settings_used)
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
        if self.errors:
            return cleaned
        try:
            self.take_axes()
            study_of(self.instance, self.asked())
        except StudyProblem as problem:
            self.add_error(problem.field, str(problem))
        return cleaned

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
        names = ("load_channel", "rpm_axis", "load_axis", "target", "fuel", "delay_ms", "fuel_table")
        return Asked(
            runs=list(data["runs"]),
            limits=Limits(**limits),
            **{name: data[name] for name in names},
        )
