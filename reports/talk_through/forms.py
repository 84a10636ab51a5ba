"""Forms of the talk-through: its steps in their order, and the customer's consent."""

from collections.abc import Mapping
from typing import Any

from django import forms

from reports.models import Publication, TalkThrough
from workshop.people.names import PersonNameField
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import WholeNumberField
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin

MAX_PLACE = 99
PREFIX = "step_"


class StepsForm(FieldGroupsMixin, RecordForm):
    """The place of each step; an empty one is left out."""

    class Meta(RecordForm.Meta):
        model = TalkThrough
        fields: tuple[str, ...] = ()

    def __init__(self, *args: Any, names: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        stored = self.instance.steps if self.instance.pk else list(names)
        for key, name in names.items():
            self.fields[f"{PREFIX}{key}"] = WholeNumberField(
                label=name,
                required=False,
                min_value=1,
                max_value=MAX_PLACE,
                initial=stored.index(key) + 1 if key in stored else None,
            )

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        places = {
            name.removeprefix(PREFIX): place
            for name, place in self.cleaned_data.items()
            if name.startswith(PREFIX) and place
        }
        if not self.errors and not places:
            self.add_error(None, "Enter a place for at least one step.")
        self.instance.steps = sorted(places, key=lambda key: places[key])
        return cleaned


class ConsentForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    """The customer's consent to a public talk-through, as it was given."""

    GROUPS = (("Consent", ("consent_by", "consent_how", "consent_at", "agreed")),)
    RECORDED = ("consent_at",)
    consent_by = PersonNameField(label="Name of the customer who gave consent")
    agreed = forms.BooleanField(
        label="The customer agreed that the talk-through is public without name, plate and VIN, "
        "and knows that the consent can be withdrawn at any time.",
    )

    class Meta(RecordForm.Meta):
        model = Publication
        fields = ["consent_by", "consent_how", "consent_at"]
