"""The shop's unit for each quantity: decided here and nowhere else."""

from decimal import Decimal
from typing import Protocol

from workshop.units.display import format_value, storage_unit


class UnitChoices(Protocol):
    """The units a shop has chosen: its profile, or those stored with an issued sheet."""

    @property
    def power_unit(self) -> str: ...
    @property
    def torque_unit(self) -> str: ...
    @property
    def pressure_unit(self) -> str: ...
    @property
    def temperature_unit(self) -> str: ...
    @property
    def length_unit(self) -> str: ...
    @property
    def distance_unit(self) -> str: ...


_CHOICES = {
    "power": "power_unit",
    "torque": "torque_unit",
    "pressure": "pressure_unit",
    "tyre_pressure": "pressure_unit",
    "gauge_pressure": "pressure_unit",
    "manifold_pressure": "pressure_unit",
    "temperature": "temperature_unit",
    "length": "length_unit",
    "clearance": "length_unit",
    "shim": "length_unit",
    "distance": "distance_unit",
    "road_length": "distance_unit",
    "speed": "distance_unit",
    "speed_rating": "distance_unit",
}
_FOLLOWS = {
    "road_length": {"km": "m", "mi": "ft"},
    "speed": {"km": "kmh", "mi": "mph"},
    "speed_rating": {"km": "kmh", "mi": "mph"},
    # The shop chooses the unit of its barometer; tyre gauges read in the unit that goes with it.
    "tyre_pressure": {"kpa": "kpa", "mbar": "bar", "inhg": "psi"},
    "gauge_pressure": {"kpa": "kpag", "mbar": "barg", "inhg": "psig"},
    # Common practice, no source: where barometers read inches of mercury, manifolds are logged in kPa.
    "manifold_pressure": {"inhg": "kpa"},
}


def shop_unit(shop: UnitChoices, quantity: str, stored_in: str | None = None) -> str:
    """Return the shop's unit for a quantity, or the unit it is stored in if the shop chooses none."""
    if quantity not in _CHOICES:
        return stored_in or storage_unit(quantity)
    chosen = str(getattr(shop, _CHOICES[quantity]))
    return _FOLLOWS.get(quantity, {}).get(chosen, chosen)


def format_for_shop(value: float | Decimal | None, quantity: str, shop: UnitChoices) -> str:
    """Write a stored value in the shop's unit."""
    return format_value(value, quantity, shop_unit(shop, quantity))
