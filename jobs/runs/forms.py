"""Forms to attach, edit and exclude runs, and to set the sweep."""

from datetime import datetime
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.formats import date_format
from django.utils.timezone import localtime, now

from jobs.calc.dyno.air import pressure_warning
from jobs.calc.units.numbers import format_number
from jobs.checklists.sessions import session_at
from jobs.job.fields import InShopUnits, ManyFilesInput
from jobs.models import Job, Run
from jobs.runs.air_readings import AIR_VALID, is_old, reading_times
from jobs.runs.file_correction import (
    CORRECTION_CHOICES,
    CORRECTION_HELP,
    FACTOR_HELP,
    FACTOR_MISSING,
    FACTOR_OF_OBSERVED,
    FACTOR_OF_OTHER,
    OBSERVED,
    OTHER,
    air_in_file,
    factor_to_use,
    stated_in_report,
)
from jobs.runs.importing import RunDetails
from jobs.runs.sweep_limits import find_rows_by_speed, find_rows_by_time
from workshop.models import ShopProfile
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import FloatNumberField
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin
from workshop.units.display import convert, format_plain, label
from workshop.units.shop_units import shop_unit

AIR = ("temperature_c", "pressure_kpa", "humidity_pct")
# Fields that the next run of a session most likely shares with the last.
CARRIED_OVER = ("kind", "gear", *AIR, "corrected_by")
DETAILS = [*CARRIED_OVER, "file_factor", "tune_revision", "made_at", "note"]


