"""Forms of the shop's profile: name, units, standards, rpm bands."""

from functools import cache, partial
from typing import Any, cast
from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError
from django.core.files import File
from django.db import transaction
from django.http import QueryDict

from jobs.calc.dyno.air import STANDARDS
from jobs.calc.warning_filters import filter_warnings
from workshop.images import IMAGE_ERRORS, require_complete_images
from workshop.models import ShopProfile
from workshop.people.names import PersonNameField
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.fields import NumberField, WholeNumberField
from workshop.records.form import RecordForm

MAX_LOGO_BYTES = 2 * 1024 * 1024
LOGO_FORMATS = {"PNG": "png", "JPEG": "jpg"}
MAX_LOGO_SIDE = 5000  # pixels; a small file may hold so many that each print takes minutes
TOO_MANY_PIXELS = f"The image has too many pixels. Resize it to at most {MAX_LOGO_SIDE} pixels per side."
NO_LOGO = "This file is damaged or not an image. Choose a PNG or JPEG file."


@cache
def time_zones() -> list[tuple[str, str]]:
    return [(name, name.replace("_", " ")) for name in sorted(available_timezones())]


def standards() -> list[tuple[str, str]]:
    return [(key, standard.name) for key, standard in STANDARDS.items()]


SHOP_GROUPS: Groups = (
    (
        "Shop details",
        ("name", "address", "phone", "email", "logo", "remove_logo", "time_zone", "paper", "currency"),
    ),
    (
        "Units",
        (
            "power_unit",
            "torque_unit",
            "pressure_unit",
            "temperature_unit",
            "length_unit",
            "distance_unit",
        ),
    ),
    (
        "Runs and comparisons",
        (
            "correction_standard",
            "elevation_m",
            "repeatability_pct",
            "grid_step_rpm",
            "smoothing_width_rpm",
            "roller_inertia_kgm2",
            "roller_radius_m",
        ),
    ),
    (
        "Accuracy of the dyno",
        (
            "air_temperature_error_c",
            "air_pressure_error_kpa",
            "humidity_error_pct",
            "inertia_error_pct",
            "slip_error_pct",
            "loss_error_pct",
        ),
    ),
    (
        "Handover sheet and customer link",
        ("responsible_name", "responsible_role", "link_days", "notice_text"),
    ),
)


class LogoField(forms.FileField):
    """A picture that prints: checked by its content, and stored under a name of ours."""

    widget = forms.FileInput(attrs={"accept": "image/png,image/jpeg"})

    def to_python(self, data: Any) -> Any:
        logo = super().to_python(data)
        if logo is None:
            return None
        if (logo.size or 0) > MAX_LOGO_BYTES:
            raise ValidationError("The image is larger than 2 MB. Reduce it and choose it again.")
        logo.name = f"logo.{LOGO_FORMATS[self.check_image(logo)]}"
        return logo

    def check_image(self, logo: "File[bytes]") -> str:
        from PIL import Image

        try:
            with require_complete_images(), filter_warnings("error", Image.DecompressionBombWarning):
                picture = Image.open(logo, formats=list(LOGO_FORMATS))
                if max(picture.size) > MAX_LOGO_SIDE:
                    raise ValidationError(TOO_MANY_PIXELS)
                picture.load()
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as problem:
            raise ValidationError(TOO_MANY_PIXELS) from problem
        except IMAGE_ERRORS as problem:
            raise ValidationError(NO_LOGO) from problem
        logo.seek(0)
        return str(picture.format)


