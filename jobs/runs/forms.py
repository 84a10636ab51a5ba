"""Forms to attach, edit and exclude runs, and to set the sweep."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.utils.formats import date_format
from django.utils.timezone import localtime, now

from jobs.calc.dyno.air import pressure_warning
from jobs.calc.run_file.proposals import Proposal, propose, propose_name
from jobs.calc.units.numbers import format_number
from jobs.checklists.sessions import session_at
from jobs.job.fields import InShopUnits, ManyFilesInput
from jobs.models import Job, Run
from jobs.runs.air_readings import AIR_VALID, is_old, reading_times
from jobs.runs.channel_files import load_channels
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
    describe_air,
    factor_to_use,
    offered_air,
    stated_in_report,
)
from jobs.runs.importing import MAX_RUN_NAME, RunDetails, needs_time
from jobs.runs.sweep_limits import find_rows_by_speed, find_rows_by_time
from workshop.instruments.forms import InstrumentChoiceField, MeasuredWithMixin
from workshop.models import Instrument, ShopProfile
from workshop.records.field_groups import FieldGroupsMixin
from workshop.records.fields import FloatNumberField
from workshop.records.form import RecordForm
from workshop.records.times import QuestionedTimesMixin
from workshop.units.display import convert, format_plain, label
from workshop.units.shop_units import shop_unit

AIR = ("temperature_c", "pressure_kpa", "humidity_pct")
# Fields that the next run of a session most likely shares with the last.
CARRIED_OVER = ("kind", "gear", *AIR, "corrected_by")
INSTRUMENTS = ("weather_station", "lambda_probe")
DETAILS = ["name", *CARRIED_OVER, *INSTRUMENTS, "file_factor", "tune_revision", "made_at", "note"]
GRIP_HELP = "Of a held-throttle run, if its file has no grip or throttle column."


class RunForm(MeasuredWithMixin, QuestionedTimesMixin, InShopUnits, FieldGroupsMixin, RecordForm):
    """Details of a run; a pressure that does not fit the elevation must be confirmed."""

    GROUPS = (
        ("", ("run_files",)),
        ("The run", ("name", "kind", "held_grip_pct", "gear", "tune_revision", "lambda_probe", "made_at")),
        ("Air at the dyno", (*AIR, "weather_station", "pressure_confirmed", "use_file_air")),
        ("Already corrected in the file?", ("corrected_by", "file_factor")),
        ("Note", ("note",)),
    )
    RECORDED = ("made_at",)
    QUANTITIES = {"temperature_c": "temperature", "pressure_kpa": "pressure"}

    corrected_by = forms.ChoiceField(
        label="Already corrected", choices=CORRECTION_CHOICES, required=False, help_text=CORRECTION_HELP
    )
    weather_station = InstrumentChoiceField(Instrument.Kind.WEATHER, label="Weather station")
    lambda_probe = InstrumentChoiceField(Instrument.Kind.LAMBDA, label="Lambda probe or meter")
    pressure_confirmed = forms.BooleanField(
        label="This is the barometer at the dyno, although it does not match the elevation of the shop",
        required=False,
    )

    use_file_air = forms.BooleanField(
        label="Use the air in the file",
        required=False,
        help_text="Medians of its channels, or the values above its header. Values entered here take "
        "precedence.",
    )

    class Meta(RecordForm.Meta):
        model = Run
        fields = [*DETAILS, "held_grip_pct"]

    def __init__(self, *args: Any, job: Job, shop: ShopProfile, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.job, self.shop = job, shop
        self.use_units(shop)
        tune: Any = self.fields["tune_revision"]
        tune.queryset, tune.empty_label = job.tune_revisions.all(), "not recorded"
        tune.label = "Tune"
        self.offer_name()
        self.file_air = offered_air(self.instance)
        if self.file_air:
            offer = describe_air(self.file_air, shop)
            self.fields["use_file_air"].label = f"Use the air in the file: {offer}"
        else:
            del self.fields["use_file_air"]
        self.fields["held_grip_pct"].help_text = GRIP_HELP
        self.fields["pressure_kpa"].help_text = "Barometer reading, not corrected to sea level."
        self.fields["file_factor"].help_text = FACTOR_HELP
        stated = stated_in_report(self.instance.report)
        if stated and stated.evidence:
            self.fields["corrected_by"].help_text = f"{', '.join(stated.evidence)}. {CORRECTION_HELP}"

    def offer_name(self) -> None:
        """Fill in the proposed name of a run that has none."""
        self.fields["name"].help_text = "Leave it empty to show the file name."
        if not self.instance.name:
            self.initial["name"] = propose_run_name(self.instance)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        self.take_file_air()
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

    def take_file_air(self) -> None:
        """Fill the empty fields with the air in the file if that was ticked."""
        for name in AIR if self.cleaned_data.get("use_file_air") else ():
            if self.cleaned_data.get(name) is None and name not in self.errors:
                self.cleaned_data[name] = self.file_air[name]

    def check_air(self) -> None:
        given = {name: self.cleaned_data.get(name) for name in AIR}
        missing = [name for name, value in given.items() if value is None and name not in self.errors]
        if 0 < len(missing) < len(AIR):
            for name in missing:
                self.add_error(name, "Enter temperature, pressure and humidity, or leave all three empty.")

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
            self.add_error("pressure_kpa", f"{converted}{warning} If it is correct, tick the box below.")

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
    stored: Sequence[UploadedFile] = ()  # of a try that was refused

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        files: list[UploadedFile] = [*self.stored, *(file for file in data or [] if file is not None)]
        if not files:
            raise forms.ValidationError("Choose at least one file.")
        return files


class AttachForm(RunForm):
    run_files = RunFilesField(
        label="Run files", help_text="CSV or text from the dyno or logger, up to 64 MB each."
    )

    def __init__(
        self, *args: Any, job: Job, stored_files: Sequence[UploadedFile] = (), **kwargs: Any
    ) -> None:
        initial = initial_from_last_run(job)
        self.last_gear: int | None = initial.get("gear")
        super().__init__(*args, job=job, initial={**initial, "kind": "", "gear": None}, **kwargs)
        del self.fields["held_grip_pct"]  # each file has another
        self.offer_last_used(Run.objects.all(), *INSTRUMENTS)
        files: Any = self.fields["run_files"]
        files.stored = stored_files
        kind: Any = self.fields["kind"]
        kind.required, kind.choices = False, [("", "as each file shows"), *Run.Kind.choices]
        kind.help_text = (
            "“As each file shows” finds the type from the channels and the file name, so you can upload "
            "several types together."
        )
        else_last = (
            f" If there is none, gear {self.last_gear} of the last run is used." if self.last_gear else ""
        )
        self.fields["gear"].help_text = f"Leave it empty to use the gear in the file.{else_last}"
        if read_at := old_reading(job):
            for name in AIR:
                self.initial[name] = None
            self.fields["temperature_c"].help_text = (
                f"The last reading is from {date_format(localtime(read_at), 'j M, H:i')}, more than "
                f"{AIR_VALID.seconds // 60} minutes ago. Read the air again."
            )
        made_at = self.fields["made_at"]
        made_at.required, made_at.help_text = (
            False,
            "Leave it empty to use the time in the file. A file without a time gets the time of the upload. "
            "If its runs were made earlier, enter when. Files with the same time are put one second apart.",
        )
        self.initial["made_at"] = None

    def offer_name(self) -> None:
        self.fields[
            "name"
        ].help_text = "Several files get this name and a number. Leave it empty to show the file name."

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        self.check_time()
        return cleaned

    def check_time(self) -> None:
        """Ask when the runs were made if a file states no time and the bike is off the dyno."""
        if self.cleaned_data.get("made_at") is not None or "made_at" in self.errors:
            return
        for file in self.cleaned_data.get("run_files", ()):
            if (file.size or 0) <= settings.RUN_FILE_LIMIT and needs_time(self.job, file.read()):
                self.add_error(
                    "made_at",
                    f"{file.name} states no time, and this job has no slot now. Enter when it was made.",
                )
            file.seek(0)

    def is_file_known(self) -> bool:
        return False

    @property
    def details(self) -> RunDetails:
        return RunDetails(**{name: self.cleaned_data[name] for name in DETAILS if name in self.fields})


def initial_from_last_run(job: Job) -> dict[str, Any]:
    """Return the conditions of the job's last run and the tune loaded now."""
    last = job.runs.order_by("-made_at", "-pk").first()
    given = {name: getattr(last, name) for name in CARRIED_OVER} if last else {}
    return {**given, "tune_revision": job.tune_revisions.order_by("-loaded_at", "-pk").first()}


