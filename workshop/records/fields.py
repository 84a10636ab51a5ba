"""Form fields: numbers with comma or point in the shop's units, dates and times of its clock."""

import re
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from jobs.calc.units.factors import get_unit, identify_unit
from workshop.clock import check_plausible_day, to_utc
from workshop.units.display import (
    Plausible,
    convert,
    exact_mm,
    format_for_input,
    format_plain,
    format_typed,
    label,
    parse_number,
    plausible_length,
)

NUMBER_AND_UNIT = re.compile(r"(.*\d[.,]?)\s*([^\d\s.,]\D*)?", re.DOTALL)  # the unit may be missing

MAX_UNIT_LENGTH = 20


class NumberInput(forms.TextInput):
    """A text box with the numeric keypad; type=number would drop a comma without a word."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__({"inputmode": "decimal", "autocomplete": "off", **(attrs or {})})


class NumberMixin(forms.Field):
    """A number in a text box; its plausible range decides what "12,345" means."""

    widget = NumberInput
    thousandths = True  # whether people write this quantity to the third decimal

    @property
    def plausible(self) -> Plausible:
        low, high = (getattr(self, end, None) for end in ("min_value", "max_value"))
        return Plausible(low, high, self.thousandths)

    def parse(self, text: str) -> Decimal:
        try:
            return parse_number(text, self.plausible)
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem

    def prepare_value(self, value: Any) -> Any:
        return format_typed(value, self.plausible) if isinstance(value, Decimal | float | int) else value

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {}


class WholeNumberField(NumberMixin, forms.IntegerField):
    """A whole number; a mark of thousands in it is understood."""

    @property
    def plausible(self) -> Plausible:
        return Plausible(thousandths=False)  # one reading, judged by the limits of the field

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"widget": NumberInput({"inputmode": "numeric"}), **kwargs})

    def to_python(self, value: Any) -> Any:
        if not isinstance(value, str) or not value.strip():
            return super().to_python(value)
        try:
            number = parse_number(value, self.plausible)
        except ValueError as problem:
            raise ValidationError(self.error_messages["invalid"], code="invalid") from problem
        if number != number.to_integral_value():
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        return super().to_python(int(number))

    def prepare_value(self, value: Any) -> Any:
        return value


class NumberField(NumberMixin, forms.DecimalField):
    """An exact decimal typed with a comma or a point."""

    def __init__(self, *, thousandths: bool = True, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.thousandths = thousandths

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return None
        return super().to_python(self.parse(value) if isinstance(value, str) else value)


class FloatNumberField(NumberField):
    """A measured quantity typed with a comma or a point and stored as a float."""

    def clean(self, value: Any) -> Any:
        number = super().clean(value)
        return None if number is None else float(number)


class UnitMixin(forms.Field):
    """A field whose label names the unit that it is shown and typed in."""

    unit: str

    def set_unit(self, unit: str) -> None:
        self.unit = unit
        base = str(self.label or "").split(" (")[0]
        self.label = f"{base} ({label(unit)})"


class QuantityField(UnitMixin, FloatNumberField):
    """A quantity typed in the shop's unit or in the one typed behind it, stored in the record's own."""

    def __init__(self, *, storage_unit: str, unit: str | None = None, **kwargs: Any) -> None:
        self.storage_unit = storage_unit
        self.unit = unit or storage_unit
        super().__init__(**kwargs)

    def in_unit(self, value: float) -> float:
        """Convert a stored value into the unit that is typed."""
        return round(float(convert(value, self.storage_unit, self.unit)), 6)

    @property
    def plausible(self) -> Plausible:
        stored = super().plausible
        low, high = (None if end is None else self.in_unit(float(end)) for end in (stored.low, stored.high))
        return Plausible(low, high, stored.thousandths)

    def to_python(self, value: Any) -> Any:
        found = NUMBER_AND_UNIT.fullmatch(value.strip()) if isinstance(value, str) else None
        if not found or not found[2]:
            return super().to_python(value)
        quantity = get_unit(self.storage_unit).quantity
        typed = identify_unit(found[2], quantity)
        if typed is None or get_unit(typed).quantity != quantity:
            unknown = found[2][:MAX_UNIT_LENGTH]
            raise ValidationError(
                f"“{unknown}” is not a unit of this quantity. Enter it in {label(self.unit)}.", code="invalid"
            )
        low, high = (
            None if end is None else convert(float(end), self.unit, typed)
            for end in (self.plausible.low, self.plausible.high)
        )
        try:
            number = parse_number(found[1], Plausible(low, high))
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem
        return super().to_python(Decimal(str(convert(float(number), typed, self.unit))))

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, Decimal | float | int):
            value = self.in_unit(float(value))
        return super().prepare_value(value)

    def clean(self, value: Any) -> Any:
        number = forms.DecimalField.to_python(self, self.to_python(value))
        if number is not None:
            number = Decimal(str(convert(float(number), self.unit, self.storage_unit)))
        forms.Field.validate(self, number)
        self.run_validators(number)
        return None if number is None else float(number)


class LengthField(UnitMixin, NumberField):
    """A length in the shop's unit or in the one typed behind it, stored exactly in mm."""

    unit = "mm"

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values or not isinstance(value, str):
            return super().to_python(value)
        found = NUMBER_AND_UNIT.fullmatch(value.strip())
        number, named = found.groups() if found else (value, None)
        unit = (identify_unit(named, "length") or named) if named else self.unit
        try:
            length_mm = exact_mm(parse_number(number, plausible_length(unit, self.plausible.high)), unit)
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem
        return super().to_python(Decimal(format_plain(length_mm)))

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, Decimal):
            return super().prepare_value(value)
        return format_for_input(value, self.unit, self.plausible.high)


