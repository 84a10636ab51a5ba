"""Tables of a snapshot as CSV, in SI units; empty text where there is nothing to tell."""

from typing import Any

from workshop.csv_files import csv_text

CURVE_COLUMNS = (
    "power_kw",
    "power_kw_low",
    "power_kw_high",
    "torque_nm",
    "torque_nm_low",
    "torque_nm_high",
    "lambda",
)
CLEARANCE_COLUMNS = (
    "valve",
    "when",
    "range_low_mm",
    "range_high_mm",
    "target_mm",
    "clearance_from_mm",
    "clearance_to_mm",
    "verdict",
    "shim_mm",
)
RUN_COLUMNS = (
    "name",
    "kind",
    "made_at",
    "gear",
    "tune",
    "temperature_c",
    "pressure_kpa",
    "humidity_pct",
    "standard",
    "factor",
    "peak_power_kw",
    "peak_power_rpm",
    "peak_torque_nm",
    "peak_torque_rpm",
    "set_aside",
    "sha256",
)


def curves_csv(snapshot: dict[str, Any]) -> str:
    """Every mean curve with its 95 % band, side by side."""
    rows = []
    for comparison in snapshot["comparisons"]:
        curves = comparison["curves"]
        for side in ("before", "after") if curves else ():
            nothing = [None] * len(curves["engine_speed_rpm"])
            columns = [curves[side][name] or nothing for name in CURVE_COLUMNS]
            for speed, *values in zip(curves["engine_speed_rpm"], *columns, strict=True):
                rows.append([comparison["title"], side, speed, *values])
    return csv_text(["comparison", "side", "engine_speed_rpm", *CURVE_COLUMNS], rows) if rows else ""


def clearances_csv(snapshot: dict[str, Any]) -> str:
    rows = []
    for row in (snapshot["clearances"] or {}).get("rows", ()):
        for when in ("found", "left"):
            reading = row[when]
            if reading:
                values = [reading[name] for name in ("low_mm", "high_mm", "verdict", "shim_mm")]
                rows.append(
                    [row["label"], f"as {when}", row["low_mm"], row["high_mm"], row["target_mm"], *values]
                )
    header = [
        "valve",
        "when",
        "range_low_mm",
        "range_high_mm",
        "target_mm",
        "clearance_from_mm",
        "clearance_to_mm",
    ]
    return csv_text([*header, "verdict", "shim_mm"], rows) if rows else ""


def fuel_tables(snapshot: dict[str, Any]) -> dict[str, str]:
    """Fuel tables before and after, as they were pasted, by name of file."""
    tables = {}
    for order, study in enumerate(snapshot["mixture"], start=1):
        for when in ("before", "after"):
            table = study[f"fuel_table_{when}"]
            if table:
                tables[f"fuel-table-{order}-{when}.txt"] = table["text"]
    return tables


def runs_csv(snapshot: dict[str, Any]) -> str:
    rows = [[run[name] for name in RUN_COLUMNS] for run in snapshot["runs"]]
    return csv_text(RUN_COLUMNS, rows) if rows else ""
