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
from workshop.models import StaffMember
from workshop.records.field_groups import FieldGroupsMixin, field_names
from workshop.records.fields import ClockField, FloatNumberField, PlausibleDateField

FIRST, SECOND = "first", "second"


class SlotForm(FieldGroupsMixin, forms.Form):
    """Day, time and length of a slot.

    Asks which instant is meant in the repeated hour, and to confirm a slot in the past, far away or
    outside the shop's hours.
    """

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    place = forms.ModelChoiceField(WorkPlace.objects.none(), label="Workstation", empty_label=None)
    person = forms.ModelChoiceField(
        StaffMember.objects.filter(is_active=True),
        label="Person",
        required=False,
        empty_label="not decided",
    )
    day = PlausibleDateField(label="Day")
    clock = ClockField(label="From")
    which = forms.ChoiceField(
        label="Before or after the clocks go back",
        required=False,
        choices=[("", "–"), (FIRST, "the first"), (SECOND, "the second")],
    )
    hours = FloatNumberField(label="Hours", min_value=0.25, max_value=MAX_LENGTH / timedelta(hours=1))
    anyway = forms.BooleanField(label="Book it anyway", required=False)
    question = ""
    data: QueryDict
    GROUPS = (("Time", ("job", "day", "clock", "which", "hours")), ("Place", ("place", "person")))
    field_order = field_names(GROUPS)

    def __init__(self, *args: Any, slot: Slot, opening_hours: OpeningHours, **kwargs: Any) -> None:
        self.slot, self.opening_hours = slot, opening_hours
        super().__init__(*args, **kwargs)
        place: Any = self.fields["place"]
        person: Any = self.fields["person"]
        place.queryset = workstations_for(slot)
        if slot.person_id:  # also if the person has left since
            person.queryset |= StaffMember.objects.filter(pk=slot.person_id)
        if slot.pk:
            local = timezone.localtime(slot.starts_at)
            self.initial = {
                "version": slot.version,
                "place": slot.place_id,
                "person": slot.person_id,
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
            raise forms.ValidationError("Start on a quarter hour, for example 09:15.")
        return clock

    def clean_hours(self) -> float:
        hours: float = self.cleaned_data["hours"]
        if hours * 4 % 1:
            raise forms.ValidationError("Enter the length in quarter hours, for example 1.75.")
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
            self.slot.person = cleaned["person"]
            if taken := overlap_message(self.slot):
                self.add_error("clock", taken)
            self.ask_about_time()
        return cleaned

    @property
    def confirmed_below(self) -> str:
        """Return the field below which the page shows the box that confirms the time, or ""."""
        return "hours" if self.question else ""

    @property
    def confirmation(self) -> forms.BoundField:
        return self["anyway"]

    def report_move(self) -> None:
        """Refuse a change to a slot moved by someone else, and allow it to be sent again."""
        slot = self.slot
        last = slot.history.select_related("history_user").order_by("-history_id").first()
        who = str(last.history_user) if last and last.history_user else "Someone"
        day = f"{timezone.localtime(slot.starts_at):%a %-d %b %Y}"
        self.add_error(
            None,
            f"{who} has moved this slot to {slot.place}, {day}, {format_shop_time(slot.starts_at)} to "
            f"{format_shop_time(slot.ends_at)}. Save again to use your times instead.",
        )
        self.data = self.data.copy()
        self.data["version"] = str(slot.version)

    def ask_about_time(self) -> None:
        self.question = " ".join(
            filter(None, (date_warning(self.slot), outside_hours_warning(self.slot, self.opening_hours)))
        )
        if self.question and not self.cleaned_data["anyway"]:
            self.add_error("anyway", f"{self.question} Tick the box to book it anyway.")


class NewSlotForm(SlotForm):
    """A slot and the job it is for."""

    GIVEN = ("job", "place", "day", "clock", "hours", "person")  # what a link to the form may fill in

    job = forms.CharField(label="Job", max_length=12, help_text="Job number, for example 2026-014.")

    def clean_job(self) -> Job:
        number = self.cleaned_data["job"].strip()
        job = Job.objects.open().filter(number=number).first()
        if job is None:
            raise forms.ValidationError(f"No open job has the number {number}.")
        self.slot.job = job
        return job
