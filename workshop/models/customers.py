"""Customers and their bikes."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q, Value
from django.db.models.functions import Concat

from workshop.models.base import Record
from workshop.models.search import containing, squeeze, squeezed


class CustomerQuerySet(models.QuerySet["Customer"]):
    def matching(self, text: str) -> "CustomerQuerySet":
        """Customers whose name, e-mail, phone or a bike's plate holds the text."""
        found = self.annotate(bare_phone=squeezed("phone"))
        by_own = containing(text, "name", "email", "phone")
        bare = squeeze(text)
        if not bare:
            return found.filter(by_own)
        plates = Bike.objects.annotate(bare_plate=squeezed("plate")).filter(
            containing(bare, "bare_plate"), owner=OuterRef("pk")
        )
        return found.filter(by_own | containing(bare, "bare_phone") | Exists(plates))


class Customer(Record):
    class Experience(models.TextChoices):
        NOVICE = "novice", "novice"
        INTERMEDIATE = "intermediate", "intermediate"
        EXPERIENCED = "experienced", "experienced"
        RACER = "racer", "racer"

    name = models.CharField(max_length=120)
    email = models.EmailField("e-mail", blank=True)
    phone = models.CharField(max_length=40, blank=True)
    experience = models.CharField("rider experience", max_length=20, choices=Experience, blank=True)
    riding_mass_kg = models.FloatField(
        "mass in riding kit (kg)",
        null=True,
        blank=True,
        validators=[MinValueValidator(30), MaxValueValidator(250)],
    )
    note = models.TextField(blank=True)

    objects = CustomerQuerySet.as_manager()

    class Meta:
        ordering = ("name", "pk")
        indexes = [models.Index(fields=["name"])]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="customer_has_name")]

    def __str__(self) -> str:
        return self.name


class BikeQuerySet(models.QuerySet["Bike"]):
    def matching(self, text: str) -> "BikeQuerySet":
        """Bikes whose make and model, plate or VIN holds the text."""
        found = self.annotate(bare_plate=squeezed("plate"), full_name=Concat("make", Value(" "), "model"))
        by_name = containing(text, "full_name")
        bare = squeeze(text)
        return found.filter(by_name | containing(bare, "bare_plate", "vin") if bare else by_name)


class Bike(Record):
    owner = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="bikes")
    make = models.CharField(max_length=60)
    model = models.CharField(max_length=80)
    year = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1900), MaxValueValidator(2100)]
    )
    vin = models.CharField("VIN", max_length=17, blank=True)
    plate = models.CharField(max_length=20, blank=True)
    engine_spec = models.ForeignKey(
        "workshop.EngineSpec", on_delete=models.PROTECT, related_name="bikes", null=True, blank=True
    )
    front_sprocket = models.PositiveSmallIntegerField("front sprocket (teeth)", null=True, blank=True)
    rear_sprocket = models.PositiveSmallIntegerField("rear sprocket (teeth)", null=True, blank=True)
    front_tyre = models.CharField("front tyre size", max_length=30, blank=True)
    rear_tyre = models.CharField("rear tyre size", max_length=30, blank=True)
    note = models.TextField(blank=True)

    objects = BikeQuerySet.as_manager()

    class Meta:
        ordering = ("make", "model", "pk")
        indexes = [models.Index(fields=["plate"]), models.Index(fields=["vin"])]
        constraints = [
            models.CheckConstraint(condition=~Q(make="") & ~Q(model=""), name="bike_has_make_and_model"),
            models.UniqueConstraint(fields=["vin"], condition=~Q(vin=""), name="bike_vin_unique"),
        ]

    def __str__(self) -> str:
        return " ".join(str(part) for part in (self.make, self.model, self.year) if part)
