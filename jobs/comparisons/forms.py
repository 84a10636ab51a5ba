"""Form of a comparison: its title and the side of every run."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from jobs.comparisons.compare import Group
from jobs.models import Comparison, Run
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.shop.forms import speed_field

SIDES = [("", "neither"), *Group.choices]


class OwnBandForm(forms.Form):
    """A band of engine speed that the reader chooses on the page of a comparison."""

    from_rpm = speed_field("Own band from (1/min)")
    to_rpm = speed_field("to (1/min)")

    @property
    def ends(self) -> tuple[float, float] | None:
        low, high = self.cleaned_data.get("from_rpm"), self.cleaned_data.get("to_rpm")
        return None if low is None or high is None else (float(low), float(high))

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        low, high = self.cleaned_data.get("from_rpm"), self.cleaned_data.get("to_rpm")
        if (low is None) != (high is None) and not self.errors:
            self.add_error("to_rpm" if high is None else "from_rpm", "Enter both ends of the band.")
        if low is not None and high is not None and low >= high:
            self.add_error("to_rpm", "The end of the band must be above its start.")
        return cleaned


def side_field(run: Run) -> str:
    return f"run-{run.pk}"


class ComparisonForm(FieldGroupsMixin, RecordForm):
    """Form of a comparison; ``cleaned_data["groups"]`` holds the side of every chosen run by its id."""

    GROUPS = (("", ("title", "on_sheet", "note")),)

    class Meta(RecordForm.Meta):
        model = Comparison
        fields = ["title", "note", "on_sheet"]

    def __init__(self, *args: Any, runs: Iterable[Run], sides: Mapping[int, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.runs = list(runs)
        for run in self.runs:
            self.fields[side_field(run)] = forms.ChoiceField(
                label=str(run),
                choices=SIDES,
                required=False,
                initial=sides.get(run.pk, ""),
                widget=forms.RadioSelect,
            )

    @property
    def rows(self) -> list[tuple[Run, forms.BoundField]]:
        return [(run, self[side_field(run)]) for run in self.runs]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        chosen = {run.pk: self.cleaned_data.get(side_field(run), "") for run in self.runs}
        self.cleaned_data["groups"] = {pk: Group(side) for pk, side in chosen.items() if side}
        sides = set(self.cleaned_data["groups"].values())
        for side in Group:
            if side not in sides:
                self.add_error(None, f"Choose at least one run for “{side.label}”.")
        return cleaned
