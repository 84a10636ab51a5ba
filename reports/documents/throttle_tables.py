"""Throttle tables in documents: a table small enough to read, and all of it as CSV."""

from typing import Any

import numpy as np

from jobs.calc.units.numbers import format_number
from jobs.models import ThrottleTable

MAX_GRIPS, MAX_SPEEDS = 16, 11


def evenly_spread(count: int, limit: int) -> list[int]:
    """Return at most ``limit`` indices out of ``count``, evenly spread, with the first and the last."""
    return np.unique(np.linspace(0, count - 1, min(count, limit)).round().astype(int)).tolist()


def grid_facts(name: str, table: ThrottleTable) -> dict[str, Any]:
    """Return a table that fits a page; ``thinned`` is the size of the whole if it is larger."""
    rows = evenly_spread(len(table.grip_pct), MAX_GRIPS)
    columns = evenly_spread(len(table.engine_speed_rpm), MAX_SPEEDS)
    is_whole = len(rows) == len(table.grip_pct) and len(columns) == len(table.engine_speed_rpm)
    return {
        "name": name,
        "speeds": [format_number(table.engine_speed_rpm[column]) for column in columns],
        "rows": [
            {
                "grip": f"{round(table.grip_pct[row], 1):g}",
                "cells": [format_plate(table.plate_pct[row][c]) for c in columns],
            }
            for row in rows
        ],
        "thinned": "" if is_whole else table.get_plate_pct_display(),
    }


def format_plate(plate_pct: float | None) -> str:
    return "–" if plate_pct is None else format_number(plate_pct, 1)
