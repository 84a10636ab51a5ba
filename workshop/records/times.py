"""Forms that ask about a time that can hardly be meant: too far away, or on a day when the shop is closed."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.utils import timezone

MAX_AHEAD = MAX_BACK = timedelta(days=366)
# A clock that is a little fast does not make a time lie in the future.
CLOCK_TOLERANCE = timedelta(minutes=10)


def planned_day_warning(day: date) -> str:
    """Return a warning about a planned day in the past or unusually far ahead, or ""."""
    today = timezone.localdate()
    if day < today:
        return f"{day:%A %-d %B %Y} is in the past."
    return f"{day:%A %-d %B %Y} is more than a year away." if day > today + MAX_AHEAD else ""


def recorded_time_warning(when: datetime) -> str:
    """Return a warning about a recorded time in the future or unusually long ago, or ""."""
    now, day = timezone.now(), timezone.localdate(when)
    if when > now + CLOCK_TOLERANCE:
        return f"{day:%A %-d %B %Y} at {timezone.localtime(when):%H:%M} is in the future."
    return f"{day:%A %-d %B %Y} is more than a year ago." if when < now - MAX_BACK else ""


def recorded_day_warning(day: date) -> str:
    """Return a warning about a recorded day in the future or unusually long ago, or ""."""
    today = timezone.localdate()
    if day > today:
        return f"{day:%A %-d %B %Y} is in the future."
    return f"{day:%A %-d %B %Y} is more than a year ago." if day < today - MAX_BACK else ""


class QuestionedTimesMixin(forms.BaseForm):
    """A form whose implausible times have to be confirmed; an unchanged time is not asked about.

    ``outside_hours`` returns why the shop is closed from one time to another, or "".
    """

    PLANNED: tuple[str, ...] = ()
    RECORDED: tuple[str, ...] = ()
    outside_hours: Callable[[datetime, datetime], str] | None = None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.time_questions: dict[str, str] = {}  # by field
        self.fields["times_right"] = forms.BooleanField(label="This time is correct", required=False)

    @property
    def confirmed_below(self) -> str:
        """Return the field below which the page shows the box that confirms the times, or ""."""
        return next((name for name in reversed(self.fields) if name in self.time_questions), "")

    @property
    def confirmation(self) -> forms.BoundField:
        return self["times_right"]

    def clean(self) -> dict[str, Any] | None:
        cleaned: dict[str, Any] | None = super().clean()
        for name in (*self.PLANNED, *self.RECORDED):
            when = self.cleaned_data.get(name)
            if when is not None and not self.is_stored_time(name, when):
                self.ask_about_time(name, self.time_warning(name, when))
        return cleaned

    def is_stored_time(self, name: str, when: datetime | date) -> bool:
        instance: Any = getattr(self, "instance", None)
        return instance is not None and not instance._state.adding and getattr(instance, name) == when

    def time_warning(self, name: str, when: datetime | date) -> str:
        if name in self.RECORDED:
            return recorded_time_warning(when) if isinstance(when, datetime) else recorded_day_warning(when)
        if not isinstance(when, datetime):
            return planned_day_warning(when)
        local = timezone.localtime(when)
        closed = self.outside_hours(local, local) if self.outside_hours else ""
        return " ".join(filter(None, (planned_day_warning(local.date()), closed)))

    def ask_about_time(self, name: str, question: str) -> None:
        """Refuse the form with a question, unless the time was confirmed."""
        if question:
            self.time_questions[name] = question
            if not self.cleaned_data.get("times_right"):
                self.add_error(name, f"{question} If it is correct, tick the box.")
