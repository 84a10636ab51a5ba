"""Form of a comparison: its title and the side of every run."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms

from jobs.comparisons.compare import Group
from jobs.models import Comparison, Run
from jobs.timeline.bike_states import BikeState
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.shop.forms import speed_field

SIDES = [("", "neither"), *Group.choices]


class OwnBandForm(forms.Form):
    """A band of engine speed that the reader chooses on the page of a comparison."""

    from_rpm = speed_field("Own band from (rpm)")
    to_rpm = speed_field("to (rpm)")

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


def is_usual(run: Run) -> bool:
    return run.counts and run.kind == Run.Kind.SWEEP


def side_field(run: Run) -> str:
    return f"run-{run.pk}"


@dataclass(frozen=True)
class StateRows:
    """The runs of one state of the bike with the fields of their sides, and what changed before them."""

    title: str
    changes: list[str]
    rows: list[tuple[Run, forms.BoundField]]


class ComparisonForm(FieldGroupsMixin, RecordForm):
    """Form of a comparison; ``cleaned_data["groups"]`` holds the side of every chosen run by its id."""

    GROUPS = (("Title and note", ("title", "note", "on_sheet")),)

    class Meta(RecordForm.Meta):
        model = Comparison
        fields = ["title", "note", "on_sheet"]

    sides = SIDES

    def __init__(
        self,
        *args: Any,
        runs: Iterable[Run],
        states: Sequence[BikeState],
        sides: Mapping[int, str],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.runs, self.bike_states = list(runs), states
        for run in self.runs:
            self.fields[side_field(run)] = forms.ChoiceField(
                label=str(run),
                choices=SIDES,
                required=False,
                initial=sides.get(run.pk, ""),
                widget=forms.RadioSelect,
            )

    @property
    def states(self) -> list[StateRows]:
        """Return the sweeps that count, by the state of the bike that they were made in."""
        found = []
        for number, state in enumerate(self.bike_states, 1):
            rows = [(run, self[side_field(run)]) for run in state.runs if is_usual(run)]
            changes = [event.text for event in state.changes]
            title = "First state of the bike" if number == 1 else f"State {number}, after these changes"
            if rows:
                found.append(StateRows(title, changes if number > 1 else [], rows))
        return found

    @property
    def rows(self) -> list[tuple[Run, forms.BoundField]]:
        return [(run, self[side_field(run)]) for run in self.runs]

    @property
    def others(self) -> list[tuple[Run, forms.BoundField]]:
        """Return the other runs, which are seldom compared: held, idle, coast-down and excluded ones."""
        return [(run, field) for run, field in self.rows if not is_usual(run)]

    @property
    def has_chosen_others(self) -> bool:
        return any(field.value() for _, field in self.others)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        chosen = {run.pk: self.cleaned_data.get(side_field(run), "") for run in self.runs}
        self.cleaned_data["groups"] = {pk: Group(side) for pk, side in chosen.items() if side}
        sides = set(self.cleaned_data["groups"].values())
        for side in Group:
            if side not in sides:
                self.add_error(None, f"Choose at least one run for “{side.label}”.")
        return cleaned
