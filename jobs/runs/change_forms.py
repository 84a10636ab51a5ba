"""Form that changes several runs at once."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import QueryDict

from jobs.models import Run
from jobs.runs.forms import GRIP_HELP
from jobs.runs.removing import is_in_use
from workshop.records.conflict import changed_names, history_since
from workshop.records.fields import FloatNumberField

ACTIONS = {
    "exclude": "Exclude them",
    "include": "Include them again",
    "kind": "Set their type",
    "grip": "Set their grip",
    "remove": "Remove them",
}


def version_name(run: Run) -> str:
    return f"version-{run.pk}"


class ChangeRunsForm(forms.Form):
    """What to do with the ticked runs; each ticked run carries the version that the user saw."""

    run = forms.TypedMultipleChoiceField(
        label="Runs",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one run."},
    )
    do = forms.ChoiceField(
        label="Action",
        choices=list(ACTIONS.items()),
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what to do with the ticked runs."},
    )
    reason = forms.CharField(
        label="Reason for excluding",
        max_length=200,
        required=False,
        help_text="For example: wheel slip, wrong gear, test pull.",
    )
    kind = forms.ChoiceField(label="Type", choices=Run.Kind.choices, required=False)
    grip = FloatNumberField(
        label="Twist grip (%)", required=False, min_value=0, max_value=100, help_text=GRIP_HELP
    )
    is_sure = forms.BooleanField(
        label="Delete these runs and their files. This cannot be undone.", required=False
    )

    data: QueryDict

    def __init__(self, *args: Any, runs: Sequence[Run], names: dict[int, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.runs = {run.pk: run for run in runs}
        chosen: Any = self.fields["run"]
        chosen.choices = [(run.pk, names[run.pk]) for run in runs]
        for run in runs:
            self.fields[version_name(run)] = forms.IntegerField(
                widget=forms.HiddenInput, required=False, initial=run.version
            )

    @property
    def chosen(self) -> list[Run]:
        return [self.runs[pk] for pk in self.cleaned_data["run"]]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if self.errors:
            return cleaned
        chosen = self.chosen
        if cleaned["do"] == "exclude" and not cleaned["reason"]:
            self.add_error("reason", "Enter a reason.")
        if cleaned["do"] == "grip" and cleaned["grip"] is None:
            self.add_error("grip", "Enter the grip in %.")
        if cleaned["do"] == "remove":
            if not cleaned["is_sure"]:
                self.add_error("is_sure", "Tick this box to delete the runs.")
            for run in chosen:
                if is_in_use(run):
                    self.add_error(
                        "run", f"{run} is used in a comparison or a mixture study and cannot be removed."
                    )
        self.check_versions(chosen)
        return cleaned

    def check_versions(self, chosen: Sequence[Run]) -> None:
        """Name every ticked run that somebody else changed, and let the form be sent again."""
        data = self.data.copy()
        for run in chosen:
            seen = self.cleaned_data.get(version_name(run))
            if seen is None or seen == run.version:
                continue
            then, now = history_since(run, seen)
            fields = changed_names(then, now) if then and now else []
            labels = ", ".join(
                str(getattr(Run._meta.get_field(name), "verbose_name", name)) for name in fields
            )
            who = str(now.history_user) if now and now.history_user else "Somebody"
            what = f" ({labels})" if labels else ""
            self.add_error("run", f"{who} changed {run} in the meantime{what}. Check it, then submit again.")
            data[self.add_prefix(version_name(run))] = str(run.version)
        self.data = data
