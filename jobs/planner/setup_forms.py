"""Forms of the owner's settings: workstations, opening hours, closed days."""

from datetime import date
from typing import Any

from django import forms

from jobs.models import ShutDays, WorkPlace
from workshop.models import ShopProfile
from workshop.models.shop import WEEKDAYS
from workshop.records.conflict import history_since
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import ClockField, PlausibleDateField
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin


class WorkstationForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = WorkPlace
        fields = ["name", "kind", "order", "retired"]
        help_texts = {
            "order": "Lowest number first in the schedule.",
            "retired": "Existing slots stay. The workstation can no longer be booked.",
        }


class ClosedDaysForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    GROUPS = (("", ("first", "last", "reason")),)
    PLANNED = ("first", "last")

    first = PlausibleDateField(label="First day")
    last = PlausibleDateField(label="Last day", required=False, help_text="Leave empty for one day.")

    class Meta(RecordForm.Meta):
        model = ShutDays
        fields = ["first", "last", "reason"]

    def clean_last(self) -> date | None:
        last: date | None = self.cleaned_data["last"]
        first: date | None = self.cleaned_data.get("first")
        if last and first and last < first:
            raise forms.ValidationError("The last day must be on or after the first day.")
        return last or first


class OpeningHoursForm(RecordForm):
    """Opening hours of each weekday; both left empty if the shop is closed."""

    class Meta(RecordForm.Meta):
        model = ShopProfile
        fields: list[str] = []

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, (day, hours) in enumerate(zip(WEEKDAYS, self.instance.working_hours, strict=True)):
            opens, shuts = hours or ("", "")
            self.fields[f"opens_{number}"] = ClockField(label=f"{day}, from", required=False)
            self.fields[f"shuts_{number}"] = ClockField(label=f"{day}, to", required=False)
            self.initial.update({f"opens_{number}": opens, f"shuts_{number}": shuts})

    @property
    def days(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        return [
            (day, self[f"opens_{number}"], self[f"shuts_{number}"]) for number, day in enumerate(WEEKDAYS)
        ]

    def report_conflict(self, sent_version: int) -> None:
        """Report the conflict, and adopt the saved hours of days that were not changed here."""
        super().report_conflict(sent_version)
        then, now = history_since(self.instance, sent_version)
        if then is None or now is None:
            return
        sent = self.data.copy()
        for number, (was, theirs) in enumerate(zip(then.working_hours, now.working_hours, strict=True)):
            names = (f"opens_{number}", f"shuts_{number}")
            if [sent.get(name, "") for name in names] == (was or ["", ""]):
                for name, clock in zip(names, theirs or ["", ""], strict=True):
                    sent[name] = clock
        self.data = sent

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        hours = [self.parse_weekday_hours(number, day) for number, day in enumerate(WEEKDAYS)]
        if not self.errors and not any(hours):
            self.add_error(None, "Enter opening hours for at least one day.")
        if not self.errors:
            self.instance.working_hours = hours
        return cleaned

    def parse_weekday_hours(self, number: int, day: str) -> list[str] | None:
        """Return the stored hours of one weekday, or None if the shop is closed."""
        opens, shuts = (self.cleaned_data.get(f"{end}_{number}") for end in ("opens", "shuts"))
        if (opens is None) != (shuts is None):
            missing = f"opens_{number}" if opens is None else f"shuts_{number}"
            if missing not in self.errors:
                self.add_error(
                    missing, f"{day}: enter both times, or leave both empty if the shop is closed."
                )
            return None
        if opens is None or shuts is None:
            return None
        if shuts <= opens:
            self.add_error(f"shuts_{number}", f"{day}: the closing time must be after the opening time.")
        return [f"{opens:%H:%M}", f"{shuts:%H:%M}"]
