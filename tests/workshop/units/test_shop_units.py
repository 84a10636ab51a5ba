"""The shop's unit for each quantity."""

import pytest

from workshop.models import ShopProfile
from workshop.units.shop_units import shop_unit


@pytest.mark.parametrize(
    ("choices", "quantity", "unit"),
    [
        ({"power_unit": "ps"}, "power", "ps"),
        ({"length_unit": "in"}, "clearance", "in"),
        ({"length_unit": "in"}, "shim", "in"),
        ({"distance_unit": "km"}, "speed", "kmh"),
        ({"distance_unit": "mi"}, "speed", "mph"),
        ({"distance_unit": "km"}, "road_length", "m"),
        ({"distance_unit": "mi"}, "road_length", "ft"),
        ({"pressure_unit": "kpa"}, "tyre_pressure", "kpa"),
        ({"pressure_unit": "mbar"}, "tyre_pressure", "bar"),
        ({"pressure_unit": "inhg"}, "tyre_pressure", "psi"),
        ({"pressure_unit": "kpa"}, "gauge_pressure", "kpag"),
        ({"pressure_unit": "mbar"}, "gauge_pressure", "barg"),
        ({"pressure_unit": "inhg"}, "gauge_pressure", "psig"),
        ({"pressure_unit": "mbar"}, "manifold_pressure", "mbar"),
        ({"pressure_unit": "inhg"}, "manifold_pressure", "kpa"),
    ],
)
def test_unit_follows_the_choice_of_the_shop(choices: dict[str, str], quantity: str, unit: str) -> None:
    assert shop_unit(ShopProfile(**choices), quantity) == unit


def test_quantity_without_a_choice_keeps_its_storage_unit() -> None:
    assert shop_unit(ShopProfile(), "spring_rate") == "n_per_mm"
    assert shop_unit(ShopProfile(), "time", stored_in="ms") == "ms"
    with pytest.raises(ValueError, match="not a quantity"):
        shop_unit(ShopProfile(), "beauty")
