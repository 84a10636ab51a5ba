"""Charts of throttle tables."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from jobs.calc.throttle import tables as calc
from jobs.tunes.throttle_tables import Mode, TableReview, review_table


def build_tables_chart(modes: Sequence[Mode], at_rpm: float) -> dict[str, Any]:
    """Chart the plate by grip at one engine speed, one panel per mode with all its tables."""
    return chart([panel(mode.name, curves(mode, at_rpm)) for mode in modes])


def curves(mode: Mode, at_rpm: float) -> list[dict[str, Any] | None]:
    """Return the curves as received and in the bike, then those of other tables tried."""
    return [
        *(
            curve(name, "before" if review is mode.received else "after", review, at_rpm)
            for name, review in mode.tables
        ),
        *(curve(table.revision.label, "other", review_table(table), at_rpm) for table in mode.others),
    ]


def build_modes_chart(tables: Mapping[str, TableReview], title: str, at_rpm: float) -> dict[str, Any] | None:
    """Chart the modes of one revision over each other, or None if there are fewer than two."""
    if len(tables) < 2:
        return None
    return chart([panel(title, [curve(name, "other", review, at_rpm) for name, review in tables.items()])])


def chart(panels: list[dict[str, Any]]) -> dict[str, Any]:
    return {"x_label": "Grip", "x_unit": "%", "x_digits": 0, "panels": [p for p in panels if p["series"]]}


def panel(title: str, series: list[dict[str, Any] | None]) -> dict[str, Any]:
    return {
        "title": title,
        "y_label": "Throttle plate",
        "y_unit": "%",
        "digits": 1,
        "series": [one_curve for one_curve in series if one_curve],
    }


def curve(label: str, state: str, review: TableReview, at_rpm: float) -> dict[str, Any] | None:
    if review.throttle_map is None:
        return None
    plate = np.atleast_1d(calc.lookup_plate(review.throttle_map, review.throttle_map.grip_pct, at_rpm))
    return {
        "label": label,
        "state": state,
        "x": review.throttle_map.grip_pct.tolist(),
        "y": [None if np.isnan(value) else round(float(value), 2) for value in plate],
    }
