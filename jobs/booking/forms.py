"""The booking form: bike, customer, request and agreed work, saved as one job."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django import forms
from django.utils import timezone

from jobs.booking.book import book_job
from jobs.calc.units.numbers import format_number
from jobs.job.fields import LinesField
from jobs.job.forms import JobForm
from jobs.models import Job, Slot, Wish, WorkItem, WorkPlace
from jobs.models.wish import MAX_WISH_LENGTH
from jobs.planner.forms import FIRST, SECOND, SlotForm
from jobs.planner.opening_hours import OpeningHours
from jobs.planner.slots import MAX_LENGTH
from jobs.search.find import add_last_jobs, find_bikes, find_customers
from workshop.customers.duplicates import (
    KnownBike,
    KnownCustomer,
    find_known_bikes,
    find_known_customers,
)
from workshop.customers.forms import BikeForm, CustomerForm
from workshop.models import Bike, Customer, StaffMember
from workshop.records.fields import FloatNumberField, NumberField
from workshop.units.display import format_plain

MAX_CHOICES = 12
WORK_ROWS = 4
KNOWN_ALREADY = (
    "This may already be recorded. Choose the existing entry below the fields, or choose “None of these”."
)


class PickForm(forms.Form):
    """One record picked by text, or by a choice among its matches.

    ``choices`` holds what the page offers: the record chosen already, or the matches.
    """

    text = forms.CharField(required=False, max_length=100)
    chosen = forms.IntegerField(required=False, widget=forms.HiddenInput)
    picked: Any = None
    choices: Sequence[Any] = ()
    what = "record"
    none_of_these = False  # whether every match was declined

    def __init__(self, *args: Any, instead: bool = False, **kwargs: Any) -> None:
        """Set up the form; with ``instead`` a new record was entered, so none need be picked."""
        super().__init__(*args, **kwargs)
        self.fields["text"].label = self.what
        self.instead = instead

    def find(self, text: str) -> Any:
        raise NotImplementedError

    def get(self, pk: int) -> Any:
        raise NotImplementedError

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        pk, text = cleaned.get("chosen"), cleaned.get("text", "")
        self.none_of_these = pk is None and self.add_prefix("chosen") in self.data
        if pk is not None:
            self.take(self.get(pk))
        elif not self.instead:
            self.take_by_text(text)
        return cleaned

    def take(self, record: Any) -> None:
        if record is None:
            self.add_error("text", f"This {self.what} has been deleted. Search again.")
        elif self.instead:
            self.choices = [record]
            self.add_error(
                "text",
                f"You chose an existing {self.what} and also entered a new one below. "
                f"Choose “add a new {self.what}” here, or clear the fields below.",
            )
        else:
            self.picked, self.choices = record, [record]

    def take_by_text(self, text: str) -> None:
        if not text:
            self.add_error("text", f"Find a {self.what} or enter a new one below.")
            return
        self.choices = list(self.find(text)[:MAX_CHOICES])
        if not self.choices:
            self.add_error("text", f"No {self.what} found for “{text}”. Enter it as a new {self.what} below.")
        elif self.none_of_these:
            self.add_error("text", f"Enter the new {self.what} below, or choose an existing one here.")
        elif len(self.choices) > 1:
            self.add_error("text", f"More than one {self.what} matches “{text}”. Choose one.")
        else:
            self.picked = self.choices[0]


class PickBikeForm(PickForm):
    what = "bike"

    def find(self, text: str) -> Any:
        return add_last_jobs(find_bikes(text)[:MAX_CHOICES])

    def get(self, pk: int) -> Bike | None:
        return next(iter(add_last_jobs(Bike.objects.select_related("owner").filter(pk=pk))), None)


class PickCustomerForm(PickForm):
    what = "customer"

    def find(self, text: str) -> Any:
        return find_customers(text)

    def get(self, pk: int) -> Customer | None:
        return Customer.objects.filter(pk=pk).first()


class NewBikeForm(BikeForm):
    """The few fields of a new bike at booking; the rest is entered on the bike's own page."""

    SHOWN = ("make", "model", "year", "plate", "vin", "engine_spec")
    GROUPS = (("", SHOWN),)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in [name for name in self.fields if name not in (*self.SHOWN, "version")]:
            del self.fields[name]


class NewCustomerForm(CustomerForm):
    GROUPS = (("", ("name", "phone", "email", "riding_mass_kg")),)

    class Meta(CustomerForm.Meta):
        fields = ["name", "phone", "email", "riding_mass_kg"]


