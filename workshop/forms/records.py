"""Forms of records: nobody overwrites what another saved meanwhile, and nothing typed is lost."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from crispy_forms.helper import FormHelper
from django import forms
from django.db import models
from django.http import QueryDict

from workshop.forms.fields import FloatNumberField, NumberField
from workshop.models import Record, StaleRecord


@dataclass(frozen=True)
class ConflictingChange:
    label: str
    was: str
    theirs: str


@dataclass(frozen=True)
class Conflict:
    """What somebody else saved between this form's showing and its sending."""

    by: str
    at: datetime | None
    changes: list[ConflictingChange]

    @property
    def sentence(self) -> str:
        what = "; ".join(f"{c.label}: “{c.was}” became “{c.theirs}”" for c in self.changes)
        return (
            f"{self.by} saved this meanwhile ({what or 'nothing that this form shows'}). "
            "Nothing of yours is lost: look at both, then save again to keep what stands here."
        )


def shown(record: Record, name: str) -> str:
    """A field's value as a person reads it."""
    display = getattr(record, f"get_{name}_display", None)
    value = display() if callable(display) else getattr(record, name)
    return "–" if value in (None, "", []) else str(value)


def conflict_since(record: Record, version: int) -> Conflict:
    """Who changed what of a record since this version of it, from its history."""
    history = type(record).history.filter(**{record._meta.pk.name: record.pk})
    now = history.order_by("-version", "-history_date").first()
    then = history.filter(version=version).order_by("-history_date").first()
    by = str(now.history_user) if now is not None and now.history_user else "Somebody"
    if now is None or then is None:
        return Conflict(by, None, [])
    skipped = {"version", "created_at", "updated_at", "id"}
    changes = [
        ConflictingChange(
            str(record._meta.get_field(name).verbose_name),  # type: ignore[union-attr]  # only plain fields are asked
            shown(then.instance, name),
            shown(now.instance, name),
        )
        for name in now.diff_against(then).changed_fields
        if name not in skipped
    ]
    return Conflict(by, now.history_date, changes)


def number_field(field: models.Field[Any, Any], **kwargs: Any) -> forms.Field | None:
    """The form field of a model field, numbers taking comma or point."""
    if isinstance(field, models.DecimalField) and not field.choices:
        return field.formfield(form_class=NumberField, **kwargs)
    if isinstance(field, models.FloatField):
        return field.formfield(form_class=FloatNumberField, **kwargs)
    if isinstance(field, models.DateTimeField):
        kwargs["widget"] = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    elif isinstance(field, models.TextField):
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
    return field.formfield(**kwargs)


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
        """Refuse the form for another's save, and let it be sent again on top of that."""
        self.conflict = conflict_since(self.instance, sent_version)
        self.add_error(None, self.conflict.sentence)
        sent = cast("QueryDict", self.data).copy()
        current = type(self.instance)._base_manager.get(pk=self.instance.pk).version
        sent[self.add_prefix("version")] = str(current)
        self.data = sent

    def save_unless_stale(self) -> bool:
        """Save, or report the conflict where another was quicker; True where it is saved."""
        read = self.instance.version
        try:
            self.save()
        except StaleRecord:
            self.report_conflict(read)
            return False
        return True
