"""Forms for customers and their bikes."""

from collections.abc import Sequence
from typing import Any

from django import forms

from workshop.customers.duplicates import KnownBike, KnownCustomer, find_known_bikes, find_known_customers
from workshop.customers.vin import read_vin
from workshop.models import Bike, Customer
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.form import RecordForm


class CustomerForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = Customer
        fields = ["name", "phone", "email", "experience", "riding_mass_kg", "note"]


KNOWN = "Known already: look at the entry above. If this is another one, tick that it is."


class CustomerEntryForm(CustomerForm):
    """A new customer; one who seems to be known has to be confirmed."""

    GROUPS = (("", tuple(CustomerForm.Meta.fields)),)
    known_anyway = forms.BooleanField(label="This is another person", required=False)
    known_customers: Sequence[KnownCustomer] = ()

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        name, phone, email = (self.cleaned_data.get(what) or "" for what in ("name", "phone", "email"))
        self.known_customers = find_known_customers(name=name, phone=phone, email=email)
        if self.known_customers and not self.cleaned_data.get("known_anyway"):
            self.add_error("name", KNOWN)
        return cleaned


BIKE_GROUPS: Groups = (
    ("Bike", ("owner", "make", "model", "year", "plate", "vin", "engine_spec")),
    (
        "Where this bike differs from its engine's entry in the library",
        ("front_sprocket", "rear_sprocket", "front_tyre", "rear_tyre", "top_speed_kmh"),
    ),
    ("", ("note",)),
)


class BikeForm(FieldGroupsMixin, RecordForm):
    # A frame number may be typed in groups, so the input is longer than the stored VIN.
    vin = forms.CharField(
        label="VIN",
        required=False,
        max_length=40,
        help_text="As stamped on the frame. Shorter numbers of older frames are fine.",
    )

    GROUPS = BIKE_GROUPS

    class Meta(RecordForm.Meta):
        model = Bike
        fields = field_names(BIKE_GROUPS)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        engine: Any = self.fields["engine_spec"]
        engine.label = "Engine"
        engine.empty_label = "not in the library yet"
        for name in ("front_tyre", "rear_tyre"):
            self.fields[name].help_text = "for example 180/55 ZR17"

    def clean_plate(self) -> str:
        return " ".join(str(self.cleaned_data["plate"]).upper().split())

    def clean_vin(self) -> str:
        vin = read_vin(self.cleaned_data["vin"]).text if self.cleaned_data["vin"] else ""
        max_length = Bike._meta.get_field("vin").max_length or 0
        if len(vin) > max_length:
            raise forms.ValidationError(f"A VIN has at most {max_length} signs; this one has {len(vin)}.")
        other = Bike.objects.filter(vin=vin).exclude(pk=self.instance.pk).select_related("owner").first()
        if vin and other:
            raise forms.ValidationError(f"The {other} of {other.owner} already has this VIN.")
        return vin

    @property
    def vin_hint(self) -> str | None:
        """Hint about the saved number, never a reason to refuse it."""
        return read_vin(self.instance.vin).hint if self.instance.vin else None


class BikeEntryForm(BikeForm):
    """A new bike; one whose plate is known has to be confirmed."""

    known_anyway = forms.BooleanField(label="This is another bike", required=False)
    known_bikes: Sequence[KnownBike] = ()

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        self.known_bikes = find_known_bikes(self.cleaned_data.get("plate") or "")
        if self.known_bikes and not self.cleaned_data.get("known_anyway"):
            self.add_error("plate", KNOWN)
        return cleaned
