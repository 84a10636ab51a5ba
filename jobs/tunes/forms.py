"""Forms of the tune log: a revision with its changes, one change, a change type, a difference."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone

from jobs.models import TuneChange, TuneChangeKind, TuneRevision
from jobs.tunes.revisions import available_kinds, check_calibration, save_tune
from workshop.models import StaleRecord
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.form import RecordForm
from workshop.records.times import CLOCK_TOLERANCE, QuestionedTimesMixin

NEW_ROWS = 3  # the page's script adds more
MAX_ROWS = 60
DESCRIPTION_MISSING = "Enter at least one change, or a short name for this tune."
CHANGE_REMOVED = "Someone else has removed this change. Save again to add it back, or tick “remove”."
CHOOSE_FILE_AGAIN = "The file has not been saved. Choose it again after fixing the errors."


class KindSelect(forms.Select):
    """Select whose options carry unit, road-use effect and caution for the page to show."""

    kinds: Mapping[str, TuneChangeKind] = {}

    def create_option(self, name: str, value: Any, *args: Any, **kwargs: Any) -> dict[str, Any]:
        option = super().create_option(name, value, *args, **kwargs)
        kind = self.kinds.get(str(value))
        if kind:
            data = {
                "data-unit": kind.unit,
                "data-effect": kind.road_use_effect,
                "data-caution": kind.caution,
            }
            option["attrs"].update({key: text for key, text in data.items() if text})
        return option


class KindField(forms.TypedChoiceField):
    """A change type, from a list that is read once for all rows of the page."""

    widget = KindSelect

    def set_kinds(self, kinds: Sequence[TuneChangeKind]) -> None:
        self.by_pk = {str(kind.pk): kind for kind in kinds}
        # Applied before the choice is validated, so an unknown type gives None, not an exception.
        self.coerce = lambda pk: self.by_pk.get(str(pk))
        self.empty_value = None
        self.choices = [("", "choose"), *((kind.pk, kind.name) for kind in kinds)]
        self.widget.kinds = self.by_pk


class TuneChangeForm(FieldGroupsMixin, RecordForm):
    kind = KindField(label="Change type")

    class Meta(RecordForm.Meta):
        model = TuneChange
        fields = ["kind", "detail", "from_value", "to_value", "unit", "reason"]
        labels = {"detail": "Applies to (mode, cylinder, range)"}

    def __init__(self, *args: Any, kinds: Sequence[TuneChangeKind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["kind"]
        field.set_kinds(kinds)
        field.widget.attrs.update({"data-kind": "", "aria-describedby": self.description_id})
        self.fields["reason"].help_text = "Explain it so the rider understands."

    @property
    def description_id(self) -> str:
        return f"about-{self.prefix or 'change'}"

    @property
    def selected_kind(self) -> TuneChangeKind | None:
        """The change type selected now, for the text beside the field."""
        field: Any = self.fields["kind"]
        return field.by_pk.get(str(self["kind"].value() or ""))

    def clean_detail(self) -> str:
        return " ".join(self.cleaned_data["detail"].split())

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        kind = self.cleaned_data.get("kind")
        if kind and not self.cleaned_data.get("unit"):
            self.cleaned_data["unit"] = kind.unit
        return cleaned


class ChangeRow(TuneChangeForm):
    """A change as a row of its revision's page. Empty new rows are skipped."""

    row = forms.CharField(widget=forms.HiddenInput, required=False)
    remove = forms.BooleanField(label="Remove this change", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["row"].initial = "saved" if self.instance.pk else "new"

    @property
    def is_removed(self) -> bool:
        return bool(self["remove"].value())

    @property
    def is_new(self) -> bool:
        return self.instance.pk is None

    @property
    def is_included(self) -> bool:
        """True if the revision has this change once it is saved."""
        return not self.is_removed and (not self.is_new or self.has_changed())

    def is_valid(self) -> bool:
        valid = super().is_valid()
        return self.conflict is None if self.is_removed else valid

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if self.is_new and self.cleaned_data.get("row") == "saved" and not self.is_removed:
            self.add_error(None, CHANGE_REMOVED)
            self.data = self.data.copy()
            self.data[self.add_prefix("row")] = "new"
        return cleaned


class RevisionForm(QuestionedTimesMixin, FieldGroupsMixin, RecordForm):
    RECORDED = ("loaded_at",)
    GROUPS = (
        ("The tune", ("title", "made_from", "loaded_at", "is_as_built")),
        ("Calibration file", ("calibration_file",)),
        ("Note", ("note",)),
    )

    calibration_file = forms.FileField(
        label="File", required=False, allow_empty_file=True, widget=forms.FileInput
    )

    class Meta(RecordForm.Meta):
        model = TuneRevision
        fields = ["title", "made_from", "loaded_at", "is_as_built", "note"]
        labels = {"title": "Short name", "made_from": "Based on"}
        help_texts = {
            "note": "For example: control unit and software number, fault codes before and after.",
            "is_as_built": "Tick only if you are sure that it is the manufacturer's own file. Earlier tune "
            "changes then count as undone.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.number == 0:
            del self.fields["made_from"]
        else:
            self.set_revisions()
        stored = self.instance.calibration_name
        self.fields["calibration_file"].help_text = (
            "Stored unchanged; its contents are not read. Its SHA-256 checksum is printed on the handover "
            "sheet." + (f" Current file: {stored}. A new file replaces it." if stored else "")
        )

    def set_revisions(self) -> None:
        """Let a revision be based on earlier ones only, so that the log has no cycles."""
        field: Any = self.fields["made_from"]
        earlier = TuneRevision.objects.filter(job=self.instance.job)
        if self.instance.number is not None:
            earlier = earlier.filter(number__lt=self.instance.number)
        field.queryset, field.empty_label = earlier, "previous tune"

    def clean_calibration_file(self) -> UploadedFile | None:
        upload: UploadedFile | None = self.cleaned_data["calibration_file"]
        if upload:
            try:
                check_calibration(upload)
            except ValueError as problem:
                raise forms.ValidationError(str(problem)) from problem
        return upload

    def clean_loaded_at(self) -> Any:
        loaded_at = self.cleaned_data["loaded_at"]
        if loaded_at > timezone.now() + CLOCK_TOLERANCE:
            raise forms.ValidationError("This is in the future. Enter when the tune was loaded.")
        return loaded_at


def submitted_rows(data: Any) -> list[str]:
    """Return the names of the submitted rows in page order.

    Rows are named, not counted: a draft still fits after someone else added or removed a change.
    """
    return [found[1] for key in data if (found := re.fullmatch(r"change-(\d+|n\d+)-row", key))][:MAX_ROWS]


class TuneFormSet:
    """A revision and its changes on one page, saved together or not at all."""

    def __init__(self, data: Any = None, files: Any = None, *, revision: TuneRevision) -> None:
        saved = {str(change.pk): change for change in revision.changes.all()} if revision.pk else {}
        self.kinds = available_kinds(*(change.kind_id for change in saved.values()))
        self.form = RevisionForm(data, files, instance=revision)
        names = (
            [*saved, *(f"n{number}" for number in range(1 if saved else NEW_ROWS))]
            if data is None
            else submitted_rows(data)
        )
        self.rows = [self.row(name, data, saved.get(name)) for name in names]

    def row(self, name: str, data: Any = None, change: TuneChange | None = None) -> ChangeRow:
        return ChangeRow(
            data,
            instance=change or TuneChange(),
            prefix=f"change-{name}",
            kinds=self.kinds,
            empty_permitted=change is None,
            use_required_attribute=False,
        )

    @property
    def empty_row(self) -> ChangeRow:
        """The row that the page's script copies under a new name."""
        return self.row("n__row__")

    @property
    def is_bound(self) -> bool:
        return self.form.is_bound

    @property
    def changes(self) -> list[ChangeRow]:
        return [row for row in self.rows if row.is_included]

    def is_valid(self) -> bool:
        if not self.is_bound:
            return False
        # All forms are validated, so that every error is shown at once.
        results = [form.is_valid() for form in (self.form, *self.rows)]
        valid = all(results)
        if valid and not self.changes and self.form.instance.number != 0 and not self.is_described:
            self.form.add_error("title", DESCRIPTION_MISSING)
            valid = False
        if not valid and self.form.files and not self.form.has_error("calibration_file"):
            self.form.add_error("calibration_file", CHOOSE_FILE_AGAIN)
        return valid

    @property
    def is_described(self) -> bool:
        return any(self.form.cleaned_data.get(name) for name in ("title", "note", "is_as_built"))

    @property
    def problems(self) -> list[tuple[str, str, str]]:
        """All errors as anchor, name of the field and sentence."""
        if not self.is_bound:
            return []
        numbered = [(self.form, ""), *((row, f", change {n}") for n, row in enumerate(self.rows, start=1))]
        found: list[tuple[str, str, str]] = []
        for form, which in numbered:
            anchor = f"row-{form.prefix}" if form.prefix else ""
            # The page shows a conflict of the revision itself in a box of its own.
            if form is not self.form or not form.conflict:
                found += [
                    (anchor, which.removeprefix(", "), str(sentence)) for sentence in form.non_field_errors()
                ]
            found += [
                (field.id_for_label, f"{field.label}{which}", str(error))
                for field in form
                for error in field.errors
            ]
        return found

    def save(self) -> bool:
        """Save all and return True, or report conflicts and return False."""
        changed = [row for row in self.changes if row.has_changed()]
        try:
            save_tune(
                revision=self.form.instance,
                changes=[row.instance for row in changed],
                removed=[row.instance for row in self.rows if row.is_removed and not row.is_new],
                calibration=self.form.cleaned_data["calibration_file"],
            )
        except StaleRecord:
            for form in (self.form, *changed):
                self.report_if_stale(form)
            return False
        return True

    @staticmethod
    def report_if_stale(form: RecordForm) -> None:
        version = form.cleaned_data.get("version")
        stored = type(form.instance)._base_manager.filter(pk=form.instance.pk)
        if version is not None and stored.exclude(version=version).exists():
            form.report_conflict(version)


CHANGE_KIND_GROUPS: Groups = (
    ("The type", ("name", "unit", "sets", "order")),
    ("Road use", ("affects_road_use", "road_use_effect", "inform", "as_built")),
    ("Cautions and list", ("caution", "customer_caution", "retired")),
)


class ChangeKindForm(FieldGroupsMixin, RecordForm):
    GROUPS = CHANGE_KIND_GROUPS

    class Meta(RecordForm.Meta):
        model = TuneChangeKind
        fields = field_names(CHANGE_KIND_GROUPS)
        labels = {
            "road_use_effect": "Road-use effect (printed)",
            "caution": "Workshop caution (shown to the tuner)",
            "customer_caution": "Note for the rider (printed)",
            "retired": "Archived",
        }
        help_texts = {
            "as_built": "For example: on. A change back to this value is not listed in the road-use notice.",
            "sets": "Idle runs are then compared with it, and tyres with the speed at the changed limit.",
        }

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if self.cleaned_data.get("affects_road_use") and not self.cleaned_data.get("road_use_effect"):
            self.add_error(
                "road_use_effect", "Describe the possible effect. It is printed on the handover sheet."
            )
        return cleaned


class DifferenceForm(forms.Form):
    """The two revisions to compare, given in the query as from and to."""

    def __init__(self, *args: Any, revisions: Sequence[TuneRevision], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.by_number = {str(revision.number): revision for revision in revisions}
        choices = [
            (number, f"{revision.label}{f': {revision.title}' if revision.title else ''}")
            for number, revision in self.by_number.items()
        ]
        for name in ("from", "to"):
            self.fields[name] = forms.ChoiceField(label=name.capitalize(), choices=choices)
            self.fields[name].widget.attrs["class"] = "form-select"

    @property
    def pair(self) -> tuple[TuneRevision, TuneRevision]:
        return self.by_number[self.cleaned_data["from"]], self.by_number[self.cleaned_data["to"]]
