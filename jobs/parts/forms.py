"""Forms of a part fitted, and of the kinds of parts and other changes."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.db.models import Q
from django.utils import timezone

from jobs.models import BikeChange, Part, PartKind
from jobs.parts.on_bike import Item, describe_choice
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin

ON_THE_SHELF = "Enter when it was fitted: a part that is not fitted replaces nothing."
QUANTITY_HELP = "Enter a number above zero."
APPROVAL_HELP = (
    "As on the part or in its papers. It is printed next to the road-use cause. It does not remove the cause."
)
TOO_EARLY = "“{}” was fitted later than this. Correct the time, or choose nothing here."


class PartKindField(forms.ModelChoiceField):
    """A kind of part or change with its effect on road use."""

    def label_from_instance(self, kind: Any) -> str:
        return f"{kind} ({kind.get_road_use_display()})"


class ItemField(forms.ModelChoiceField):
    """Something on the bike, with the job that it came from."""

    def label_from_instance(self, item: Any) -> str:
        return describe_choice(item)


class RecordedOnBikeForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    """A part or other change: its kind, and what came off the bike with it.

    Parameters
    ----------
    on_bike : sequence of Part or BikeChange
        What this one may take off.
    """

    OFFERED_FOR: ClassVar[str]
    AT: ClassVar[str]

    kind = PartKindField(PartKind.objects.none(), label="Type", empty_label="choose")
    removes_part = ItemField(
        Part.objects.none(), label="Removes this part", required=False, empty_label="none of these"
    )
    removes_change = ItemField(
        BikeChange.objects.none(),
        label="Undoes this change",
        required=False,
        empty_label="none of these",
    )

    class Meta(RecordForm.Meta):
        pass

    def __init__(self, *args: Any, on_bike: Sequence[Item] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = Q(retired=False, **{self.OFFERED_FOR: True}) | Q(pk=self.instance.kind_id or 0)
        fields: dict[str, Any] = self.fields
        fields["kind"].queryset = PartKind.objects.filter(offered)
        fields["approval"].help_text = APPROVAL_HELP
        for name, model in (("removes_part", Part), ("removes_change", BikeChange)):
            keys = [item.pk for item in on_bike if isinstance(item, model) and item.at is not None]
            chosen = Q(pk__in=keys) | Q(pk=getattr(self.instance, f"{name}_id") or 0)
            itself = self.instance.pk if isinstance(self.instance, model) else 0
            fields[name].queryset = (
                model.objects.filter(chosen).exclude(pk=itself).select_related("job", "kind")
            )
            if not fields[name].queryset:
                del self.fields[name]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        at = self.cleaned_data.get(self.AT)
        for name in ("removes_part", "removes_change"):
            gone = self.cleaned_data.get(name)
            if gone is None or self.AT in self.errors:
                continue
            if at is None:
                self.add_error(self.AT, ON_THE_SHELF)
            elif gone.at is not None and at < gone.at:
                self.add_error(name, TOO_EARLY.format(gone))
        return cleaned


PART_GROUPS: Groups = (
    ("The part", ("name", "maker", "part_number", "serial", "quantity", "fitted_at")),
    ("What it replaces", ("replaces", "removes_part", "removes_change")),
    ("What it means for the bike", ("kind", "race_only", "approval")),
    ("Note", ("note",)),
)


class PartForm(RecordedOnBikeForm):
    GROUPS = PART_GROUPS
    OFFERED_FOR = "for_parts"
    AT = "fitted_at"
    RECORDED = ("fitted_at",)

    class Meta(RecordedOnBikeForm.Meta):
        model = Part
        fields = field_names(PART_GROUPS)
        labels = {"replaces": "Replaces"}
        help_texts = {
            "fitted_at": "Leave empty until the part is fitted.",
            "quantity": QUANTITY_HELP,
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance._state.adding:
            self.initial["fitted_at"] = timezone.now()

    def clean_quantity(self) -> Decimal:
        quantity: Decimal = self.cleaned_data["quantity"]
        if quantity == 0:
            raise forms.ValidationError(QUANTITY_HELP)
        return quantity


KIND_GROUPS: Groups = (
    ("Type", ("name", "for_parts", "for_changes", "is_fuel", "order")),
    ("Road use", ("road_use", "road_use_effect", "inform")),
    ("Note and list", ("customer_caution", "retired")),
)


class PartKindForm(FieldGroupsMixin, RecordForm):
    GROUPS = KIND_GROUPS

    class Meta(RecordForm.Meta):
        model = PartKind
        fields = field_names(KIND_GROUPS)
        help_texts = {
            "is_fuel": "The tune summary then lists such a change as the fuel.",
            "road_use_effect": "In words that say “may”; the handover sheet prints it as a cause.",
        }

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        data = self.cleaned_data
        if data.get("road_use", "none") != PartKind.RoadUse.NONE and not data.get("road_use_effect"):
            self.add_error(
                "road_use_effect", "Describe the possible effect. It is printed on the handover sheet."
            )
        if not data.get("for_parts") and not data.get("for_changes"):
            self.add_error("for_parts", "Tick parts, other changes or both.")
        return cleaned
