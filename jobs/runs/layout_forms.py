"""Forms of a file layout: the structure of a file, what each column holds, and its name."""

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
    StructureOverrides,
    get_unit_label,
)
from jobs.calc.units.factors import FACTORS, identify_unit
from jobs.calc.units.numbers import format_number
from jobs.models import FileLayout
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import FloatNumberField
from workshop.records.form import RecordForm

SIGNS = {"delimiter": DELIMITERS, "decimal": DECIMALS, "thousands": THOUSANDS}
LINES = ("header_line", "unit_line", "data_line")
OWN_NAME = [("", "keep under its own name")]


def words(signs: dict[str, str]) -> list[tuple[str, str]]:
    """Choices under words, since signs such as a tab or nothing at all do not survive a form."""
    return [("", "as found"), *((word, word) for word in signs.values())]


def sign_of(name: str, word: str) -> str | None:
    return next((sign for sign, known in SIGNS[name].items() if known == word), None)


class StructureForm(forms.Form):
    """What a person sets of a file's structure; whatever is left empty is found around it."""

    encoding = forms.ChoiceField(choices=[("", "as found"), *ENCODINGS.items()], required=False)
    delimiter = forms.ChoiceField(choices=words(DELIMITERS), required=False)
    decimal = forms.ChoiceField(label="Decimal mark", choices=words(DECIMALS), required=False)
    thousands = forms.ChoiceField(label="Thousands mark", choices=words(THOUSANDS), required=False)
    header_line = forms.IntegerField(label="Line with the names", required=False, min_value=0)
    unit_line = forms.IntegerField(label="Line with the units", required=False, min_value=0)
    data_line = forms.IntegerField(label="First line with figures", required=False, min_value=1)
    stoichiometric_afr = FloatNumberField(
        label="Air-fuel ratio that is lambda 1", required=False, min_value=1, max_value=40
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in LINES:
            self.fields[name].widget.attrs["inputmode"] = "numeric"
        ratios = ", ".join(
            f"{fuel.name} {format_number(fuel.stoichiometric_afr, 1)}" for fuel in FUELS.values()
        )
        self.fields["stoichiometric_afr"].help_text = f"By the fuel that the gauge is set to: {ratios}."

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        data, header, unit = (cleaned.get(name) for name in ("data_line", "header_line", "unit_line"))
        for name, line in (("header_line", header), ("unit_line", unit)):
            if data and line and line >= data:
                self.add_error(name, "This line must stand above the first line with figures.")
        return cleaned

    @property
    def overrides(self) -> StructureOverrides:
        cleaned = self.cleaned_data
        set_by_hand: dict[str, Any] = {name: cleaned[name] for name in LINES}
        for name in SIGNS:
            set_by_hand[name] = sign_of(name, cleaned[name]) if cleaned[name] else None
        return StructureOverrides(encoding=cleaned["encoding"] or None, **set_by_hand)

    def tell_found(self, layout: FileLayoutSpec) -> None:
        """Say beside each field what was found."""
        found = {
            "encoding": ENCODINGS[layout.encoding],
            "delimiter": DELIMITERS[layout.delimiter],
            "decimal": DECIMALS[layout.decimal],
            "thousands": THOUSANDS[layout.thousands],
            "data_line": f"line {layout.data_line}",
            "header_line": f"line {layout.header_line}" if layout.header_line else "none",
            "unit_line": f"line {layout.unit_line}" if layout.unit_line else "none",
        }
        for name, said in found.items():
            none = "; 0: there is none" if name in ("header_line", "unit_line") else ""
            # the bound field has taken its help text over already
            self[name].help_text = f"Read as: {said}{none}"


def choices_apart(stored: FileLayoutSpec, found: FileLayoutSpec | None) -> dict[str, Any]:
    """What must have been set by hand: where a stored layout is not as it would be found."""
    apart: dict[str, Any] = {"stoichiometric_afr": stored.stoichiometric_afr}
    if found is None or stored.encoding != found.encoding:
        apart["encoding"] = stored.encoding
    for name, signs in SIGNS.items():
        if found is None or getattr(stored, name) != getattr(found, name):
            apart[name] = signs[getattr(stored, name)]
    for name in LINES:
        if found is None or getattr(stored, name) != getattr(found, name):
            apart[name] = getattr(stored, name) or 0
    return apart


# --- columns


def units_of(quantity: str) -> dict[str, str]:
    """The units that measure a quantity, and the ways in which a time is written."""
    found = {unit_id: unit.label for unit_id, unit in FACTORS.items() if unit.quantity == quantity}
    return {**found, **TIME_FORMS} if quantity == "time" else found


def unit_for(column: Column, channel_id: str, wanted: str) -> str:
    """The unit wanted where it measures the channel, else the one the file states; '' where neither fits."""
    quantity = CHANNELS[channel_id].quantity
    fitting = units_of(quantity)
    stated = identify_unit(column.unit_text, quantity) if column.unit_text else None
    for unit_id in (wanted, stated):
        if unit_id in fitting:
            return unit_id
    return next(iter(fitting)) if len(fitting) == 1 else ""


class ColumnForm(forms.Form):
    """What one column holds, and in which unit; the units offered are those of the channel chosen."""

    channel = forms.ChoiceField(
        required=False,
        choices=[*OWN_NAME, *((channel.id, channel.label) for channel in CHANNELS.values())],
    )
    unit = forms.ChoiceField(required=False)

    def __init__(self, column: Column, posted: QueryDict | None = None) -> None:
        self.column = column
        prefix = f"column-{column.position}"
        channel, unit = column.channel or "", column.unit or ""
        if posted is not None:
            channel, unit = (posted.get(f"{prefix}-{name}", "") for name in ("channel", "unit"))
        known = channel in CHANNELS
        unit = unit_for(column, channel, unit) if known else ""
        given = {"channel": channel, "unit": unit}
        data = {f"{prefix}-{name}": value for name, value in given.items()} if posted is not None else None
        super().__init__(data, initial=given, prefix=prefix)
        title = f"column {column.position + 1}, {column.name or 'without a name'}"
        channel_field: Any = self.fields["channel"]
        unit_field: Any = self.fields["unit"]
        channel_field.label, unit_field.label = f"what is in {title}", f"unit of {title}"
        fitting = units_of(CHANNELS[channel].quantity) if known else {}
        unit_field.choices = [("", "–"), *((unit_id, get_unit_label(unit_id)) for unit_id in fitting)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        channel = cleaned.get("channel")
        if channel and not cleaned.get("unit") and "unit" not in self.errors:
            self.add_error("unit", f"Say in which unit the {CHANNELS[channel].label} stands in the file.")
        return cleaned

    @property
    def meaning(self) -> tuple[str | None, str | None]:
        """Channel and unit, as far as they are valid."""
        cleaned = getattr(self, "cleaned_data", {})
        return cleaned.get("channel") or None, cleaned.get("unit") or None


def column_forms(layout: FileLayoutSpec, posted: QueryDict | None) -> list[ColumnForm]:
    """One form a column; a channel that two columns are given is refused at the second."""
    made = [ColumnForm(column, posted) for column in layout.columns]
    held: dict[str, int] = {}
    for form in made if posted is not None else ():
        form.is_valid()
        channel, _ = form.meaning
        if channel in held:
            form.add_error(
                "channel", f"Column {held[channel] + 1} is read as {CHANNELS[channel].label} already."
            )
        elif channel:
            held[channel] = form.column.position
    return made


def with_meanings(layout: FileLayoutSpec, columns: list[ColumnForm]) -> FileLayoutSpec:
    """The layout with what the column forms say, as far as they are valid."""
    return layout.with_meanings({form.column.position: form.meaning for form in columns})


class NameForm(forms.Form):
    """What the layout is to be called."""

    name = forms.CharField(label="Name of this file layout", max_length=120)


class FileLayoutForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = FileLayout
        fields = ["name"]
