"""Forms of a file layout: structure of the file, meaning of its columns, and name."""

from typing import Any

from django import forms
from django.http import QueryDict

from jobs.calc.channels import CHANNELS
from jobs.calc.mixture.fuel import FUELS
from jobs.calc.run_file import (
    DECIMALS,
    DELIMITERS,
    ENCODINGS,
    THOUSANDS,
    TIME_FORMS,
    Column,
    FileLayoutSpec,
    StatedCorrection,
    StructureOverrides,
    get_unit_label,
)
from jobs.calc.units.factors import FACTORS, identify_unit
from jobs.calc.units.numbers import format_number
from jobs.models import FileLayout, Run
from jobs.runs.file_correction import (
    CORRECTION_CHOICES,
    CORRECTION_HELP,
    FACTOR_HELP,
    FACTOR_OF_OBSERVED,
    FACTOR_OF_OTHER,
    OBSERVED,
    OTHER,
    factor_to_use,
)
from jobs.runs.importing import CorrectionAnswer
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import FloatNumberField, WholeNumberField
from workshop.records.form import RecordForm

CHARACTERS = {"delimiter": DELIMITERS, "decimal": DECIMALS, "thousands": THOUSANDS}
LINES = ("header_line", "unit_line", "data_line")
OWN_NAME = [("", "keep as unnamed channel")]


def character_choices(characters: dict[str, str]) -> list[tuple[str, str]]:
    """Return choices by name, because a tab or an empty value does not survive a form."""
    return [("", "as found"), *((word, word) for word in characters.values())]


def find_character(name: str, word: str) -> str | None:
    return next((character for character, known in CHARACTERS[name].items() if known == word), None)


