"""Forms of records that detect edit conflicts and keep all input."""

from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.backends.base.operations import BaseDatabaseOperations
from django.forms.models import model_to_dict
from django.http import QueryDict

from workshop.models import StaleRecord
from workshop.records.conflict import (
    ConflictingField,
    EditConflict,
    changed_names,
    display_value,
    history_since,
)
from workshop.records.fields import (
    FloatNumberField,
    NumberField,
    PlausibleDateField,
    ShopDateTimeField,
    WholeNumberField,
)
from workshop.records.plain_text import refuse_line_ends

# Quantities that are never written to the third decimal: "12,345" km are 12 345.
COARSE = ("_km", "_hours", "_rpm", "elevation_m", "price", "_amount")
# The largest plausible values of what the model does not limit, which tell what "1,234" means.
MAX = {"_mass_kg": 999, "_inertia_kgm2": 999, "_radius_m": 2, "_ratio": 10}
SPROCKET_TEETH = (5, 150)  # wide enough for any chain drive, narrow enough to catch a missing digit


def submitted_text(field: forms.BoundField) -> str:
    """Return the content of a form field as text, choices by their label."""
    value = field.value()
    choices = {str(key): text for key, text in getattr(field.field, "choices", None) or ()}
    text = choices.get(str(value), value)
    return "–" if text in (None, "", []) else str(text)


def limits(field: "models.Field[Any, Any]") -> tuple[Any, Any]:
    """Return the least and the greatest value that a model allows, or None."""
    # Those of ``validators`` would ask the database for the range of its integers.
    declared = field._validators  # type: ignore[attr-defined]  # Django has no public name for them
    ends = [
        [validator.limit_value for validator in declared if isinstance(validator, kind)]
        for kind in (MinValueValidator, MaxValueValidator)
    ]
    return max(ends[0], default=None), min(ends[1], default=None)


def record_form_field(field: "models.Field[Any, Any]", **kwargs: Any) -> forms.Field | None:
    """Return the form field of a model field; numbers take a comma or a point."""
    if isinstance(field, models.DecimalField | models.FloatField) and not field.choices:
        is_float = isinstance(field, models.FloatField)
        kwargs["min_value"], highest = limits(field)
        if highest is None:
            highest = next((MAX[end] for end in MAX if field.name.endswith(end)), None)
        kwargs["max_value"] = highest
        kwargs["thousandths"] = not field.name.endswith(COARSE)
        return field.formfield(form_class=FloatNumberField if is_float else NumberField, **kwargs)
    if isinstance(field, models.IntegerField) and not field.choices:
        # PostgreSQL's range, so that SQLite takes no number that a later move would lose.
        least, greatest = limits(field)
        largest = BaseDatabaseOperations.integer_field_ranges[field.get_internal_type()][1]
        kwargs["min_value"], kwargs["max_value"] = least or 0, min(largest, greatest or largest)
        if field.name.endswith("_sprocket"):
            kwargs["min_value"], kwargs["max_value"] = SPROCKET_TEETH
        return field.formfield(form_class=WholeNumberField, **kwargs)
    if field.name == "kind":
        kwargs.setdefault("label", "Type")
    if isinstance(field, models.DateTimeField):
        return field.formfield(form_class=ShopDateTimeField, **kwargs)
    if isinstance(field, models.DateField):
        return field.formfield(form_class=PlausibleDateField, **kwargs)
    if isinstance(field, models.TextField):
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
    elif isinstance(field, models.CharField) and not field.choices:
        kwargs["validators"] = [refuse_line_ends]
    return field.formfield(**kwargs)


class RecordForm(forms.ModelForm):
    """A model form that carries the version it was made from.

    If someone else saved the record in the meantime, the form is refused with a sentence that says
    who changed what; ``conflict`` holds the same for the template. Submitted again, it is saved.
    A subclass writes ``class Meta(RecordForm.Meta)``, which gives numbers their comma-or-point fields.
    """

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    data: QueryDict
    conflict: EditConflict | None = None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = self.instance.version
        if not self.instance._state.adding:
            for name, field in self.fields.items():
                if isinstance(field, ShopDateTimeField):
                    field.stored = getattr(self.instance, name, None)
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.disable_csrf = True

    class Meta:
        formfield_callback = record_form_field

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        version = self.cleaned_data.get("version")
        if self.instance.pk and version is not None and version != self.instance.version:
            self.report_conflict(version)
        return cleaned

    def report_conflict(self, submitted_version: int) -> None:
        """Refuse the form because someone else saved, and let it be submitted again on top of that.

        Fields that this user has not touched take the other user's saved value; what was typed stays.
        """
        then, now = history_since(self.instance, submitted_version)
        names = changed_names(then, now) if then and now else []
        data = self.data.copy()
        for name in names:
            if name in self.fields and self.is_unchanged(name, then.instance):
                self.adopt_saved_value(name, now.instance, data)
        current = type(self.instance)._base_manager.get(pk=self.instance.pk).version
        data[self.add_prefix("version")] = str(current)
        self.data = data
        who = str(now.history_user) if now and now.history_user else "Somebody"
        changes = [
            ConflictingField(
                label=str(self.instance._meta.get_field(name).verbose_name),
                was=display_value(then.instance, name),
                theirs=display_value(now.instance, name),
                yours=submitted_text(self[name]) if name in self.fields else None,
            )
            for name in names
        ]
        self.conflict = EditConflict(who, now.history_date if now else None, changes)
        self.add_error(None, self.conflict.sentence)

    def is_unchanged(self, name: str, then: models.Model) -> bool:
        """Return True if a field was submitted as the record had it then."""
        field, submitted = self.fields[name], self[name].data
        before = model_to_dict(then, [name]).get(name)
        return not field.has_changed(before, submitted) or str(field.prepare_value(before)) == str(submitted)

    def adopt_saved_value(self, name: str, now: models.Model, data: QueryDict) -> None:
        """Put the record's value of a field into the submitted data."""
        value = self.fields[name].prepare_value(model_to_dict(now, [name]).get(name))
        if isinstance(self.fields[name], forms.BooleanField):
            value = "on" if value else ""
        data[self.add_prefix(name)] = "" if value is None else str(value)

    def save_unless_stale(self) -> bool:
        """Save and return True, or report the conflict and return False if someone else saved first."""
        read = self.instance.version
        try:
            self.save()
        except StaleRecord:
            self.report_conflict(read)
            return False
        return True