def propose_run_name(run: Run) -> str:
    """Propose a name by the kind and gear entered, the grip measured and the file name."""
    try:
        channels = load_channels(run, ("grip_pct", "plate_pct"))
    except ValueError:
        channels = {}
    grip_pct = propose(channels, run.original_name).grip_pct if run.kind == Run.Kind.HELD else None
    return propose_name(Proposal(run.kind, run.gear, grip_pct), run.original_name)[:MAX_RUN_NAME]


def old_reading(job: Job) -> datetime | None:
    """Return when the air that the next run would take over was read, if that is too long ago."""
    runs = list(job.runs.all())
    times = reading_times(runs)
    last = max(runs, key=lambda run: (run.made_at, run.pk), default=None)
    read_at = times.get(last.pk) if last else None
    return read_at if read_at and is_old(read_at, now()) else None


class SweepForm(forms.Form):
    """Limits of the sweep by engine speed, time or sample number from 1; found again if both are empty."""

    BY = (("engine_speed", "engine speed (rpm)"), ("time", "time (s)"), ("sample", "sample"))

    limits_in = forms.ChoiceField(label="Set limits by", choices=BY, initial="sample")
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
                "first" if first is None else "last",
                "Enter both ends, or leave both empty to find them.",
            )
        elif not first < last:
            self.add_error("last", "The end of the sweep must be above its start.")
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
            self.add_error("first", "Sample numbers start at 1.")
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
        self.fields["set_aside_reason"].help_text = "For example: wheel slipped, wrong gear, trial."
        self.instance.set_aside = True
