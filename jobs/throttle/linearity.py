"""How straight plate and torque are over the grip, in each mode of a tune."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from jobs.calc.throttle.tables import Linearity, TorqueByGrip, lookup_plate, measure_linearity
from jobs.calc.units.numbers import format_number
from jobs.tunes.throttle_tables import TableReview

HEADER = (
    "mode",
    "engine speed (rpm)",
    "over the grip",
    "largest deviation (% of span)",
    "at grip (%)",
    "rms deviation (% of span)",
    "from grip (%)",
    "to grip (%)",
)


@dataclass(frozen=True)
class LinearityRow:
    """Linearity of plate or torque over the grip in one mode at one engine speed; None if not known."""

    mode: str
    engine_speed_rpm: float
    quantity: str
    result: Linearity | None

    @property
    def text(self) -> str:
        if self.result is None:
            return "not measured over enough of the grip"
        largest, rms = format_number(self.result.largest_pct, 1, signed=True), self.result.rms_pct
        ends = (format_number(end) for end in (self.result.from_grip_pct, self.result.to_grip_pct))
        return (
            f"{largest} % from the line at {format_number(self.result.at_grip_pct)} % grip, "
            f"{format_number(rms, 1)} % on average ({' to '.join(ends)} % grip)"
        )


def linearity_rows(
    tables: Mapping[str, TableReview], torques: Mapping[str, TorqueByGrip], speeds: Sequence[float]
) -> list[LinearityRow]:
    """Return plate, then torque of each mode at each engine speed that its table holds."""
    rows = []
    for mode, review in tables.items():
        throttle_map = review.throttle_map
        if throttle_map is None:
            continue
        for rpm in speeds:
            plate = lookup_plate(throttle_map, throttle_map.grip_pct, rpm)
            rows.append(LinearityRow(mode, rpm, "plate", measure_linearity(throttle_map.grip_pct, plate)))
            found = torques.get(mode)
            if found is not None and rpm in found.engine_speed_rpm:
                at = found.engine_speed_rpm.tolist().index(rpm)
                result = measure_linearity(found.grip_pct, found.torque_nm[:, at])
                rows.append(LinearityRow(mode, rpm, "torque", result))
    return rows


def csv_rows(rows: Sequence[LinearityRow]) -> Iterator[list[Any]]:
    for row in rows:
        if row.result:
            result = row.result
            figures = (result.largest_pct, result.at_grip_pct, result.rms_pct)
            ends = (result.from_grip_pct, result.to_grip_pct)
            yield [row.mode, row.engine_speed_rpm, row.quantity, *(round(v, 2) for v in (*figures, *ends))]