class StructureForm(forms.Form):
    """Structure of a file as set by hand; empty fields are detected."""

    encoding = forms.ChoiceField(choices=[("", "as found"), *ENCODINGS.items()], required=False)
    delimiter = forms.ChoiceField(choices=character_choices(DELIMITERS), required=False)
    decimal = forms.ChoiceField(label="Decimal mark", choices=character_choices(DECIMALS), required=False)
    thousands = forms.ChoiceField(
        label="Thousands mark", choices=character_choices(THOUSANDS), required=False
    )
    header_line = WholeNumberField(label="Header line", required=False, min_value=0)
    unit_line = WholeNumberField(label="Line with the units", required=False, min_value=0)
    data_line = WholeNumberField(label="First line of data", required=False, min_value=1)
    stoichiometric_afr = FloatNumberField(
        label="Stoichiometric AFR (lambda 1)", required=False, min_value=1, max_value=40
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        ratios = ", ".join(
            f"{fuel.name} {format_number(fuel.stoichiometric_afr, 1)}" for fuel in FUELS.values()
        )
        self.fields[
            "stoichiometric_afr"
        ].help_text = f"Depends on the fuel set in the lambda gauge: {ratios}."

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        data, header, unit = (cleaned.get(name) for name in ("data_line", "header_line", "unit_line"))
        for name, line in (("header_line", header), ("unit_line", unit)):
            if data and line and line >= data:
                self.add_error(name, "This line must be above the first line of data.")
        return cleaned

    @property
    def overrides(self) -> StructureOverrides:
        cleaned = self.cleaned_data
        set_by_hand: dict[str, Any] = {name: cleaned[name] for name in LINES}
        for name in CHARACTERS:
            set_by_hand[name] = find_character(name, cleaned[name]) if cleaned[name] else None
        return StructureOverrides(encoding=cleaned["encoding"] or None, **set_by_hand)

    def add_detected_hints(self, layout: FileLayoutSpec) -> None:
        """Show the detected value beside every field."""
        found = {
            "encoding": ENCODINGS[layout.encoding],
            "delimiter": DELIMITERS[layout.delimiter],
            "decimal": DECIMALS[layout.decimal],
            "thousands": THOUSANDS[layout.thousands],
            "data_line": f"line {layout.data_line}",
            "header_line": f"line {layout.header_line}" if layout.header_line else "none",
            "unit_line": f"line {layout.unit_line}" if layout.unit_line else "none",
        }
        for name, detected in found.items():
            none = ". Enter 0 for none." if name in ("header_line", "unit_line") else ""
            # the bound field already holds its own help text
            self[name].help_text = f"Currently: {detected}{none}"


def manual_overrides(stored: FileLayoutSpec, found: FileLayoutSpec | None) -> dict[str, Any]:
    """Return what was set by hand: where a stored layout differs from the detected one."""
    overrides: dict[str, Any] = {"stoichiometric_afr": stored.stoichiometric_afr}
    if found is None or stored.encoding != found.encoding:
        overrides["encoding"] = stored.encoding
    for name, characters in CHARACTERS.items():
        if found is None or getattr(stored, name) != getattr(found, name):
            overrides[name] = characters[getattr(stored, name)]
    for name in LINES:
        if found is None or getattr(stored, name) != getattr(found, name):
            overrides[name] = getattr(stored, name) or 0
    return overrides


# --- columns


def list_units(quantity: str) -> dict[str, str]:
    """Return the units of a quantity, and for time also its notations."""
    found = {unit_id: unit.label for unit_id, unit in FACTORS.items() if unit.quantity == quantity}
    return {**found, **TIME_FORMS} if quantity == "time" else found


def choose_unit(column: Column, channel_id: str, wanted: str) -> str:
    """Return the first unit that fits the channel: the chosen one, the stated one or the only one."""
    quantity = CHANNELS[channel_id].quantity
    fitting = list_units(quantity)
    stated = identify_unit(column.unit_text, quantity) if column.unit_text else None
    if column.channel == channel_id and column.without_weak_guess().unit is None:
        stated = None  # the values contradict it
    for unit_id in (wanted, stated):
        if unit_id in fitting:
            return unit_id
    return next(iter(fitting)) if len(fitting) == 1 else ""


def describe_offer(column: Column, channel: str, unit: str) -> str:
    """Return the guess that is too weak to be chosen for anybody, or ''."""
    if not column.channel or column.without_weak_guess() == column:
        return ""
    if channel == "":
        unit_words = f" in {get_unit_label(column.unit)}" if column.unit else ""
        return f"It may be {CHANNELS[column.channel].label}{unit_words}. Choose it only if it is."
    if channel == column.channel and unit == "" and column.unit:
        if column.unit_text and identify_unit(column.unit_text, CHANNELS[channel].quantity) == column.unit:
            stated = get_unit_label(column.unit)
            return f"The header says {stated}, and the values are not plausible in {stated}."
        return f"The unit is not certain. It may be {get_unit_label(column.unit)}. Choose it only if it is."
    return ""


class ColumnForm(forms.Form):
    """Meaning of one column: its channel and one of the units of that channel."""

    channel = forms.ChoiceField(
        required=False,
        choices=[*OWN_NAME, *((channel.id, channel.label) for channel in CHANNELS.values())],
    )
    unit = forms.ChoiceField(required=False)

    def __init__(self, column: Column, posted: QueryDict | None = None) -> None:
        self.column = column
        prefix = f"column-{column.position}"
        proposed = column.without_weak_guess()
        channel, unit = proposed.channel or "", proposed.unit or ""
        if posted is not None:
            channel, unit = (posted.get(f"{prefix}-{name}", "") for name in ("channel", "unit"))
        known = channel in CHANNELS
        unit = choose_unit(column, channel, unit) if known else ""
        given = {"channel": channel, "unit": unit}
        data = {f"{prefix}-{name}": value for name, value in given.items()} if posted is not None else None
        super().__init__(data, initial=given, prefix=prefix)
        title = f"column {column.position + 1}, {column.name or 'no name'}"
        channel_field: Any = self.fields["channel"]
        unit_field: Any = self.fields["unit"]
        channel_field.label, unit_field.label = f"what is in {title}", f"unit of {title}"
        fitting = list_units(CHANNELS[channel].quantity) if known else {}
        unit_field.choices = [("", "–"), *((unit_id, get_unit_label(unit_id)) for unit_id in fitting)]
        self.offer = describe_offer(column, channel, unit)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        channel = cleaned.get("channel")
        if channel and not cleaned.get("unit") and "unit" not in self.errors:
            self.add_error("unit", f"Choose the unit of {CHANNELS[channel].label} in the file.")
        return cleaned

    @property
    def meaning(self) -> tuple[str | None, str | None]:
        """Channel and unit, None if invalid."""
        cleaned = getattr(self, "cleaned_data", {})
        return cleaned.get("channel") or None, cleaned.get("unit") or None


def column_forms(layout: FileLayoutSpec, posted: QueryDict | None) -> list[ColumnForm]:
    """Return one form per column; a channel chosen twice is an error at the second column."""
    forms_by_column = [ColumnForm(column, posted) for column in layout.columns]
    positions: dict[str, int] = {}
    for form in forms_by_column if posted is not None else ():
        form.is_valid()
        channel, _ = form.meaning
        if channel in positions:
            form.add_error(
                "channel", f"Column {positions[channel] + 1} is already used as {CHANNELS[channel].label}."
            )
        elif channel:
            positions[channel] = form.column.position
    return forms_by_column


def with_meanings(layout: FileLayoutSpec, columns: list[ColumnForm]) -> FileLayoutSpec:
    """Return the layout with the valid meanings from the column forms."""
    return layout.with_meanings({form.column.position: form.meaning for form in columns})


class KindForm(forms.Form):
    """Name, kind and gear of a run that is not read yet, proposed by its channels and its file's name."""

    run_name = forms.CharField(
        label="Name of the run",
        required=False,
        max_length=Run._meta.get_field("name").max_length,
        help_text="Leave it empty to show the file name.",
    )
    offered_name = forms.CharField(required=False, widget=forms.HiddenInput)
    kind = forms.ChoiceField(choices=[("", ""), *Run.Kind.choices], required=False)
    gear = WholeNumberField(
        required=False, min_value=1, max_value=8, help_text="If empty, as the columns show, if they do."
    )

    def show_proposal(self, kind: str, name: str) -> None:
        """Show what the empty choice of the kind means, and the proposed name unless another was typed."""
        field: Any = self.fields["kind"]
        field.choices = [("", f"as its columns show: {Run.Kind(kind).label}"), *Run.Kind.choices]
        offer = {"run_name": name, "offered_name": name}
        if not self.is_bound:
            self.initial = {**offer, **{key: value for key, value in self.initial.items() if value}}
        elif self.data.get("run_name") == self.data.get("offered_name"):
            self.data = {**{key: self.data.get(key) for key in self.fields}, **offer}


class PullsForm(forms.Form):
    """What becomes of the pulls of a file that holds several."""

    EACH, WHOLE = "each", "whole"

    pulls = forms.ChoiceField(
        label="What to do with the pulls",
        choices=[
            (EACH, "Each pull becomes a run, with the type, gear, air and tune of this one"),
            (WHOLE, "The file stays one run. Its curve shows one pull, with a note"),
        ],
        widget=forms.RadioSelect,
        initial=EACH,
    )

    @property
    def each_pull(self) -> bool:
        return bool(self.cleaned_data["pulls"] == self.EACH)


class CorrectionForm(forms.Form):
    """Whether the file's figures are corrected for the air already, asked where the file is seen."""

    corrected_by = forms.ChoiceField(
        label="Already corrected", choices=CORRECTION_CHOICES, required=False, help_text=CORRECTION_HELP
    )
    file_factor = FloatNumberField(
        label="Factor", required=False, min_value=0.5, max_value=1.5, help_text=FACTOR_HELP
    )

    def __init__(self, data: QueryDict | None, run: Run, stated: StatedCorrection) -> None:
        by = run.corrected_by
        if by in ("", OBSERVED) and run.status != Run.Status.READ and stated.evidence:
            by = stated.standard
        super().__init__(data, initial={"corrected_by": by, "file_factor": run.file_factor})
        self.stated = stated
        if stated.factor is not None:
            hint = f"The file states {stated.factor:g}, which is used if this is empty."
            self.fields["file_factor"].help_text = hint

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        by, factor = cleaned.get("corrected_by", ""), cleaned.get("file_factor")
        if by == OBSERVED and factor is not None:
            self.add_error("file_factor", FACTOR_OF_OBSERVED)
        if by == OTHER and "file_factor" not in self.errors and not factor_to_use(by, factor, self.stated):
            self.add_error("file_factor", FACTOR_OF_OTHER)
        return cleaned

    @property
    def answer(self) -> CorrectionAnswer:
        return CorrectionAnswer(self.cleaned_data["corrected_by"], self.cleaned_data["file_factor"])


class NameForm(forms.Form):
    """Name of a file layout."""

    name = forms.CharField(label="Name of this file layout", max_length=120)


class FileLayoutForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = FileLayout
        fields = ["name"]
