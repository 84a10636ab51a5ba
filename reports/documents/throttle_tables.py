"""Throttle tables on papers: a table small enough to read, and the whole of it as CSV."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from jobs.calc.units.numbers import format_number
from jobs.models import ThrottleTable
from workshop.csv_files import csv_text

MOST_GRIPS, MOST_SPEEDS = 16, 11
COLUMNS = ("tune", "mode", "for_whom", "grip_pct", "engine_speed_rpm", "plate_pct")


def shown_places(count: int, most: int) -> list[int]:
    """Which of so many rows are shown, evenly spread, first and last always among them."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(int)).tolist()


def grid_facts(name: str, table: ThrottleTable) -> dict[str, Any]:
    """A table at the size of a page; ``thinned`` says how large the whole is where it is larger."""
    rows = shown_places(len(table.grip_pct), MOST_GRIPS)
    columns = shown_places(len(table.engine_speed_rpm), MOST_SPEEDS)
    is_whole = len(rows) == len(table.grip_pct) and len(columns) == len(table.engine_speed_rpm)
    return {
        "name": name,
        "speeds": [format_number(table.engine_speed_rpm[column]) for column in columns],
        "rows": [
            {
                "grip": f"{round(table.grip_pct[row], 1):g}",
                "cells": [shown(table.plate_pct[row][c]) for c in columns],
            }
            for row in rows
        ],
        "thinned": "" if is_whole else table.get_plate_pct_display(),
    }


def shown(plate_pct: float | None) -> str:
    return "–" if plate_pct is None else format_number(plate_pct, 1)


def plates_csv(tables: Iterable[ThrottleTable]) -> str:
    """Every point of every table, a row each; empty where there is none."""
    rows: list[Sequence[Any]] = [
        [table.revision.label, table.mode, table.for_whom, grip, speed, plate]
        for table in tables
        for grip, plates in table.rows
        for speed, plate in zip(table.engine_speed_rpm, plates, strict=True)
    ]
    return csv_text(COLUMNS, rows) if rows else ""
