"""Customers and their bikes."""

from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models, transaction
from django.db.models import Q

from workshop.models.base import Record
from workshop.models.personal_data import PersonalData
from workshop.models.search import Word, ids_or_subquery, index_words, matching_rows, suffixes, tokenise


class CustomerQuerySet(models.QuerySet["Customer"]):
    def matching(self, text: str) -> "CustomerQuerySet":
        """Find customers with each word in the name, email, phone or a bike's plate."""
        found = self
        for words in matching_rows(text, [FoundWord]):
            rows = FoundWord.objects.filter(words)
            own = rows.filter(customer__isnull=False).values_list("customer", flat=True)
            by_bike = rows.filter(bike__isnull=False, is_number=True).values_list("bike__owner", flat=True)
            found = found.filter(Q(pk__in=ids_or_subquery(own)) | Q(pk__in=ids_or_subquery(by_bike)))
        return found


class Customer(Record):
    class Experience(models.TextChoices):
        NOVICE = "novice", "novice"
        INTERMEDIATE = "intermediate", "intermediate"
        EXPERIENCED = "experienced", "experienced"
        RACER = "racer", "racer"

    class Language(models.TextChoices):
        ENGLISH = "en", "English"
        GERMAN = "de", "Deutsch"
        SPANISH = "es", "español"

    name = models.CharField(max_length=120)
    language = models.CharField(
        "language of what the shop sends", max_length=5, choices=Language, default=Language.ENGLISH
    )
    email = models.EmailField("e-mail", blank=True)
    phone = models.CharField(max_length=40, blank=True)
    experience = models.CharField("rider experience", max_length=20, choices=Experience, blank=True)
    riding_mass_kg = models.FloatField(
        "rider weight with gear (kg)",
        null=True,
        blank=True,
        validators=[MinValueValidator(30), MaxValueValidator(250)],
    )
    note = models.TextField(blank=True)
    erased_at = models.DateTimeField("personal data erased at", null=True, blank=True, editable=False)

    personal_data = PersonalData(
        customer="pk", cleared=("name", "email", "phone", "experience", "riding_mass_kg", "note")
    )
    objects = CustomerQuerySet.as_manager()

    class Meta:
        ordering = ("name", "pk")
        indexes = [models.Index(fields=["name"])]
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="customer_has_name")]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        with transaction.atomic():
            super().save(*args, **kwargs)
            self.index_words()

    def index_words(self) -> None:
        index_words(self.words, tokenise(self.name, self.email) | suffixes(self.phone))


class BikeQuerySet(models.QuerySet["Bike"]):
    def matching(self, text: str) -> "BikeQuerySet":
        """Find bikes with each word in make and model, plate, VIN or the owner's name or phone."""
        found = self
        for words in matching_rows(text, [FoundWord]):
            rows = FoundWord.objects.filter(words)
            own = rows.filter(bike__isnull=False).values_list("bike", flat=True)
            by_owner = rows.filter(customer__isnull=False).values_list("customer", flat=True)
            found = found.filter(Q(pk__in=ids_or_subquery(own)) | Q(owner__in=ids_or_subquery(by_owner)))
        return found


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
    top_speed_kmh = models.PositiveSmallIntegerField(
        "top speed by the bike's papers (km/h)",
        null=True,
        blank=True,
        validators=[MinValueValidator(20), MaxValueValidator(500)],
    )
    note = models.TextField(blank=True)

    # The VIN stays with the work done.
    personal_data = PersonalData(customer="owner", cleared=("plate",), free_text=("note",))
    objects = BikeQuerySet.as_manager()

    class Meta:
        ordering = ("make", "model", "pk")
        indexes = [
            models.Index(fields=["plate"]),
            models.Index(fields=["vin"]),
            models.Index(fields=["make", "model"]),
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(make="") & ~Q(model=""), name="bike_has_make_and_model"),
            models.UniqueConstraint(fields=["vin"], condition=~Q(vin=""), name="bike_vin_unique"),
        ]

    def __str__(self) -> str:
        return " ".join(str(part) for part in (self.make, self.model, self.year) if part)

    def save(self, *args: Any, **kwargs: Any) -> None:
        with transaction.atomic():
            super().save(*args, **kwargs)
            self.index_words()

    def index_words(self) -> None:
        numbers = tokenise(self.plate) | suffixes(self.plate, self.vin)
        index_words(self.words, numbers | tokenise(self.make, self.model))
        self.words.filter(word__in=numbers).update(is_number=True)


class FoundWord(Word):
    """A word by which a customer or a bike is found."""

    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, null=True, related_name="words")
    bike = models.ForeignKey(Bike, on_delete=models.CASCADE, null=True, related_name="words")
    is_number = models.BooleanField(default=False)  # of a plate or VIN, which finds the owner too
