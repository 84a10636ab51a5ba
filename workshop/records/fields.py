"""Fields for the bench: numbers with comma or point in the shop's units, days and times of its clock."""

import re
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from jobs.calc.units.factors import canonical_unit
from workshop.clock import believable, moment
from workshop.units.display import convert, exact_mm, label, length_as_typed, parse_number

LENGTH = re.compile(r"(.*\d[.,]?)\s*([^\d\s.,]\D*)?", re.DOTALL)  # a figure, and a unit where one is written


class NumberInput(forms.TextInput):
    """A text box with the numeric keypad; type=number would drop a comma without a word."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__({"inputmode": "decimal", "autocomplete": "off", **(attrs or {})})


def plain(value: Any) -> str:
    """A number as text without trailing zeros and never with an exponent."""
    text = f"{Decimal(str(value)):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class NumberField(forms.DecimalField):
    """An exact decimal typed with a comma or a point."""

    widget = NumberInput

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return None
        if isinstance(value, str):
            try:
                value = parse_number(value)
            except ValueError as problem:
                raise ValidationError(str(problem), code="invalid") from problem
        return super().to_python(value)

    def prepare_value(self, value: Any) -> Any:
        return plain(value) if isinstance(value, Decimal | float | int) else value

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {}


class FloatNumberField(NumberField):
    """The same for a measured quantity that is kept as a float."""

    def clean(self, value: Any) -> Any:
        number = super().clean(value)
        return None if number is None else float(number)


class QuantityField(FloatNumberField):
    """A quantity typed in the shop's unit and kept in the record's own."""

    def __init__(self, *, kept_in: str, unit: str | None = None, **kwargs: Any) -> None:
        self.kept_in = kept_in
        self.unit = unit or kept_in
        super().__init__(**kwargs)

    def use_unit(self, unit: str) -> None:
        """Show and take the quantity in this unit, and name it in the label."""
        self.unit = unit
        base = str(self.label or "").split(" (")[0]
        self.label = f"{base} ({label(unit)})"

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, Decimal | float | int):
            value = round(float(convert(float(value), self.kept_in, self.unit)), 6)
        return super().prepare_value(value)

    def clean(self, value: Any) -> Any:
        number = forms.DecimalField.to_python(self, self.to_python(value))
        if number is not None:
            number = Decimal(str(convert(float(number), self.unit, self.kept_in)))
        forms.Field.validate(self, number)
        self.run_validators(number)
        return None if number is None else float(number)


class LengthField(NumberField):
    """A length in the shop's unit, or in the one written behind it; kept in mm to the last digit."""

    unit = "mm"

    def use_unit(self, unit: str) -> None:
        """Show and take the length in this unit, and name it in the label."""
        self.unit = unit
        base = str(self.label or "").split(" (")[0]
        self.label = f"{base} ({label(unit)})"

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or not isinstance(value, str):
            return super().to_python(value)
        found = LENGTH.fullmatch(value.strip())
        figure, named = found.groups() if found else (value, None)
        unit = (canonical_unit(named, "length") or named) if named else self.unit
        try:
            length_mm = exact_mm(parse_number(figure), unit)
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem
        return super().to_python(Decimal(plain(length_mm)))

    def prepare_value(self, value: Any) -> Any:
        return (
            length_as_typed(value, self.unit) if isinstance(value, Decimal) else super().prepare_value(value)
        )


class DayField(forms.DateField):
    """A day that somebody can mean."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def to_python(self, value: Any) -> date | None:
        day: date | None = super().to_python(value)
        try:
            return day and believable(day)
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem


class MomentField(forms.DateTimeField):
    """A day and a time of the shop's clock, which shows some times twice a year and some never.

    ``kept`` is the moment that the record has: a time left as it was shown stays that moment.
    """

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    kept: datetime | None = None

    def to_python(self, value: Any) -> datetime | None:
        try:
            meant: datetime | None = super().to_python(value)
        except ValidationError as problem:
            if problem.code != "ambiguous_timezone":
                raise
            return self.odd(problem.params["datetime"])  # type: ignore[index]  # Django names what it read
        try:
            if meant:
                believable(meant.date())
            return meant
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem

    def odd(self, reading: datetime) -> datetime:
        """The moment meant by a time that the clock does not show once, or a sentence about it."""
        kept = self.kept and timezone.localtime(self.kept).replace(
            second=0, microsecond=0, tzinfo=None, fold=0
        )
        if self.kept and kept == reading:
            return self.kept
        zone = timezone.get_current_timezone()
        assert isinstance(zone, ZoneInfo)
        try:
            return moment(zone, believable(reading.date()), reading.time())
        except ValueError as problem:
            sentence = str(problem).replace("say which is meant", "give one an hour earlier or later")
            raise ValidationError(sentence, code="invalid") from problem