class ShopForm(FieldGroupsMixin, RecordForm):
    logo = LogoField(
        label="Logo",
        required=False,
        help_text="PNG or JPEG, up to 2 MB. Printed at the top of the handover sheet.",
    )
    remove_logo = forms.BooleanField(label="Remove the logo", required=False)
    time_zone = forms.ChoiceField(label="Time zone", choices=time_zones)
    correction_standard = forms.ChoiceField(
        label="Correction standard",
        choices=standards,
        help_text="Power and torque are corrected to the reference air of this standard.",
    )
    responsible_name = PersonNameField(
        label="Person responsible for the work",
        required=False,
        help_text="Printed on every sheet issued from now on. Issued sheets keep the name they have.",
    )
    link_days = WholeNumberField(
        label="Customer link valid for (days)", min_value=1, max_value=3650, help_text="1 to 3650"
    )
    currency = forms.RegexField(
        r"^[A-Za-z]{3}$",
        label="Currency",
        error_messages={"invalid": "Three letters, such as EUR."},
        help_text="Three letters, for example EUR",
    )

    GROUPS = SHOP_GROUPS

    class Meta(RecordForm.Meta):
        model = ShopProfile
        fields = field_names(SHOP_GROUPS)
        labels = {"email": "Email"}
        help_texts = {
            "elevation_m": "Metres above sea level. Used to spot wrong barometer readings.",
            "repeatability_pct": (
                "Typical run-to-run difference on your dyno. Used until you have measured it."
            ),
            "air_temperature_error_c": (
                "From the certificate. If empty, it is not part of the uncertainty of power."
            ),
            "inertia_error_pct": (
                "From the manufacturer's data or a dyno verification. If "
                "empty, it is not part of the uncertainty of power."
            ),
            "smoothing_width_rpm": "Must not be smaller than the grid step.",
            "roller_inertia_kgm2": "Only needed if your run files contain no torque.",
            "responsible_role": "For example: workshop manager",
            "notice_text": "Printed next to the road-use notice. It never replaces it.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["address"].widget.attrs["rows"] = 3
        if not self.instance.logo:
            del self.fields["remove_logo"]

    def clean_currency(self) -> str:
        return str(self.cleaned_data["currency"]).upper()

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        width = self.cleaned_data.get("smoothing_width_rpm")
        step = self.cleaned_data.get("grid_step_rpm")
        if self.cleaned_data.get("remove_logo") and "logo" not in self.changed_data:
            self.cleaned_data["logo"] = False  # makes a file field clear its file
        if self.cleaned_data.get("responsible_role") and not self.cleaned_data.get("responsible_name"):
            self.add_error("responsible_name", "Enter the name of the person who has this role.")
        if width is not None and step is not None and width < step:
            self.add_error("smoothing_width_rpm", f"Must be at least the grid step ({step} rpm).")
        return cleaned

    def save(self, commit: bool = True) -> ShopProfile:
        """Save, and delete the file of a logo that was replaced or removed."""
        before = self.initial.get("logo")
        shop: ShopProfile = super().save(commit)
        if before and before.name != shop.logo.name:
            transaction.on_commit(partial(before.storage.delete, before.name))
        return shop


def speed_field(label: str) -> NumberField:
    return NumberField(
        label=label,
        required=False,
        min_value=0,
        max_value=30_000,
        max_digits=7,
        decimal_places=1,
        thousandths=False,
    )


class BandForm(forms.Form):
    """One rpm band over which runs are compared."""

    name = forms.CharField(label="Band name", max_length=40, required=False)
    low_rpm = speed_field("From (rpm)")
    high_rpm = speed_field("To (rpm)")

    def clean(self) -> dict[str, Any]:
        low, high = self.cleaned_data.get("low_rpm"), self.cleaned_data.get("high_rpm")
        if low is not None and high is not None and low >= high:
            self.add_error("high_rpm", "The end of the band must be above its start.")
        if (low is not None or high is not None) and not self.cleaned_data.get("name"):
            self.add_error("name", "Name the band or clear the whole row.")
        return self.cleaned_data


class BaseBandFormSet(forms.BaseFormSet):
    """The shop's rpm bands; a row without a name is no band."""

    def clean(self) -> None:
        names = [band["name"].casefold() for band in self.bands]
        for form in self.forms:
            name = form.cleaned_data.get("name", "") if form.is_valid() else ""
            if name and names.count(name.casefold()) > 1:
                form.add_error("name", "Another band already has this name.")

    @property
    def bands(self) -> list[dict[str, Any]]:
        rows = [form.cleaned_data for form in self.forms if form.is_valid()]
        return [
            {"name": row["name"]} | {end: as_number(row[end]) for end in ("low_rpm", "high_rpm")}
            for row in rows
            if row.get("name")
        ]


def as_number(value: Any) -> float | None:
    """Return a number for JSON, as an integer if it is whole."""
    if value is None:
        return None
    return int(value) if value == int(value) else float(value)


def band_forms(*, data: QueryDict | None, bands: list[dict[str, Any]]) -> BaseBandFormSet:
    """Return the rows of the bands, with two empty ones."""
    rows = forms.formset_factory(BandForm, formset=BaseBandFormSet, extra=2, max_num=8, absolute_max=20)
    return cast("BaseBandFormSet", rows(data, initial=bands, prefix="band"))