class WorkRowForm(forms.Form):
    description = forms.CharField(label="Work", max_length=200, required=False)
    price = NumberField(
        label="Price", min_value=0, max_digits=10, decimal_places=2, required=False, thousandths=False
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("price") is not None and not cleaned.get("description"):
            self.add_error("description", "Describe the work for this price.")
        return cleaned


WorkRows = forms.formset_factory(WorkRowForm, extra=WORK_ROWS, max_num=40, absolute_max=40)


class WishesForm(forms.Form):
    """The customer's wishes, one a line; without any, the request stays one."""

    wishes = LinesField(
        label="Wishes, one per line",
        required=False,
        max_line_length=MAX_WISH_LENGTH,
        help_text="Each gets its own answer on the sheet. Example: “Valves are due.”",
    )


class RiderForm(forms.Form):
    experience = forms.ChoiceField(
        label="Rider experience",
        required=False,
        choices=[("", "no change"), *Customer.Experience.choices],
    )


class ReserveForm(forms.Form):
    """A workstation reserved from the time of the drop-off on; none unless a workstation is chosen."""

    place = forms.ModelChoiceField(
        WorkPlace.objects.filter(retired=False),
        label="Reserve from drop-off",
        required=False,
        empty_label="nothing yet",
    )
    hours = FloatNumberField(
        label="Hours", required=False, initial=2, min_value=0.25, max_value=MAX_LENGTH / timedelta(hours=1)
    )

    def reserve(self, job: JobForm, opening_hours: OpeningHours) -> Slot | None:
        """Return the slot, with the questions and errors of a slot at the fields of the booking."""
        place, hours = self.cleaned_data.get("place"), self.cleaned_data.get("hours")
        drop_off = job.cleaned_data.get("booked_for")
        if place is None or self.errors or ("booked_for" in job.errors and drop_off is None):
            return None
        if drop_off is None:
            job.add_error("booked_for", f"The {place} is reserved from the drop-off time. Enter that time.")
            return None
        local = timezone.localtime(drop_off)
        slot = Slot()
        form = SlotForm(
            {
                "place": str(place.pk),
                "day": f"{local:%Y-%m-%d}",
                "clock": f"{local:%H:%M}",
                "which": SECOND if local.fold else FIRST,
                "hours": "" if hours is None else format_plain(hours),
                "anyway": "on",
            },
            slot=slot,
            opening_hours=opening_hours,
        )
        for name, sentences in form.errors.items():
            for sentence in sentences:
                (self if name == "hours" else job).add_error(
                    "hours" if name == "hours" else "booked_for", str(sentence)
                )
        if form.question and "booked_for" not in job.time_questions:
            job.ask_about_time("booked_for", form.question)
        return slot


def take_known(data: Any, answer: str) -> Any:
    """Return the data with a known bike or customer chosen in place of the one typed as new."""
    kind, _, pk = answer.partition("-")
    if kind not in ("bike", "customer") or not pk:
        return data
    replaced = ("bike-", "customer-", "whose-") if kind == "bike" else ("customer-",)
    taken = data.copy()
    for name in [name for name in taken if name.startswith(replaced)]:
        del taken[name]
    taken["which-chosen" if kind == "bike" else "whose-chosen"] = pk
    return taken


class Booking:
    """The forms of the booking page as one."""

    def __init__(self, data: Any = None, *, opening_hours: OpeningHours, bike: Bike | None = None) -> None:
        self.known_answer = data.get("known", "") if data else ""
        self.known_bikes: Sequence[KnownBike] = ()
        self.known_customers: Sequence[KnownCustomer] = ()
        data = take_known(data, self.known_answer)
        self.opening_hours = opening_hours
        self.job = JobForm(data, prefix="job", outside_hours=opening_hours.outside_hours_message)
        self.wishes = WishesForm(data)
        self.reserve = ReserveForm(data, prefix="slot")
        self.slot: Slot | None = None
        self.rider = RiderForm(data)
        self.work = WorkRows(data, prefix="work")
        self.new_bike = NewBikeForm(data, prefix="bike")
        self.new_customer = NewCustomerForm(data, prefix="customer")
        self.is_new_bike = self._typed(data, "bike", NewBikeForm.SHOWN)
        self.is_new_customer = self._typed(data, "customer", NewCustomerForm.Meta.fields)
        self.pick_bike = PickBikeForm(data, prefix="which", instead=self.is_new_bike)
        self.pick_customer = PickCustomerForm(data, prefix="whose", instead=self.is_new_customer)
        if bike is not None:
            self.pick_bike.choices, self.pick_bike.picked = add_last_jobs([bike]), bike

    @staticmethod
    def _typed(data: Any, prefix: str, names: Sequence[str]) -> bool:
        return any((data.get(f"{prefix}-{name}") or "").strip() for name in names) if data else False

    @property
    def used(self) -> list[Any]:
        """Return the forms that this submission uses."""
        used = [self.pick_bike, self.rider, self.job, self.wishes, self.reserve]
        if self.is_new_bike:
            used += [self.new_bike, self.pick_customer]
        if self.is_new_bike and self.is_new_customer:
            used.append(self.new_customer)
        return used

    def is_valid(self) -> bool:
        # Validate all forms, so that every error is shown at once.
        valid = [form.is_valid() for form in (*self.used, self.work)]
        self.slot = self.reserve.reserve(self.job, self.opening_hours)
        valid += [self.job.is_valid(), self.reserve.is_valid(), self.is_new_or_confirmed()]
        if self.is_new_customer and not self.is_new_bike:
            self.pick_bike.add_error(
                "text",
                "You entered a new customer without a bike. Enter the bike, or clear the customer's name.",
            )
            return False
        return all(valid) and self.is_within_limit()

    def is_new_or_confirmed(self) -> bool:
        """Return False, with an error, if the new bike or customer seems to be known already."""
        if self.is_new_bike and self.new_bike.is_valid():
            self.known_bikes = find_known_bikes(self.new_bike.cleaned_data["plate"])
        if self.is_new_bike and self.is_new_customer and self.new_customer.is_valid():
            typed = self.new_customer.cleaned_data
            self.known_customers = find_known_customers(
                name=typed["name"], phone=typed["phone"], email=typed["email"]
            )
        if self.known_answer == "new":
            return True
        if self.known_bikes:
            self.new_bike.add_error("plate", KNOWN_ALREADY)
        if self.known_customers:
            self.new_customer.add_error("name", KNOWN_ALREADY)
        return not (self.known_bikes or self.known_customers)

    def is_within_limit(self) -> bool:
        """Return True if the agreed work fits the authorised amount, if both were entered."""
        authorised = self.job.cleaned_data["authorised_amount"]
        agreed = sum(row.cleaned_data.get("price") or 0 for row in self.work)
        if authorised is None or agreed <= authorised:
            return True
        self.job.add_error(
            "authorised_amount",
            f"The agreed work adds up to {format_number(agreed, 2)}, "
            f"{format_number(agreed - authorised, 2)} over the customer's limit. "
            "Ask the customer, then change the prices or the limit.",
        )
        return False

    @property
    def opens_new_bike(self) -> bool:
        return self.is_new_bike or self.is_new_customer or self.pick_bike.none_of_these

    @property
    def opens_new_customer(self) -> bool:
        return self.is_new_customer or self.pick_customer.none_of_these

    @property
    def vin_hint(self) -> str | None:
        """Return a warning about a new bike's VIN, or ""."""
        return self.new_bike.vin_hint if self.is_new_bike else None

    @property
    def problems(self) -> list[tuple[str, forms.BoundField]]:
        """List the fields with errors and their names; one of the agreed work names its line."""
        if not self.job.is_bound:
            return []
        fields = [(field.label, field) for form in self.used for field in form]
        for number, row in enumerate(self.work, start=1):
            fields += [(f"{field.label}, line {number}", field) for field in row]
        return [(name, field) for name, field in fields if field.errors]

    def bike(self) -> Bike:
        if not self.is_new_bike:
            return self.pick_bike.picked
        bike = self.new_bike.save(commit=False)
        new = self.is_new_customer
        bike.owner = self.new_customer.save(commit=False) if new else self.pick_customer.picked
        return bike

    def book(self, by: StaffMember) -> Job | None:
        """Save all, or return None with an error if somebody took the workstation at the same moment."""
        rows = [row.cleaned_data for row in self.work if row.cleaned_data.get("description")]
        try:
            return book_job(
                job=self.job.save(commit=False),
                bike=self.bike(),
                by=by,
                experience=self.rider.cleaned_data["experience"],
                slot=self.slot,
                work=[WorkItem(description=row["description"], price=row["price"]) for row in rows],
                wishes=[Wish(text=text) for text in self.wishes.cleaned_data["wishes"]],
            )
        except ValueError as problem:
            self.job.add_error("booked_for", str(problem))
            return None
