"""Forms of a job: its stage."""

from typing import Any

from django import forms

from jobs.models import Job, Stage
from jobs.stages import reason_missing


class StageForm(forms.Form):
    """The next stage; ``seen`` is where the job stood when the form was shown."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    stage = forms.ChoiceField(label="move to", choices=Stage.choices)
    waiting_for = forms.ChoiceField(
        label="waits for (only when waiting)", choices=[("", "–"), *Job.WaitingFor.choices], required=False
    )
    why = forms.CharField(label="why", required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.job = job
        self.initial = {"seen": job.stage, "stage": job.stage, "waiting_for": job.waiting_for}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("seen") not in ("", None, self.job.stage):
            self.report_move()
        missing = reason_missing(
            job=self.job,
            stage=cleaned.get("stage", ""),
            why=cleaned.get("why", ""),
            waiting_for=cleaned.get("waiting_for", ""),
        )
        for name, sentence in missing.items():
            self.add_error(name, sentence)
        return cleaned

    def report_move(self) -> None:
        """Refuse a step from where the job no longer stands, and let it be sent again from there."""
        last = self.job.stage_entries.select_related("by").last()
        who = str(last.by) if last else "Somebody"
        self.add_error(
            "stage",
            f"{who} moved this job to “{self.job.get_stage_display()}” meanwhile. "
            "Send again if your step still holds.",
        )
        self.data = self.data.copy()  # type: ignore[assignment]  # a QueryDict's copy may be written to
        self.data["seen"] = self.job.stage
