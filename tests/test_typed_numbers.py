"""Every form: what is typed with a mark of thousands is understood or asked, never a thousand times off."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.tables.pasted_table import parse_table
from jobs.calc.throttle.tables import ThrottleMap
from jobs.clearances.form_boxes import parse_gap
from jobs.job.fields import InShopUnits, quantity_field
from jobs.mixture.forms import MixtureStudyForm, TargetField
from jobs.models import Job
from jobs.runs.forms import SweepForm
from tests.factories import make_job
from tests.product_forms import product_forms
from workshop.engines.gear_ratios import GearRatiosField
from workshop.models import Role
from workshop.records.fields import FloatNumberField, NumberMixin, WholeNumberField
from workshop.units.display import decimals

TYPED = ("12,345", "12.345", "1,234.5", "1.234,5", "1 234", "14'210", "1.430", "2,475", "150,000")
# What a person means in each field, by the end of its name. Rule of thumb, no published source.
MEANT = {
    "odometer_km": (100, 2_000_000),
    "engine_hours": (100, 100_000),
    "riding_mass_kg": (30, 250),
    "mass_kg": (20, 999),
    "year": (1900, 2100),
    "price": (100, 1_000_000),
    "authorised_amount": (100, 1_000_000),
    "_sprocket": (5, 150),
    "cylinders": (1, 100_000),  # more than eight, or more than the engine has, is refused by the form
    "_valves": (1, 3),
    "gear": (1, 8),
    "grip": (0, 100),
    "keys": (0, 99),
    "order": (1000, 200_000),
    "count": (1000, 200_000),
    "quantity": (1000, 200_000),
    "position": (1, 99),
    "_line": (1000, 200_000),
    "link_days": (1, 3650),
    "fewest_dwells": (2, 50),
    "smoothing_width_rpm": (1000, 32_767),
    "_rpm": (1000, 200_000),
    "speed_rate_rpm_s": (1000, 5000),
    "check_interval_km": (1000, 200_000),
    "check_interval_hours": (1000, 200_000),
    "elevation_m": (-430, 5500),
    "_kmh": (1, 400),
    "temperature_c": (-30, 310),
    "pressure_kpa": (1, 1100),
    "_pct": (0, 100),
    "_error_pct": (0.1, 50),
    "reading": (1, 200_000),
    "true_value": (1, 200_000),
    "true_value_error": (1, 200_000),
    "_error_c": (0.1, 20),
    "_error_kpa": (0.01, 10),
    "grip_rate_pct_s": (0.1, 100),
    "file_factor": (0.5, 1.5),
    "_rate_n_per_mm": (0, 1000),
    "delay_ms": (0, 1000),
    "dead_time": (0, 5000),  # in the unit of the table, whichever that is
    "_dwell_s": (0.1, 60),
    "largest_half_width": (0.001, 0.5),
    "hours": (0.25, 16),
    "stoichiometric_afr": (1, 40),
    "drag_area_m2": (0, 3),
    "rotating_pct": (0, 60),
    "friction": (0.1, 2.5),
    "inertia_kgm2": (0, 999),
    "radius_m": (0, 2),
    "primary_ratio": (0.2, 10),
    "wheelbase_mm": (900, 2200),
    "mass_ahead_mm": (100, 2000),
    "mass_height_mm": (200, 1500),
    "diameter_mm": (1, 60),
    "thickness_mm": (0.5, 20),
    "thinnest_mm": (0.5, 9),
    "thickest_mm": (0.5, 9),
    "tolerance_mm": (0, 5),
    "_step_mm": (0, 5),
    "_pitch_mm": (0, 5),
    "_low_mm": (0, 5),
    "_high_mm": (0, 5),
    "_target_mm": (0, 5),
    "first": (1000, 200_000),
    "last": (1000, 200_000),
    "_mm": (0, 1000),  # of the suspension
}


def number_fields() -> Iterator[tuple[str, str, Any]]:
    for form in product_forms():
        for name, field in getattr(form, "base_fields", {}).items():
            if isinstance(field, NumberMixin):
                yield form.__name__, name, field


FIELDS = list(number_fields())
# The units that a shop can choose for a quantity.
UNITS = {
    "distance": ("km", "mi"),
    "temperature": ("c", "f"),
    "pressure": ("kpa", "mbar", "inhg"),
    "tyre_pressure": ("kpa", "bar", "psi"),
    "length": ("mm", "in"),
}


def fields_in_units_of_the_shop() -> Iterator[tuple[str, str, Any]]:
    for form in product_forms():
        for name, quantity in form.QUANTITIES.items() if issubclass(form, InShopUnits) else ():
            for unit in UNITS[quantity]:
                field = quantity_field(form._meta.model._meta.get_field(name), quantity)
                field.set_unit(unit)
                field.thousandths = decimals(quantity, unit) > 0
                yield f"{form.__name__} in {unit}", name, field


def meant(name: str) -> tuple[float, float]:
    """Return what a person means in a field, by the longest ending of its name."""
    return MEANT[max((end for end in MEANT if name.endswith(end)), key=len)]


def find_fault(name: str, field: Any, typed: str) -> str:
    """Return what a field made of a typed number if nobody can mean that, or ""."""
    low, high = meant(name)
    try:
        value = field.clean(typed)
    except ValidationError:
        return ""
    return "" if low <= float(value) <= high else f"{typed} became {value}"


def test_no_form_has_a_number_of_another_kind() -> None:
    others = [
        f"{form.__name__}.{name}"
        for form in product_forms()
        for name, field in getattr(form, "base_fields", {}).items()
        if isinstance(field, (forms.IntegerField, forms.FloatField, forms.DecimalField))
        and not isinstance(field, NumberMixin)
        and not field.widget.is_hidden
    ]
    assert others == []
    assert len(FIELDS) > 90


@pytest.mark.parametrize("typed", TYPED)
def test_no_number_is_silently_a_thousand_times_off(typed: str) -> None:
    fields = [*FIELDS, *fields_in_units_of_the_shop()]
    found = {f"{form}.{name}": find_fault(name, field, typed) for form, name, field in fields}
    assert {where: fault for where, fault in found.items() if fault} == {}


@pytest.mark.parametrize(
    ("unit", "typed", "mm"), [("mm", "0,127", "0.127"), ("mm", "1.250", "1.25"), ("thou", "4,500", "4.5")]
)
def test_gap_of_three_decimals_is_never_thousands(unit: str, typed: str, mm: str) -> None:
    assert parse_gap(typed, unit).figures == (Decimal(mm),)


@pytest.mark.parametrize(
    ("field", "typed", "read"),
    [
        (GearRatiosField(), "2,600 1.857 1,500", [2.6, 1.857, 1.5]),
        (TargetField(), "0.985 1,000", [0.985, 1.0]),
        (MixtureStudyForm.base_fields["rpm_axis"], "1,000; 2.000; 12'500", [1000, 2000, 12_500]),
        (MixtureStudyForm.base_fields["load_axis"], "2,500 10 100,000", [2.5, 10, 100]),
    ],
)
def test_list_of_numbers_is_understood_from_its_range(field: Any, typed: str, read: list[float]) -> None:
    assert field.clean(typed) == read
    assert field.clean(field.prepare_value(read)) == read


@pytest.mark.parametrize("field", [GearRatiosField(), TargetField()])
def test_list_of_numbers_asks_what_no_range_shows(field: Any) -> None:
    with pytest.raises(ValidationError, match="12,345 can mean"):
        field.clean("12,345")


@pytest.mark.parametrize("cell", ["38,125", "38.125"])
def test_throttle_table_of_three_decimals_is_read_beside_full_opening(cell: str) -> None:
    table = ThrottleMap.from_text(f"\t2000\t4000\n0\t0\t0\n50\t{cell}\t{cell}\n100\t100\t100\n")
    assert table.plate_pct.tolist() == [[0, 0], [38.125, 38.125], [100, 100]]


@pytest.mark.parametrize(
    ("rows", "unclear"),
    [
        ("0\t4,500\t4,650\n50\t6,500\t7,250\n", "4,500"),
        ("0\t4.500\t4.650\n50\t6.500\t7.250\n", "4.500"),
        ("0\t4,5000\t4,650\n50\t6,500\t7,250\n", ""),
        ("0\t4,500.0\t4,650\n50\t6,500\t7,250\n", ""),
        ("0\t0,985\t1,125\n50\t6,500\t7,250\n", ""),
        ("0\t985\t1,125\n50\t6,500\t7,250\n", ""),
    ],
)
def test_pasted_table_says_when_no_cell_shows_the_decimal_mark(rows: str, unclear: str) -> None:
    assert parse_table(f"\t2000\t4000\n{rows}").unclear == unclear


def sweep_form(limits_in: str, typed: str) -> Any:
    form = SweepForm({"limits_in": limits_in, "first": typed, "last": ""}, run=None)
    form.is_valid()
    return form


def test_sweep_limit_is_whole_in_speed_and_asked_in_seconds() -> None:
    assert sweep_form("engine_speed", "4,000").cleaned_data["first"] == 4000
    assert "can mean 4000 or 4.000" in str(sweep_form("time", "4,000").errors["first"])


@given(st.floats(0, 2000).map(lambda value: round(value, 3)))
@pytest.mark.parametrize(
    "field",
    [
        FloatNumberField(min_value=0, max_value=2_000_000, thousandths=False),
        FloatNumberField(min_value=0),
        FloatNumberField(min_value=900, max_value=2200),
        FloatNumberField(min_value=0, max_value=5),
    ],
)
def test_shown_number_is_read_again_as_the_same(field: Any, value: float) -> None:
    assert field.to_python(field.prepare_value(value)) == Decimal(str(value))


@pytest.mark.parametrize(
    ("typed", "count"), [("12,345", 12_345), ("4.000", 4000), ("14'210", 14_210), ("7", 7)]
)
def test_whole_number_is_read_with_a_mark_of_thousands(typed: str, count: int) -> None:
    assert WholeNumberField(min_value=0).clean(typed) == count


@pytest.mark.django_db
@pytest.mark.parametrize("typed", ["14,210", "14.210", "14'210", "14 210"])
def test_odometer_of_a_bike_not_seen_before_is_thousands(login: Any, typed: str) -> None:
    job = make_job()
    data = {"condition": "", "condition_marks": "[]", "odometer_km": typed, "fuel": "half", "keys": "1"}
    assert login(Role.DESK).post(reverse("job-receive", args=[job]), data).status_code == 302
    assert Job.objects.get().odometer_km == 14_210


@pytest.mark.django_db
def test_refused_number_stays_as_typed_with_its_cause(login: Any) -> None:
    job = make_job()
    page = login(Role.MECHANIC).post(reverse("part-add", args=[job]), {"name": "Oil", "quantity": "1,500"})
    assert page.status_code == 422
    text = page.content.decode()
    assert "1,500 can mean 1500 or 1.500. Type 1500, or 1.5000 for 1.500." in text
    assert 'value="1,500"' in text
