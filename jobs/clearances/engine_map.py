"""The engine seen from above, and the order in which its valves are entered."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from jobs.clearances.valve_gaps import ValveGap, valve_gaps
from workshop.models import EngineSpec, Side


@dataclass(frozen=True)
class SideRow:
    side: str
    boxes: list[Any]


@dataclass(frozen=True)
class CylinderView:
    number: int
    sides: list[SideRow]  # from the front of the bike to its rear


@dataclass(frozen=True)
class BankView:
    name: str
    cylinders: list[CylinderView]


BANK_NAMES = {
    EngineSpec.Arrangement.V: ("front bank", "rear bank"),
    EngineSpec.Arrangement.BOXER: ("left side", "right side"),
}


def top_view(spec: EngineSpec, box_at: Callable[[ValveGap], Any]) -> list[BankView]:
    """Lay the engine out as in the bike, front upward, with the caller's box at each gap."""
    by_valve: dict[tuple[int, str], list[Any]] = {}
    for valve_gap in valve_gaps(spec):
        by_valve.setdefault((valve_gap.valve.cylinder, valve_gap.valve.side), []).append(box_at(valve_gap))
    names = BANK_NAMES.get(EngineSpec.Arrangement(spec.arrangement), ("",))
    banks = [BankView(name, []) for name in names]
    for cylinder in range(1, spec.cylinders + 1):
        sides = [SideRow(side, by_valve[cylinder, side]) for side in sides_from_front(spec, cylinder)]
        banks[spec.bank(cylinder)].cylinders.append(CylinderView(cylinder, sides))
    return [bank for bank in banks if bank.cylinders]


def entry_orders(spec: EngineSpec) -> dict[str, list[ValveGap]]:
    """Return the orders in which valves can be entered; firing order only if it is known."""
    drawn = [
        valve_gap
        for bank in top_view(spec, lambda valve_gap: valve_gap)
        for cylinder in bank.cylinders
        for side in cylinder.sides
        for valve_gap in side.boxes
    ]
    sides = list(Side)
    orders = {
        "cylinder": drawn,
        "side": sorted(drawn, key=lambda valve_gap: sides.index(Side(valve_gap.valve.side))),
    }
    fires = spec.firing_cylinders
    if len(fires) > 1:
        orders["firing"] = sorted(drawn, key=lambda valve_gap: fires.index(valve_gap.valve.cylinder))
    return orders


def sides_from_front(spec: EngineSpec, cylinder: int) -> tuple[str, str]:
    """Return the sides of a cylinder head, front side first.

    The rear bank of a V is turned round: its intake faces that of the front bank across the valley.
    """
    turned = spec.arrangement == EngineSpec.Arrangement.V and spec.bank(cylinder) == 1
    intake_ahead = spec.intake_at_front != turned
    return (Side.INTAKE, Side.EXHAUST) if intake_ahead else (Side.EXHAUST, Side.INTAKE)
