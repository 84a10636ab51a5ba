"""The engine seen from above, and the order in which its valves are entered.

The layout follows the engine spec alone: banks, sides to the front, camshafts, valves per cylinder.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from jobs.clearances.valve_gaps import ValveGap, describe_limits, valve_gaps
from workshop.models import EngineSpec, ShopProfile, Side


@dataclass(frozen=True)
class SideRow:
    side: str
    boxes: list[Any]

    @property
    def centres(self) -> list[str]:
        """Return where the boxes are centred, in per cent of the cylinder's width."""
        return [f"{(number + 0.5) / len(self.boxes) * 100:.2f}%" for number in range(len(self.boxes))]


@dataclass(frozen=True)
class CylinderView:
    number: int
    sides: list[SideRow]  # from the front of the bike to its rear


@dataclass(frozen=True)
class BankView:
    name: str
    cylinders: list[CylinderView]


@dataclass(frozen=True)
class EngineView:
    """An engine from above, with something at each of its gaps, and what is written around it."""

    spec: EngineSpec
    banks: list[BankView]
    front_label: str
    rear_label: str
    valley_label: str  # between the heads of a V

    @property
    def is_v(self) -> bool:
        return self.spec.arrangement == EngineSpec.Arrangement.V

    @property
    def is_boxer(self) -> bool:
        return self.spec.arrangement == EngineSpec.Arrangement.BOXER

    @property
    def is_tall(self) -> bool:
        """Return True if valves are drawn in more than two rows, which leaves the room beside them."""
        return self.is_v or (self.is_boxer and max(len(bank.cylinders) for bank in self.banks) > 1)

    @property
    def columns(self) -> int:
        """Return how many boxes are beside each other in the widest bank."""
        widest = max(len(side.boxes) for bank in self.banks for c in bank.cylinders for side in c.sides)
        return widest * (2 if self.is_boxer else max(len(bank.cylinders) for bank in self.banks))


BANK_NAMES = {
    EngineSpec.Arrangement.V: ("front head", "rear head"),
    EngineSpec.Arrangement.BOXER: ("left head", "right head"),
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


def engine_view(spec: EngineSpec, shop: ShopProfile, box_at: Callable[[ValveGap], Any]) -> EngineView:
    """Return the engine from above with the caller's box at each gap, labelled with its ranges."""
    banks = top_view(spec, box_at)
    labels = {side: describe_side(spec, side, shop) for side in Side.values}
    first, last = banks[0].cylinders[0].sides, banks[-1].cylinders[0].sides
    is_v = spec.arrangement == EngineSpec.Arrangement.V
    return EngineView(
        spec, banks, labels[first[0].side], labels[last[-1].side], labels[first[-1].side] if is_v else ""
    )


def describe_side(spec: EngineSpec, side: str, shop: ShopProfile) -> str:
    """Return the ranges of a side, such as 'Intake 0.10 to 0.20 mm, target 0.16'."""
    gaps = [gap for gap in valve_gaps(spec) if gap.valve.side == side and gap.valve.position == 1]
    parts = [f"{gap.gap.value} {describe_limits(gap, shop)}" for gap in gaps[: len(spec.gaps)]]
    limits = "; ".join(parts) if spec.has_closing else describe_limits(gaps[0], shop)
    return f"{side.capitalize()} {limits}"


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
