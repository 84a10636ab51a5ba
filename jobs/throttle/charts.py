"""Charts of throttle tables."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from jobs.calc.throttle import tables as calc
from jobs.tunes.throttle_tables import Judged, Mode, judge


def chart_of(modes: Sequence[Mode], at_rpm: float) -> dict[str, Any]:
    """Plate by grip at one engine speed, a panel for each mode: its tables of all revisions."""
    return chart([panel(mode.name, curves(mode, at_rpm)) for mode in modes])


def curves(mode: Mode, at_rpm: float) -> list[dict[str, Any] | None]:
    """As received and in the bike, then whatever else was tried."""
    return [
        *(
            curve(name, "before" if judged is mode.received else "after", judged, at_rpm)
            for name, judged in mode.tables
        ),
        *(curve(table.revision.label, "other", judge(table), at_rpm) for table in mode.others),
    ]


def modes_chart_of(tables: Mapping[str, Judged], title: str, at_rpm: float) -> dict[str, Any] | None:
    """The modes of one revision over each other; None where there are not two."""
    if len(tables) < 2:
        return None
    return chart([panel(title, [curve(name, "other", each, at_rpm) for name, each in tables.items()])])


def chart(panels: list[dict[str, Any]]) -> dict[str, Any]:
    return {"x_label": "Grip", "x_unit": "%", "x_digits": 0, "panels": [p for p in panels if p["series"]]}


def panel(title: str, series: list[dict[str, Any] | None]) -> dict[str, Any]:
    return {
        "title": title,
        "y_label": "Throttle plate",
        "y_unit": "%",
        "digits": 1,
        "series": [each for each in series if each],
    }


def curve(label: str, state: str, judged: Judged, at_rpm: float) -> dict[str, Any] | None:
    if judged.read is None:
        return None
    plate = np.atleast_1d(calc.lookup_plate(judged.read, judged.read.grip_pct, at_rpm))
    return {
        "label": label,
        "state": state,
        "x": judged.read.grip_pct.tolist(),
        "y": [None if np.isnan(value) else round(float(value), 2) for value in plate],
    }
