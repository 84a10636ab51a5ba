"""Forms of a slot on the dyno or at a bench, in the shop's time."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.http import QueryDict
from django.utils import timezone

from jobs.models import Job, Slot, WorkPlace
from jobs.planner.opening_hours import OpeningHours
from jobs.planner.slots import (
    MAX_LENGTH,
    date_warning,
    format_shop_time,
    outside_hours_warning,
    overlap_message,
    workstations_for,
)
from workshop.clock import to_utc, utc_instants
from workshop.records.fields import FloatNumberField, PlausibleDateField

FIRST, SECOND = "first", "second"


class SlotForm(forms.Form):
    """Day, time and length of a slot.

    Asks which instant is meant in the repeated hour, and to confirm a slot in the past, far away or
    outside the shop's hours.
    """

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    place = forms.ModelChoiceField(WorkPlace.objects.none(), label="Place", empty_label=None)
    day = PlausibleDateField(label="Day")
    clock = forms.TimeField(
        label="From", widget=forms.TimeInput(attrs={"type": "time", "step": 900}, format="%H:%M")
    )
    which = forms.ChoiceField(
        label="Which of the two",
        required=False,
        choices=[("", "–"), (FIRST, "the first"), (SECOND, "the second")],
    )
    hours = FloatNumberField(label="Hours", min_value=0.25, max_value=MAX_LENGTH / timedelta(hours=1))
    anyway = forms.BooleanField(label="Keep the place all the same", required=False)
    question = ""
    data: QueryDict

    def __init__(self, *args: Any, slot: Slot, opening_hours: OpeningHours, **kwargs: Any) -> None:
        self.slot, self.opening_hours = slot, opening_hours
        super().__init__(*args, **kwargs)
        self.fields["place"].queryset = workstations_for(slot)  # type: ignore[attr-defined]  # a ModelChoiceField
        if slot.pk:
            local = timezone.localtime(slot.starts_at)
            self.initial = {
                "version": slot.version,
                "place": slot.place_id,
                "day": local.date(),
                "clock": local.time(),
                "hours": (slot.ends_at - slot.starts_at) / timedelta(hours=1),
                "which": (SECOND if local.fold else FIRST) if "time" in format_shop_time(local) else "",
                **kwargs.get("initial", {}),
            }
        if not self.is_repeated_hour():
            self.fields["which"].widget = forms.HiddenInput()

    def is_repeated_hour(self) -> bool:
        field, clock = self.fields["day"], self.fields["clock"]
        sent = self.data if self.is_bound else self.initial
        try:
            day, time = field.clean(sent.get("day")), clock.clean(sent.get("clock"))
        except forms.ValidationError:
            return False
        return len(utc_instants(self.zone, day, time)) > 1

    @property
    def zone(self) -> ZoneInfo:
        zone = timezone.get_current_timezone()
        return zone if isinstance(zone, ZoneInfo) else ZoneInfo("UTC")

    def clean_clock(self) -> Any:
        clock = self.cleaned_data["clock"]
        if clock.minute % 15 or clock.second:
            raise forms.ValidationError("Slots begin at a quarter of an hour, such as 09:15.")
        return clock

    def clean_hours(self) -> float:
        hours: float = self.cleaned_data["hours"]
        if hours * 4 % 1:
            raise forms.ValidationError("Slots last whole quarters of an hour, such as 1.75 hours.")
        return hours

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        sent = cleaned.get("version")
        if self.slot.pk and sent is not None and sent != self.slot.version:
            self.report_move()
        if not self.errors:
            second = {FIRST: False, SECOND: True}.get(cleaned["which"])
            try:
                self.slot.starts_at = to_utc(self.zone, cleaned["day"], cleaned["clock"], second=second)
            except ValueError as problem:
                self.add_error("clock", str(problem))
                return cleaned
            self.slot.ends_at = self.slot.starts_at + timedelta(hours=cleaned["hours"])
            self.slot.place = cleaned["place"]
            if taken := overlap_message(self.slot):
                self.add_error("clock", taken)
            self.ask_about_time()
        return cleaned

    def report_move(self) -> None:
        """Refuse a change to a slot moved by someone else, and allow it to be sent again."""
        slot = self.slot
        last = slot.history.select_related("history_user").order_by("-history_id").first()
        who = str(last.history_user) if last and last.history_user else "Somebody"
        day = f"{timezone.localtime(slot.starts_at):%a %-d %b %Y}"
        self.add_error(
            None,
            f"{who} moved this slot meanwhile: {slot.place}, {day}, {format_shop_time(slot.starts_at)} to "
            f"{format_shop_time(slot.ends_at)}. Save again if it should stand as it does below.",
        )
        self.data = self.data.copy()
        self.data["version"] = str(slot.version)

    def ask_about_time(self) -> None:
        self.question = " ".join(
            filter(None, (date_warning(self.slot), outside_hours_warning(self.slot, self.opening_hours)))
        )
        if self.question and not self.cleaned_data["anyway"]:
            self.add_error("anyway", f"{self.question} If the place is wanted all the same, tick that it is.")


class NewSlotForm(SlotForm):
    """A slot and the job it is for."""

    job = forms.CharField(label="Job", max_length=12, help_text="its number, such as 2026-014")
    field_order = ("job",)

    def clean_job(self) -> Job:
        number = self.cleaned_data["job"].strip()
        job = Job.objects.open().filter(number=number).first()
        if job is None:
            raise forms.ValidationError(f"There is no open job {number}.")
        self.slot.job = job
        return job