class PlausibleDateField(forms.DateField):
    """A date that is not centuries away."""

    default_error_messages = {"invalid": "Enter a date, such as 2026-11-30."}
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def to_python(self, value: Any) -> date | None:
        day: date | None = super().to_python(value)
        try:
            return day and check_plausible_day(day)
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem


class ClockField(forms.TimeField):
    """A time of day, offered in quarters of an hour."""

    default_error_messages = {"invalid": "Enter a time, such as 09:00."}
    widget = forms.TimeInput(attrs={"type": "time", "step": 900}, format="%H:%M")


class ShopDateTimeField(forms.DateTimeField):
    """A date and time of the shop's clock, which has DST gaps and overlaps.

    ``stored`` is the record's time: submitted as it was shown, to the minute, it stays the same instant.
    """

    default_error_messages = {"invalid": "Enter a date and time, such as 2026-11-30 09:00."}
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    stored: datetime | None = None

    def to_python(self, value: Any) -> datetime | None:
        try:
            instant: datetime | None = super().to_python(value)
        except ValidationError as problem:
            if problem.code != "ambiguous_timezone":
                raise
            return self.resolve_dst_time(problem.params["datetime"])  # type: ignore[index]  # Django names what it read
        try:
            if instant and self.stored and instant == self.stored.replace(second=0, microsecond=0):
                return self.stored
            if instant:
                check_plausible_day(instant.date())
            return instant
        except ValueError as problem:
            raise ValidationError(str(problem), code="invalid") from problem

    def resolve_dst_time(self, local_time: datetime) -> datetime:
        """Return the instant of a local time in a DST gap or overlap if it is the stored one."""
        shown = self.stored and timezone.localtime(self.stored).replace(
            second=0, microsecond=0, tzinfo=None, fold=0
        )
        if self.stored and shown == local_time:
            return self.stored
        zone = timezone.get_current_timezone()
        assert isinstance(zone, ZoneInfo)
        try:
            return to_utc(zone, check_plausible_day(local_time.date()), local_time.time())
        except ValueError as problem:
            sentence = str(problem).replace(
                "Choose which one you mean.", "Enter a time one hour earlier or later."
            )
            raise ValidationError(sentence, code="invalid") from problem
