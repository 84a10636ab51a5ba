"""Forms of a check on the shop's lists, of an answer to it on a job, and of a session on the dyno."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from jobs.checklists.sessions import save_session
from jobs.models import Check, CheckItem, DynoSession, Job
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm


class CheckItemForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = CheckItem
        fields = ["list", "text", "caution", "needs", "order", "retired"]
        help_texts = {
            "caution": "Shown under the check. Enter in one sentence what can go wrong.",
            "needs": (
                "Parts that this check needs, separated by commas: headlamp, light, horn. If a "
                "record says that one of them is not on the bike, the check is questioned."
            ),
            "order": "Lowest number first.",
            "retired": "Past ticks stay. The check no longer appears on other jobs.",
        }


def check_stated_time(job: Job, at: datetime) -> None:
    """Raise ValidationError if nothing on a job can have been done at a time: in the future, or too early."""
    if at > timezone.now():
        raise forms.ValidationError("This time is in the future. Enter when it was really done.")
    received = job.received_at
    if received and at < received.replace(second=0, microsecond=0):
        came = timezone.localtime(received)
        raise forms.ValidationError(
            f"The bike was checked in on {came:%-d %b %Y at %H:%M}. Enter a later time."
        )


class CheckForm(FieldGroupsMixin, RecordForm):
    """An answer to a check: when it was really made, or why it does not apply."""

    class Meta(RecordForm.Meta):
        model = Check
        fields = ["at", "not_applicable", "note"]
        labels = {"at": "Checked at", "not_applicable": "Does not apply to this job", "note": "Reason"}
        help_texts = {
            "at": (
                "The time of the check. If it differs from the time of entry, the page and "
                "the sheet show that."
            ),
            "note": "Why the check does not apply, or why it was ticked at that time. Printed on the sheet.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.before = (self.instance.at, self.instance.not_applicable)
        if self.instance._state.adding:
            # No stored answer has this version: one given in the meantime is not overwritten unnoticed.
            self.fields["version"].initial = 0

    def clean_at(self) -> datetime:
        at: datetime = self.cleaned_data["at"]
        check_stated_time(self.instance.job, at)
        return at

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if self.cleaned_data.get("not_applicable") and not self.cleaned_data.get("note", "").strip():
            self.add_error("note", "Enter why this check does not apply.")
        return cleaned

    def save(self, commit: bool = True) -> Check:
        """Save the answer; a changed answer is recorded now."""
        if self.instance._state.adding or self.before != (self.instance.at, self.instance.not_applicable):
            self.instance.recorded_at = timezone.now()
        saved: Check = super().save(commit)
        return saved


class DynoSessionForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = DynoSession
        fields = ["started_at"]
        labels = {"started_at": "Strapped down again at"}
        help_texts = {"started_at": "Runs from this time on belong to this session."}

    def clean_started_at(self) -> datetime:
        session = self.instance
        started_at: datetime = self.cleaned_data["started_at"]
        check_stated_time(session.job, started_at)
        for other in session.job.dyno_sessions.exclude(pk=session.pk):
            if (other.started_at < started_at) != (other.number < session.number):
                began = f"{timezone.localtime(other.started_at):%-d %b %Y at %H:%M}"
                raise forms.ValidationError(
                    f"Dyno session {other.number} started on {began}. Sessions must follow each other."
                )
        return started_at

    def save(self, commit: bool = True) -> DynoSession:
        save_session(self.instance)
        return self.instance
