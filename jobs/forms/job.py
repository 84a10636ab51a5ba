"""Forms of a job: what was agreed, the receipt, photos, work and its stage."""

from functools import partial
from typing import Any, cast

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db.models import Q
from django.http import QueryDict

from jobs.forms.quantities import InShopUnits
from jobs.models import Job, Photo, Stage, WorkItem
from jobs.photos import Prepared, prepare_photos
from jobs.receiving import meter_question, read_marks, read_strokes
from jobs.stages import reason_missing
from jobs.work import most_authorised, over_with
from workshop.forms.fields import plain
from workshop.forms.groups import Grouped
from workshop.forms.records import RecordForm
from workshop.models import ShopProfile, StaffMember
from workshop.units import NO_BREAK_SPACE, format_value


class JobForm(Grouped, RecordForm):
    GROUPS = (
        ("What is asked for", ("brief", "intended_use")),
        ("When, how much, by whom", ("booked_for", "promised_at", "authorised_amount", "mechanic", "tuner")),
    )

    class Meta(RecordForm.Meta):
        model = Job
        fields = [
            "brief",
            "intended_use",
            "booked_for",
            "promised_at",
            "authorised_amount",
            "mechanic",
            "tuner",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for role in ("mechanic", "tuner"):
            chosen = Q(pk=getattr(self.instance, f"{role}_id"))
            people = StaffMember.objects.filter(Q(is_active=True, **{f"is_{role}": True}) | chosen)
            field: Any = self.fields[role]
            field.queryset, field.empty_label = people, "nobody yet"

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        booked, promised = self.cleaned_data.get("booked_for"), self.cleaned_data.get("promised_at")
        if booked and promised and promised < booked:
            self.add_error("promised_at", "The bike is promised before it comes in.")
        return cleaned


class RemarksForm(Grouped, RecordForm):
    """What the sheet says of the time after: what was not tested, what to watch, the next service."""

    class Meta(RecordForm.Meta):
        model = Job
        fields = ["not_tested", "next_service"]


class WorkItemForm(Grouped, RecordForm):
    """Work agreed; where it takes the job over what was authorised, the customer has to be asked."""

    asked = forms.BooleanField(label="The customer was asked and agrees", required=False)
    question = ""

    class Meta(RecordForm.Meta):
        model = WorkItem
        fields = ["description", "price", "done"]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        over = over_with(self.instance, self.cleaned_data.get("price"))
        if over is not None and over.amount > most_authorised():
            self.add_error(
                "price",
                f"This makes {over.amount:.2f}, and no more than {most_authorised()} can be authorised for a "
                "job. Look whether the prices are right, or book the rest as a job of its own.",
            )
        elif over is not None:
            self.question = f"This makes {over.amount:.2f}, which is {over.over:.2f} more than authorised."
            if not self.cleaned_data.get("asked"):
                self.add_error(
                    "price", f"{self.question} Ask the customer, tick that it is agreed and save again."
                )
        return cleaned


class ManyFilesInput(forms.FileInput):
    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """Photos as chosen, prepared for keeping: (own name, file) of each."""

    widget = ManyFilesInput(attrs={"accept": "image/*"})

    def clean(self, data: Any, initial: Any = None) -> list[Prepared]:
        uploads: list[UploadedFile] = [upload for upload in data or [] if upload]
        if not uploads and self.required:
            raise forms.ValidationError("Choose at least one photo.")
        try:
            return prepare_photos(uploads)
        except ValueError as problem:
            again = " None of the photos is kept yet: choose the others again." if len(uploads) > 1 else ""
            raise forms.ValidationError(f"{problem}{again}") from problem


class PhotosForm(forms.Form):
    photos = PhotosField(label="Photos")
    caption = forms.CharField(label="What they show", required=False, max_length=200)


class PhotoForm(Grouped, RecordForm):
    class Meta(RecordForm.Meta):
        model = Photo
        fields = ["caption"]


class DrawnField(forms.JSONField):
    """What a script on the page has drawn; nested more deeply than can be read it is none."""

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


class MarksField(DrawnField):
    """Points on the drawing of the bike, each with what is there; drawn by static/js/outline.js."""

    widget = forms.Textarea(attrs={"rows": 2, "data-outline-marks": "condition-outline"})

    def clean(self, value: Any) -> list[dict[str, Any]]:
        marks = super().clean(value) or []
        try:
            return read_marks(marks)
        except ValueError as problem:
            raise forms.ValidationError(str(problem)) from problem


class SignForm(forms.Form):
    """The customer's name, and a signature drawn here or written on the printed receipt."""

    signed_by = forms.CharField(label="Name of who hands the bike in", max_length=120)
    signature = DrawnField(widget=forms.HiddenInput, required=False)
    on_paper = forms.BooleanField(label="Signed on the printed receipt", required=False)

    def clean_signature(self) -> list[list[list[int]]]:
        try:
            return read_strokes(self.cleaned_data["signature"] or [])
        except ValueError as problem:
            raise forms.ValidationError(str(problem)) from problem

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and not cleaned["signature"] and not cleaned["on_paper"]:
            self.add_error("signed_by", "Sign in the field, or tick that it is signed on paper.")
        return cleaned


class ReceiveForm(InShopUnits, Grouped, RecordForm):
    """The receipt; a meter's reading that doesn't follow from the last one has to be confirmed."""

    GROUPS = (
        (
            "The bike as it comes in",
            ("condition", "condition_marks", "odometer_km", "engine_hours", "fuel", "keys"),
        ),
        ("Photos", ("photos",)),
    )
    QUANTITIES = {"odometer_km": ("km", "distance")}
    METERS = ("odometer_km", "engine_hours")

    photos = PhotosField(
        label="Photos", required=False, help_text="Scratches, dents, the odometer. Several at once are fine."
    )
    condition_marks = MarksField(
        label="Marks on the outline",
        required=False,
        help_text="Press on the drawing where something is scratched, bent or missing, and say what.",
    )
    meters_confirmed = forms.BooleanField(label="The reading is right", required=False)

    class Meta(RecordForm.Meta):
        model = Job
        fields = ["condition", "condition_marks", "odometer_km", "engine_hours", "fuel", "keys"]

    def __init__(self, *args: Any, shop: ShopProfile, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shop = shop
        self.questions: dict[str, str] = {}
        self.use_units(shop)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        self.questions = {name: asked for name in self.METERS if (asked := self.question_about(name))}
        if not self.cleaned_data.get("meters_confirmed"):
            for name, asked in self.questions.items():
                self.add_error(name, f"{asked} If so, tick that it is and save again.")
        return cleaned

    def question_about(self, meter: str) -> str:
        value = self.cleaned_data.get(meter)
        if value is None:
            return ""
        return meter_question(job=self.instance, meter=meter, value=value, told=partial(self.told, meter))

    def told(self, meter: str, value: float) -> str:
        if meter == "odometer_km":
            return format_value(value, "distance", self.shop.distance_unit)
        return f"{plain(value)}{NO_BREAK_SPACE}h"


class StageForm(forms.Form):
    """The next stage; ``seen`` is where the job stood when the form was shown."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    stage = forms.ChoiceField(label="Move to", choices=Stage.choices)
    waiting_for = forms.ChoiceField(
        label="Waits for (only when waiting)", choices=[("", "–"), *Job.WaitingFor.choices], required=False
    )
    why = forms.CharField(label="Why", required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.job = job
        self.initial = {"seen": job.stage, "stage": job.stage, "waiting_for": job.waiting_for}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("seen") not in ("", None, self.job.stage):
            self.report_move()
        missing = reason_missing(
            job=self.job,
            stage=cleaned.get("stage", ""),
            why=cleaned.get("why", ""),
            waiting_for=cleaned.get("waiting_for", ""),
        )
        for name, sentence in missing.items():
            self.add_error(name, sentence)
        return cleaned

    def report_move(self) -> None:
        """Refuse a step from where the job no longer stands, and let it be sent again from there."""
        last = self.job.stage_entries.select_related("by").last()
        who = str(last.by) if last else "Somebody"
        self.add_error(
            "stage",
            f"{who} moved this job to “{self.job.get_stage_display()}” meanwhile. "
            "Send again if your step still holds.",
        )
        sent = cast("QueryDict", self.data).copy()
        sent["seen"] = self.job.stage
        self.data = sent
