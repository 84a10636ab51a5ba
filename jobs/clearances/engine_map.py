"""The engine seen from above, and the order in which its valves are entered."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from jobs.clearances.places import Place, places
from workshop.models import EngineSpec, Side


@dataclass(frozen=True)
class SideRow:
    side: str
    boxes: list[Any]


@dataclass(frozen=True)
class CylinderPicture:
    number: int
    sides: list[SideRow]  # from the front of the bike to its rear


@dataclass(frozen=True)
class BankPicture:
    name: str
    cylinders: list[CylinderPicture]


BANK_NAMES = {
    EngineSpec.Arrangement.V: ("front bank", "rear bank"),
    EngineSpec.Arrangement.BOXER: ("left side", "right side"),
}


def seen_from_above(spec: EngineSpec, box_at: Callable[[Place], Any]) -> list[BankPicture]:
    """Lay the engine out as in the bike, front upward, with the caller's box at each gap."""
    by_valve: dict[tuple[int, str], list[Any]] = {}
    for place in places(spec):
        by_valve.setdefault((place.valve.cylinder, place.valve.side), []).append(box_at(place))
    names = BANK_NAMES.get(EngineSpec.Arrangement(spec.arrangement), ("",))
    banks = [BankPicture(name, []) for name in names]
    for cylinder in range(1, spec.cylinders + 1):
        sides = [SideRow(side, by_valve[cylinder, side]) for side in sides_from_front(spec, cylinder)]
        banks[spec.bank(cylinder)].cylinders.append(CylinderPicture(cylinder, sides))
    return [bank for bank in banks if bank.cylinders]


def orders_of_moving_on(spec: EngineSpec) -> dict[str, list[Place]]:
    """Return the orders in which valves can be entered; firing order only if it is known."""
    drawn = [
        place
        for bank in seen_from_above(spec, lambda place: place)
        for cylinder in bank.cylinders
        for side in cylinder.sides
        for place in side.boxes
    ]
    sides = list(Side)
    orders = {
        "cylinder": drawn,
        "side": sorted(drawn, key=lambda place: sides.index(Side(place.valve.side))),
    }
    fires = spec.firing_cylinders
    if len(fires) > 1:
        orders["firing"] = sorted(drawn, key=lambda place: fires.index(place.valve.cylinder))
    return orders


def sides_from_front(spec: EngineSpec, cylinder: int) -> tuple[str, str]:
    """Return the sides of a cylinder head, front side first.

    The rear bank of a V is turned round: its intake faces that of the front bank across the valley.
    """
    turned = spec.arrangement == EngineSpec.Arrangement.V and spec.bank(cylinder) == 1
    intake_ahead = spec.intake_at_front != turned
    return (Side.INTAKE, Side.EXHAUST) if intake_ahead else (Side.EXHAUST, Side.INTAKE)
