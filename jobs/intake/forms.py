"""Forms of the check-in: photos, marks, signature."""

from functools import partial
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.intake.photos import PreparedPhoto
from jobs.intake.receive import meter_warning, parse_marks, parse_signature
from jobs.job.fields import InShopUnits, ManyFilesInput
from jobs.models import Job, Photo
from workshop.models import ShopProfile
from workshop.people.names import PersonNameField
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import WholeNumberField
from workshop.records.form import RecordForm
from workshop.units.display import NO_BREAK_SPACE, format_plain
from workshop.units.shop_units import format_for_shop


class PhotosField(forms.FileField):
    """Box to choose photos; the view prepares them before the form is validated."""

    widget = ManyFilesInput(attrs={"accept": "image/*"})

    def clean(self, data: Any, initial: Any = None) -> None:
        """Leave the files to the view."""


class PhotosForm(forms.Form):
    photos = PhotosField(label="Photos")
    caption = forms.CharField(label="Caption", required=False, max_length=200)

    def __init__(self, *args: Any, photos: list[PreparedPhoto], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.prepared = photos

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if not any(photo.image for photo in self.prepared):
            problems = " ".join(photo.problem for photo in self.prepared)
            self.add_error("photos", problems or "Choose at least one photo.")
        return cleaned


class PhotoForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = Photo
        fields = ["caption"]


class CanvasField(forms.JSONField):
    """Drawing made by a script on the page; JSON nested too deeply to parse is invalid."""

    def to_python(self, value: Any) -> Any:
        try:
            return super().to_python(value)
        except RecursionError as problem:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from problem

    def bound_data(self, data: Any, initial: Any) -> Any:
        try:
            return super().bound_data(data, initial)
        except RecursionError:
            return initial


class MarksField(CanvasField):
    """Points on the drawing of the bike, each with a note; drawn by static/js/intake_marks.js."""

    default_error_messages = {"invalid": "The marks could not be read. Reload the page and mark them again."}
    widget = forms.Textarea(attrs={"rows": 2, "data-outline-marks": "condition-outline"})

    def clean(self, value: Any) -> list[dict[str, Any]]:
        marks = super().clean(value) or []
        try:
            return parse_marks(marks)
        except ValueError as problem:
            raise forms.ValidationError(str(problem)) from problem


class SignatureField(CanvasField):
    default_error_messages = {"invalid": "The signature could not be read. Reload the page and sign again."}


class SignForm(forms.Form):
    """The customer's name, and a signature drawn here or written on the printed receipt."""

    signed_by = PersonNameField(label=_("Name of the person handing in the bike"))
    signature = SignatureField(widget=forms.HiddenInput, required=False)
    on_paper = forms.BooleanField(label=_("Signed on paper"), required=False)
    code = forms.CharField(widget=forms.HiddenInput, max_length=20)  # of the state that was shown

    def clean_signature(self) -> list[list[list[int]]]:
        try:
            return parse_signature(self.cleaned_data["signature"] or [])
        except ValueError as problem:
            raise forms.ValidationError(str(problem)) from problem

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and not cleaned["signature"] and not cleaned["on_paper"]:
            self.add_error("signed_by", _("Sign in the box, or tick “Signed on paper”."))
        cleaned.pop("on_paper", None)
        return cleaned


class CheckInForm(InShopUnits, FieldGroupsMixin, RecordForm):
    """The check-in; a meter reading that does not follow from the last one has to be confirmed."""

    GROUPS = (
        (
            "Condition on arrival",
            ("condition", "condition_marks", "odometer_km", "engine_hours", "fuel", "keys"),
        ),
        ("Photos", ("photos",)),
    )
    QUANTITIES = {"odometer_km": "distance"}
    METERS = ("odometer_km", "engine_hours")

    photos = PhotosField(
        label="Photos",
        required=False,
        help_text="For example scratches, dents and the odometer. You can choose several.",
    )
    condition_marks = MarksField(
        label="Marks on the outline",
        required=False,
        help_text="Tap the drawing where there is damage or a missing part, and describe it.",
    )
    keys = WholeNumberField(label="Keys", required=False, min_value=0, max_value=99)
    meters_confirmed = forms.BooleanField(label="I have checked this reading", required=False)

    class Meta(RecordForm.Meta):
        model = Job
        fields = ["condition", "condition_marks", "odometer_km", "engine_hours", "fuel", "keys"]

    def __init__(self, *args: Any, shop: ShopProfile, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shop = shop
        self.warnings: dict[str, str] = {}
        self.use_units(shop)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        self.warnings = {name: warning for name in self.METERS if (warning := self.warning_for(name))}
        if not self.cleaned_data.get("meters_confirmed"):
            for name, warning in self.warnings.items():
                self.add_error(name, f"{warning} If it is correct, tick the box and save again.")
        return cleaned

    @property
    def confirmed_below(self) -> str:
        """Return the meter below which the page shows the box that confirms the readings, or ""."""
        return next((name for name in reversed(self.METERS) if name in self.warnings), "")

    @property
    def confirmation(self) -> forms.BoundField:
        return self["meters_confirmed"]

    def warning_for(self, meter: str) -> str:
        value = self.cleaned_data.get(meter)
        if value is None:
            return ""
        return meter_warning(
            job=self.instance, meter=meter, value=value, display=partial(self.format_meter, meter)
        )

    def format_meter(self, meter: str, value: float) -> str:
        if meter == "odometer_km":
            return format_for_shop(value, "distance", self.shop)
        return f"{format_plain(value)}{NO_BREAK_SPACE}h"
