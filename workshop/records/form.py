"""Forms of records: nobody overwrites what another saved meanwhile, and nothing typed is lost."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.db import models
from django.db.backends.base.operations import BaseDatabaseOperations
from django.forms.models import model_to_dict
from django.http import QueryDict

from workshop.models import Record, StaleRecord
from workshop.records.fields import DayField, FloatNumberField, MomentField, NumberField

TEETH = (5, 150)  # of a chain's sprocket; wide enough for any, narrow enough for a figure too many or few


@dataclass(frozen=True)
class ConflictingChange:
    label: str
    was: str
    theirs: str
    yours: str | None = None  # as it stands in the form now; None where the form does not show this field


@dataclass(frozen=True)
class Conflict:
    """What somebody else saved between this form's showing and its sending."""

    who: str
    when: datetime | None
    changes: list[ConflictingChange]

    @property
    def sentence(self) -> str:
        what = "; ".join(f"{c.label}: “{c.was}” became “{c.theirs}”" for c in self.changes)
        return (
            f"{self.who} saved this meanwhile ({what or 'nothing that this form shows'}). "
            "Nothing of yours is lost: look at both, then save again to keep what stands here."
        )


def shown(record: Record, name: str) -> str:
    """A field's value as a person reads it."""
    display = getattr(record, f"get_{name}_display", None)
    value = display() if callable(display) else getattr(record, name)
    return "–" if value in (None, "", []) else str(value)


def typed_text(field: forms.BoundField) -> str:
    """What stands in a field of a form, as a person reads it."""
    value = field.value()
    choices = {str(key): text for key, text in getattr(field.field, "choices", None) or ()}
    text = choices.get(str(value), value)
    return "–" if text in (None, "", []) else str(text)


def saved_since(record: Record, version: int) -> tuple[Any, Any]:
    """The history rows of a record at a version and now; None where history holds no such row."""
    history = type(record).history.filter(**{record._meta.pk.name: record.pk})
    rows = history.order_by("-version", "-history_date")
    return rows.filter(version=version).first(), rows.select_related("history_user").first()


def changed_names(then: Any, now: Any) -> list[str]:
    skipped = {"version", "created_at", "updated_at", "id"}
    return [
        change.field
        for change in now.diff_against(then).changes
        if change.field not in skipped and differ(change.old, change.new)
    ]


def differ(was: Any, now: Any) -> bool:
    """Whether a value changed; browsers end lines otherwise than programs, which changes no text."""
    if isinstance(was, str) and isinstance(now, str):
        return was.replace("\r\n", "\n") != now.replace("\r\n", "\n")
    return bool(was != now)


def number_field(field: "models.Field[Any, Any]", **kwargs: Any) -> forms.Field | None:
    """The form field of a model field, numbers taking comma or point."""
    if isinstance(field, models.DecimalField) and not field.choices:
        return field.formfield(form_class=NumberField, **kwargs)
    if isinstance(field, models.FloatField):
        return field.formfield(form_class=FloatNumberField, **kwargs)
    if isinstance(field, models.IntegerField) and not field.choices:
        # PostgreSQL's range, so that SQLite takes no number that a later move would lose
        kwargs["max_value"] = BaseDatabaseOperations.integer_field_ranges[field.get_internal_type()][1]
        if field.name.endswith("_sprocket"):
            kwargs["min_value"], kwargs["max_value"] = TEETH
        kwargs["widget"] = forms.NumberInput(attrs={"inputmode": "numeric"})
    elif isinstance(field, models.DateTimeField):
        return field.formfield(form_class=MomentField, **kwargs)
    elif isinstance(field, models.DateField):
        return field.formfield(form_class=DayField, **kwargs)
    elif isinstance(field, models.TextField):
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
    return field.formfield(**kwargs)


def copy_of(data: Any) -> QueryDict:
    """What was sent, to be altered and shown again."""
    sent = QueryDict(mutable=True)
    sent.update(data)
    return sent


class RecordForm(forms.ModelForm):
    """A model form that carries the version it was made from.

    Where the record was saved by somebody else meanwhile the form is refused with a sentence that
    says who changed what; ``conflict`` holds the same for the template. Sent again, it is saved.
    A subclass writes ``class Meta(RecordForm.Meta)``, which gives numbers their comma-or-point fields.
    """

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    conflict: Conflict | None = None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = self.instance.version
        if not self.instance._state.adding:
            for name, field in self.fields.items():
                if isinstance(field, MomentField):
                    field.kept = getattr(self.instance, name, None)
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.disable_csrf = True

    class Meta:
        formfield_callback = number_field

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        sent = self.cleaned_data.get("version")
        if self.instance.pk and sent is not None and sent != self.instance.version:
            self.report_conflict(sent)
        return cleaned

    def report_conflict(self, sent_version: int) -> None:
        """Refuse the form for another's save, and let it be sent again on top of that.

        Where this form still shows what the other found, it takes over what the other made of it;
        what was typed here stays.
        """
        then, now = saved_since(self.instance, sent_version)
        names = changed_names(then, now) if then and now else []
        sent = copy_of(self.data)
        for name in names:
            if name in self.fields and self.untouched(name, then.instance):
                self.take_over(name, now.instance, sent)
        current = type(self.instance)._base_manager.get(pk=self.instance.pk).version
        sent[self.add_prefix("version")] = str(current)
        self.data = sent
        who = str(now.history_user) if now and now.history_user else "Somebody"
        changes = [
            ConflictingChange(
                label=str(self.instance._meta.get_field(name).verbose_name),
                was=shown(then.instance, name),
                theirs=shown(now.instance, name),
                yours=typed_text(self[name]) if name in self.fields else None,
            )
            for name in names
        ]
        self.conflict = Conflict(who, now.history_date if now else None, changes)
        self.add_error(None, self.conflict.sentence)

    def untouched(self, name: str, then: models.Model) -> bool:
        """Whether a field was sent as the record had it then."""
        field, sent = self.fields[name], self[name].data
        before = model_to_dict(then, [name]).get(name)
        return not field.has_changed(before, sent) or str(field.prepare_value(before)) == str(sent)

    def take_over(self, name: str, now: models.Model, sent: QueryDict) -> None:
        """Put a field's value of the record into the sent data."""
        value = self.fields[name].prepare_value(model_to_dict(now, [name]).get(name))
        if isinstance(self.fields[name], forms.BooleanField):
            value = "on" if value else ""
        sent[self.add_prefix(name)] = "" if value is None else str(value)

    def save_unless_stale(self) -> bool:
        """Save, or report the conflict where another was quicker; True where it is saved."""
        read = self.instance.version
        try:
            self.save()
        except StaleRecord:
            self.report_conflict(read)
            return False
        return True
