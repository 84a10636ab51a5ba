"""Forms for customers and their bikes."""

from collections.abc import Sequence
from typing import Any

from django import forms

from workshop.customers.duplicates import KnownBike, KnownCustomer, find_known_bikes, find_known_customers
from workshop.customers.vin import read_vin
from workshop.models import Bike, Customer, ShopProfile
from workshop.records.field_groups import FieldGroupsMixin, Groups, field_names
from workshop.records.fields import QuantityField
from workshop.records.form import RecordForm
from workshop.units.shop_units import shop_unit


class CustomerForm(FieldGroupsMixin, RecordForm):
    class Meta(RecordForm.Meta):
        model = Customer
        fields = ["name", "phone", "email", "language", "experience", "riding_mass_kg", "note"]
        labels = {"email": "Email"}


KNOWN = "This may already be recorded. Check the entry above. If it is a different one, tick the box."


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
        "Differences from the engine spec",
        ("front_sprocket", "rear_sprocket", "front_tyre", "rear_tyre", "top_speed_kmh"),
    ),
    ("Note", ("note",)),
)


# More than motorcycles' papers state: typed without a unit in a shop that uses miles, it may be km/h.
MAX_UNASKED_KMH = 320


def is_plain(typed: str) -> bool:
    """Return True if a number was typed without a unit."""
    return not any(character.isalpha() for character in typed)


class BikeForm(FieldGroupsMixin, RecordForm):
    # A frame number may be typed in groups, so the input is longer than the stored VIN.
    vin = forms.CharField(
        label="VIN",
        required=False,
        max_length=40,
        help_text="As stamped on the frame. Older frames may have a shorter number.",
    )

    top_speed_kmh = QuantityField(
        storage_unit="kmh",
        label="Top speed in the registration papers",
        required=False,
        min_value=20,
        max_value=500,
        thousandths=False,
    )

    GROUPS = BIKE_GROUPS

    class Meta(RecordForm.Meta):
        model = Bike
        fields = field_names(BIKE_GROUPS)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        engine: Any = self.fields["engine_spec"]
        engine.label = "Engine"
        engine.empty_label = "not in the engine library yet"
        speed: Any = self.fields["top_speed_kmh"]
        speed.set_unit(shop_unit(ShopProfile.current(), "speed"))
        speed.help_text = "You can add a unit: 240 km/h or 150 mph."
        for name in ("front_tyre", "rear_tyre"):
            self.fields[name].help_text = "for example 180/55 ZR17"

    def clean_plate(self) -> str:
        return " ".join(str(self.cleaned_data["plate"]).upper().split())

    def clean_top_speed_kmh(self) -> int | None:
        """Ask for the unit of a speed that no bike reaches in the shop's own."""
        speed_kmh = self.cleaned_data["top_speed_kmh"]
        field: Any = self.fields["top_speed_kmh"]
        typed = str(self.data.get(self.add_prefix("top_speed_kmh"), "")).strip()
        if speed_kmh is not None and speed_kmh > MAX_UNASKED_KMH and field.unit == "mph" and is_plain(typed):
            raise forms.ValidationError(f"Add the unit: {typed} km/h or {typed} mph.")
        return None if speed_kmh is None else round(speed_kmh)

    def clean_vin(self) -> str:
        vin = read_vin(self.cleaned_data["vin"]).text if self.cleaned_data["vin"] else ""
        max_length = Bike._meta.get_field("vin").max_length or 0
        if len(vin) > max_length:
            raise forms.ValidationError(
                f"A VIN has at most {max_length} characters. This one has {len(vin)}."
            )
        other = Bike.objects.filter(vin=vin).exclude(pk=self.instance.pk).select_related("owner").first()
        if vin and other:
            raise forms.ValidationError(f"{other.owner}'s {other} already has this VIN.")
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