class RunForm(QuestionedTimesMixin, InShopUnits, FieldGroupsMixin, RecordForm):
    """Details of a run; a pressure that does not fit the elevation must be confirmed."""

    GROUPS = (
        ("", ("run_files",)),
        ("The run", ("kind", "gear", "tune_revision", "made_at")),
        ("The air at the roller", (*AIR, "pressure_confirmed")),
        ("Were the file's figures corrected already?", ("corrected_by", "file_factor")),
        ("", ("note",)),
    )
    RECORDED = ("made_at",)
    QUANTITIES = {"temperature_c": "temperature", "pressure_kpa": "pressure"}

    corrected_by = forms.ChoiceField(
        label="Corrected already", choices=CORRECTION_CHOICES, required=False, help_text=CORRECTION_HELP
    )
    pressure_confirmed = forms.BooleanField(
        label="This is the barometer at the roller, though it does not fit the shop's elevation",
        required=False,
    )

    class Meta(RecordForm.Meta):
        model = Run
        fields = DETAILS

    def __init__(self, *args: Any, job: Job, shop: ShopProfile, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.job, self.shop = job, shop
        self.use_units(shop)
        tune: Any = self.fields["tune_revision"]
        tune.queryset, tune.empty_label = job.tune_revisions.all(), "not recorded"
        tune.label = "Tune loaded"
        self.fields["pressure_kpa"].help_text = "As the barometer shows it, not reduced to sea level."
        self.fields["file_factor"].help_text = FACTOR_HELP
        stated = stated_in_report(self.instance.report)
        if stated and stated.evidence:
            self.fields["corrected_by"].help_text = f"{', '.join(stated.evidence)}. {CORRECTION_HELP}"

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        self.check_air()
        self.check_pressure()
        self.check_factor()
        return cleaned

    def clean_made_at(self) -> datetime | None:
        """Keep the seconds of an unchanged time, because the form shows minutes only."""
        entered: datetime | None = self.cleaned_data["made_at"]
        stored = self.instance.made_at if self.instance.pk else None
        return stored if stored and entered == stored.replace(second=0, microsecond=0) else entered

    def save(self, commit: bool = True) -> Run:
        """Save the run in the session on the dyno that its time falls in."""
        self.instance.session = session_at(self.job, self.instance.made_at)
        saved: Run = super().save(commit)
        return saved

    def check_air(self) -> None:
        given = {name: self.cleaned_data.get(name) for name in AIR}
        missing = [name for name, value in given.items() if value is None and name not in self.errors]
        if 0 < len(missing) < len(AIR):
            for name in missing:
                self.add_error(name, "Give temperature, pressure and humidity, or none of the three.")

    def check_pressure(self) -> None:
        pressure_kpa = self.cleaned_data.get("pressure_kpa")
        if pressure_kpa is None or self.cleaned_data.get("pressure_confirmed"):
            return
        warning = pressure_warning(pressure_kpa, self.shop.elevation_m)
        if warning and not self.was_confirmed(pressure_kpa):
            unit = shop_unit(self.shop, "pressure")
            typed = format_plain(round(float(convert(pressure_kpa, "kpa", unit)), 3))
            converted = (
                "" if unit == "kpa" else f"{typed} {label(unit)} is {format_number(pressure_kpa, 1)} kPa. "
            )
            self.add_error("pressure_kpa", f"{converted}{warning} If it is right, tick that it is.")

    def was_confirmed(self, pressure_kpa: float) -> bool:
        """Return True if a run of this job was saved with the same pressure before."""
        return self.job.runs.filter(pressure_kpa=pressure_kpa).exists()

    def check_factor(self) -> None:
        """Ask for what takes a correction back: the file's factor or air, or the air entered here."""
        by, entered = self.cleaned_data.get("corrected_by", ""), self.cleaned_data.get("file_factor")
        if "file_factor" in self.errors:
            return
        if by == OBSERVED and entered is not None:
            self.add_error("file_factor", FACTOR_OF_OBSERVED)
            return
        factor = factor_to_use(by, entered, stated_in_report(self.instance.report))
        self.cleaned_data["file_factor"] = factor
        has_air = by != OTHER and (
            all(self.cleaned_data.get(name) is not None for name in AIR) or self.has_air_in_file()
        )
        if by not in ("", OBSERVED) and factor is None and not has_air and self.is_file_known():
            self.add_error("file_factor", FACTOR_MISSING if by != OTHER else FACTOR_OF_OTHER)

    def has_air_in_file(self) -> bool:
        try:
            return air_in_file(self.instance) is not None
        except ValueError:
            return False

    def is_file_known(self) -> bool:
        """Return True if the file was read, so that all it states is known."""
        return True


class RunFilesField(forms.FileField):
    """The chosen files; an error in one of them is reported when that file is imported."""

    widget = ManyFilesInput()

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        files: list[UploadedFile] = [file for file in data or [] if file is not None]
        if not files:
            raise forms.ValidationError("Choose at least one file.")
        return files


class AttachForm(RunForm):
    run_files = RunFilesField(
        label="Run files", help_text="CSV or text as the roller or the logger wrote it, up to 64 MB each."
    )

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        initial = initial_from_last_run(job)
        self.last_gear: int | None = initial.get("gear")
        super().__init__(*args, job=job, initial={**initial, "kind": "", "gear": None}, **kwargs)
        kind: Any = self.fields["kind"]
        kind.required, kind.choices = False, [("", "as each file shows"), *Run.Kind.choices]
        kind.help_text = "By its channels and its name, so that files of several kinds can be sent together."
        else_last = f", else that of the last run, {self.last_gear}" if self.last_gear else ""
        self.fields["gear"].help_text = f"Empty: as the file shows{else_last}."
        if read_at := old_reading(job):
            for name in AIR:
                self.initial[name] = None
            self.fields["temperature_c"].help_text = (
                f"The last reading is from {date_format(localtime(read_at), 'j M, H:i')}, more than "
                f"{AIR_VALID.seconds // 60} minutes ago: read the air again."
            )
        made_at = self.fields["made_at"]
        made_at.required, made_at.help_text = (
            False,
            "Empty: the date and time that the file states, else now. Several files of one time are put a "
            "second apart, in their order.",
        )
        self.initial["made_at"] = None

    def is_file_known(self) -> bool:
        return False

    @property
    def details(self) -> RunDetails:
        return RunDetails(**{name: self.cleaned_data[name] for name in DETAILS})


def initial_from_last_run(job: Job) -> dict[str, Any]:
    """Return the conditions of the job's last run and the tune loaded now."""
    last = job.runs.order_by("-made_at", "-pk").first()
    given = {name: getattr(last, name) for name in CARRIED_OVER} if last else {}
    return {**given, "tune_revision": job.tune_revisions.order_by("-loaded_at", "-pk").first()}


def old_reading(job: Job) -> datetime | None:
    """Return when the air that the next run would take over was read, if that is too long ago."""
    runs = list(job.runs.all())
    times = reading_times(runs)
    last = max(runs, key=lambda run: (run.made_at, run.pk), default=None)
    read_at = times.get(last.pk) if last else None
    return read_at if read_at and is_old(read_at, now()) else None


class SweepForm(forms.Form):
    """Limits of the sweep by engine speed, time or sample number from 1; found again if both are empty."""

    BY = (("engine_speed", "engine speed (1/min)"), ("time", "time (s)"), ("sample", "sample"))

    limits_in = forms.ChoiceField(label="Limits given as", choices=BY, initial="sample")
    first = FloatNumberField(label="From", required=False, min_value=0)
    last = FloatNumberField(label="To", required=False, min_value=0)

    def __init__(self, *args: Any, run: Run, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.run = run
        if self.is_bound and self.data.get("limits_in") != "time":
            for name in ("first", "last"):
                self.fields[name].thousandths = False  # type: ignore[attr-defined]  # both are NumberFields
        self.limits: tuple[int | None, int | None] = (None, None)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if self.errors:
            return cleaned
        first, last = cleaned.get("first"), cleaned.get("last")
        if first is None and last is None:
            return cleaned
        if first is None or last is None:
            self.add_error(
                "first" if first is None else "last", "Give both ends, or neither to have it found."
            )
        elif not first < last:
            self.add_error("last", "The sweep has to end above where it starts.")
        elif cleaned["limits_in"] == "sample":
            self.set_sample_limits(first, last)
        else:
            by = find_rows_by_time if cleaned["limits_in"] == "time" else find_rows_by_speed
            try:
                self.limits = by(self.run, first, last)
            except ValueError as problem:
                self.add_error("first", str(problem))
        return cleaned

    def set_sample_limits(self, first: float, last: float) -> None:
        samples = self.run.samples or 0
        if first < 1 or first != int(first):
            self.add_error("first", "Samples are counted from 1.")
        elif last > samples or last != int(last):
            self.add_error("last", f"The run has {format_number(samples)} samples.")
        else:
            self.limits = (int(first) - 1, int(last))


class ExcludeForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = Run
        fields = ["set_aside_reason"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["set_aside_reason"].required = True
        self.fields["set_aside_reason"].help_text = "For instance: wheel slipped, wrong gear, trial."
        self.instance.set_aside = True
