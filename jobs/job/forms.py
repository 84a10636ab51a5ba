"""Forms of a job: what was agreed, the receipt, photos, work and its stage."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django import forms
from django.db.models import Q
from django.http import QueryDict

from jobs.job.stages import missing_fields
from jobs.models import Job, Stage
from workshop.models import StaffMember
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin

JOB_GROUPS: Groups = (
    ("Customer's request", ("brief", "intended_use")),
    ("Dates, limit and staff", ("booked_for", "promised_at", "authorised_amount", "mechanic", "tuner")),
)


class JobForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    """What was agreed with the customer; ``outside_hours`` says why the shop is closed at a time."""

    GROUPS = JOB_GROUPS
    PLANNED = ("booked_for", "promised_at")

    class Meta(RecordForm.Meta):
        model = Job
        fields = field_names(JOB_GROUPS)

    def __init__(self, *args: Any, outside_hours: Callable[[datetime, datetime], str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.outside_hours = outside_hours
        for role in ("mechanic", "tuner"):
            chosen = Q(pk=getattr(self.instance, f"{role}_id"))
            people = StaffMember.objects.filter(Q(is_active=True, **{f"is_{role}": True}) | chosen)
            field: Any = self.fields[role]
            field.queryset, field.empty_label = people, "not assigned"

    def clean(self) -> dict[str, Any] | None:
        booked, promised = self.cleaned_data.get("booked_for"), self.cleaned_data.get("promised_at")
        cleaned = super().clean()
        if booked and promised and promised < booked:
            self.add_error("promised_at", "“Ready by” must be after “Drop-off”.")
        return cleaned


class RemarksForm(FieldGroupsMixin, RecordForm):
    """Notes for the time after the job: not tested, to watch, next service."""

    class Meta(RecordForm.Meta):
        model = Job
        fields = ["not_tested", "next_service"]


class StageForm(forms.Form):
    """The next stage; ``seen`` is the stage when the form was shown."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    stage = forms.ChoiceField(label="Move to", choices=Stage.choices)
    waiting_for = forms.ChoiceField(
        label="Waiting for", choices=[("", "–"), *Job.WaitingFor.choices], required=False
    )
    why = forms.CharField(label="Why", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    data: QueryDict

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.job = job
        # The last stage stays a known value, so that whoever sends it reads how to get there.
        self.fields["stage"].widget.choices = [
            (value, label)
            for value, label in Stage.choices
            if value != Stage.HANDED_OVER or job.stage == Stage.HANDED_OVER
        ]
        self.initial = {"seen": job.stage, "stage": job.stage, "waiting_for": job.waiting_for}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("seen") not in ("", None, self.job.stage):
            self.report_move()
        missing = missing_fields(
            job=self.job,
            stage=cleaned.get("stage", ""),
            why=cleaned.get("why", ""),
            waiting_for=cleaned.get("waiting_for", ""),
        )
        for name, sentence in missing.items():
            self.add_error(name, sentence)
        return cleaned

    def report_move(self) -> None:
        """Refuse a step from an outdated stage, and allow it to be sent again from the current one."""
        last = self.job.stage_entries.select_related("by").last()
        who = str(last.by) if last else "Somebody"
        self.add_error(
            "stage",
            f"{who} has moved this job to “{self.job.get_stage_display()}” in the meantime. "
            "Submit again if your step still applies.",
        )
        self.data = self.data.copy()
        self.data["seen"] = self.job.stage
