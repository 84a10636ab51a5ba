"""Forms of instruments and their checks, and the choice of an instrument in other forms."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.formats import date_format

from workshop.models import Instrument, InstrumentCheck
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin


class InstrumentForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = Instrument
        fields = ["kind", "name", "number", "withdrawn"]
        help_texts = {
            "name": "As the handover sheet prints it, for example: feeler gauges, 0.01 mm steps.",
            "number": "As marked on the instrument or its case.",
            "withdrawn": "Not offered any more. Earlier measurements still show it.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance._state.adding:
            del self.fields["withdrawn"]


class InstrumentCheckForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    """A check; its due day may be further away than what is planned otherwise."""

    RECORDED = ("checked_on",)
    PLANNED = ("due_on",)
    GROUPS = (("", ("checked_on", "checked_by", "certificate", "due_on")),)

    class Meta(RecordForm.Meta):
        model = InstrumentCheck
        fields = ["checked_on", "checked_by", "certificate", "due_on"]
        help_texts = {
            "checked_on": "Enter only checks that the instrument passed. Withdraw one that failed.",
            "checked_by": "The laboratory, or the person and what it was compared with.",
            "due_on": "After this day the sheet says that the check is overdue.",
        }


class InstrumentChoiceField(forms.ModelChoiceField):
    """An optional choice among the shop's instruments of some kinds; of all kinds if none is named."""

    def __init__(self, *kinds: Instrument.Kind, empty_label: str = "not recorded", **kwargs: Any) -> None:
        self.kinds = kinds or tuple(Instrument.Kind)
        instruments = Instrument.objects.filter(kind__in=self.kinds)
        super().__init__(instruments, required=False, empty_label=empty_label, **kwargs)

    def offer(self, instruments: Iterable[Instrument], stored: int | None) -> bool:
        """Offer those in use and the stored one; return False if there are none."""
        offered = [
            (one.pk, describe_choice(one))
            for one in instruments
            if one.kind in self.kinds and (not one.withdrawn or one.pk == stored)
        ]
        self.choices = [("", self.empty_label), *offered]
        return bool(offered)


def describe_choice(instrument: Instrument) -> str:
    """Return number, an overdue check and name, in this order: a narrow choice shows the beginning only."""
    due: date | None = instrument.next_due_on  # type: ignore[attr-defined]  # annotated
    overdue = ""
    if due is not None and due < timezone.localdate():
        overdue = f"check overdue since {date_format(due, 'j M Y')}"
    return ": ".join(filter(None, (instrument.number, overdue, instrument.name)))


class MeasuredWithMixin(forms.BaseForm):
    """A form of what was measured with instruments, read in one query.

    A field without an instrument to choose is left out.
    """

    instance: Any
    initial: dict[str, Any]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        instruments = list(Instrument.objects.with_last_check())
        choices = {n: field for n, field in self.fields.items() if isinstance(field, InstrumentChoiceField)}
        for name, field in choices.items():
            if not field.offer(instruments, getattr(self.instance, f"{name}_id")):
                del self.fields[name]

    def offer_last_used(self, measured: QuerySet[Any], *names: str) -> None:
        """Choose for a new record what the latest of these records was measured with, if still in use."""
        for name in names:
            if name in self.fields and self.instance._state.adding:
                last = measured.filter(**{f"{name}__withdrawn": False}).order_by("-pk")
                self.initial[name] = last.values_list(name, flat=True).first()
