"""Speed by gear at the rev limit, and the speed limit of the rear tyre."""

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc.chassis.gearing import (
    Z_SPEED_KMH,
    TyreSize,
    final_ratio,
    overall_ratio,
    parse_tyre_size,
    road_speed_kmh,
    symbol_speed_kmh,
    tyre_allows_speed,
)
from jobs.models import SuspensionSetting
from jobs.tunes.set_speeds import SetSpeed
from workshop.models import Bike


@dataclass(frozen=True)
class Gear:
    number: int
    speeds_kmh: list[float]  # one per pair of sprockets


@dataclass(frozen=True)
class GearSpeeds:
    """Speeds at the rev limit; sprockets are (front, rear) in the order recorded."""

    engine_speed_rpm: int
    sprockets: list[tuple[int, int]]
    gears: list[Gear]

    @property
    def change_pct(self) -> float | None:
        """Speed change from the first pair of sprockets to the last, in every gear."""
        if len(self.sprockets) < 2:
            return None
        first, last = (final_ratio(*pair) for pair in (self.sprockets[0], self.sprockets[-1]))
        return 100 * (first / last - 1)


def rear_tyre(bike: Bike) -> TyreSize | None:
    return parse_tyre(bike, "rear")


def parse_tyre(bike: Bike, end: str) -> TyreSize | None:
    """Return the tyre of the bike, or else of its engine's entry; None if its size cannot be read."""
    name = f"{end}_tyre"
    text = getattr(bike, name) or getattr(bike.engine_spec, name, "")
    try:
        return parse_tyre_size(text) if text else None
    except ValueError:
        return None


def effective_sprockets(bike: Bike) -> tuple[int | None, int | None]:
    """Return the sprockets of the bike, or else those of its engine spec."""
    spec = bike.engine_spec
    front = bike.front_sprocket or (spec.front_sprocket if spec else None)
    rear = bike.rear_sprocket or (spec.rear_sprocket if spec else None)
    return front, rear


def sprockets_used(bike: Bike, settings: Sequence[SuspensionSetting]) -> list[tuple[int, int]]:
    """Return the recorded pairs of sprockets in order, or else the bike's own pair."""
    own_front, own_rear = effective_sprockets(bike)
    pairs: list[tuple[int, int]] = []
    for setting in settings:
        front, rear = setting.front_sprocket or own_front, setting.rear_sprocket or own_rear
        is_read = setting.front_sprocket or setting.rear_sprocket
        if is_read and front and rear and (not pairs or pairs[-1] != (front, rear)):
            pairs.append((front, rear))
    if not pairs and own_front and own_rear:
        pairs.append((own_front, own_rear))
    return pairs


def gear_speeds(
    bike: Bike, settings: Sequence[SuspensionSetting], limit: SetSpeed | None
) -> GearSpeeds | None:
    """Return the speed by gear at the rev limit, or None if ratios, rev limit or tyre are missing."""
    spec, tyre, pairs = bike.engine_spec, rear_tyre(bike), sprockets_used(bike, settings)
    if spec is None or tyre is None or not (pairs and spec.gear_ratios):
        return None
    primary = spec.primary_ratio
    if not primary or limit is None:
        return None
    limit_rpm = round(limit.rpm)
    circumference_mm = tyre.rolling_circumference_mm

    def speed_kmh(ratio: float, pair: tuple[int, int]) -> float:
        overall = overall_ratio(primary, ratio, final_ratio(*pair))
        return float(road_speed_kmh(float(limit_rpm), overall, circumference_mm))

    gears = [
        Gear(number, [speed_kmh(ratio, pair) for pair in pairs])
        for number, ratio in enumerate(spec.gear_ratios, 1)
    ]
    return GearSpeeds(limit_rpm, pairs, gears)


@dataclass(frozen=True)
class TyreVerdict:
    """Speed symbol of the rear tyre against the speed reachable on the dyno."""

    symbol: str
    allowed_kmh: int
    top_kmh: float | None = None
    top_gear: int | None = None
    holds: bool | None = None  # None if the dyno's speed is unknown
    stay_below_rpm: float | None = None
    limit: SetSpeed | None = None  # the rev limit that the speed rests on


def tyre_limit_kmh(tyre: TyreSize | None) -> int | None:
    """Return the speed that a tyre's symbol promises [km/h]; None without a known symbol."""
    symbol = tyre.speed_symbol if tyre else None
    try:
        return Z_SPEED_KMH if symbol == "Z" else symbol_speed_kmh(symbol) if symbol else None
    except ValueError:
        return None


def check_tyre_speed(
    bike: Bike, settings: Sequence[SuspensionSetting], limit: SetSpeed | None
) -> TyreVerdict | None:
    """Check the tyre's speed symbol; return None if its size names no symbol."""
    tyre = rear_tyre(bike)
    symbol = tyre.speed_symbol if tyre else None
    allowed = tyre_limit_kmh(tyre)
    if not symbol or allowed is None:
        return None
    speeds = gear_speeds(bike, settings, limit)
    if speeds is None:
        return TyreVerdict(symbol, allowed)
    top = speeds.gears[-1]
    top_kmh = top.speeds_kmh[-1]
    if tyre_allows_speed(symbol, top_kmh):
        return TyreVerdict(symbol, allowed, top_kmh, top.number, True, limit=limit)
    stay_below_rpm = speeds.engine_speed_rpm * allowed / top_kmh
    return TyreVerdict(symbol, allowed, top_kmh, top.number, False, stay_below_rpm, limit)
