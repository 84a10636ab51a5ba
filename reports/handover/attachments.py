"""Tables of a snapshot as CSV, in SI units; an empty text if there is no row."""

from collections.abc import Callable, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.clearances.facts import CLEARANCES
from jobs.mixture.facts import MIXTURE, MixtureFacts
from jobs.runs.facts import RUNS, RunFacts
from reports.handover.snapshot.schema import Snapshot
from reports.typesetting.pdf import AttachedText
from workshop.csv_files import csv_text

RUNS_DESCRIPTION = gettext_noop("Every run with its air, correction and peaks")
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
RUN_COLUMNS: dict[str, Callable[[RunFacts], object]] = {
    "name": lambda run: run.name,
    "kind": lambda run: run.kind,
    "made_at": lambda run: run.made_at,
    "gear": lambda run: run.gear,
    "tune": lambda run: run.tune,
    "temperature_c": lambda run: run.temperature_c,
    "pressure_kpa": lambda run: run.pressure_kpa,
    "humidity_pct": lambda run: run.humidity_pct,
    "standard": lambda run: run.standard,
    "factor": lambda run: run.factor,
    "peak_power_kw": lambda run: run.peak_power_kw,
    "peak_power_rpm": lambda run: run.peak_power_rpm,
    "peak_torque_nm": lambda run: run.peak_torque_nm,
    "peak_torque_rpm": lambda run: run.peak_torque_rpm,
    "set_aside": lambda run: run.set_aside,
    "sha256": lambda run: run.sha256,
}


def attached_tables(snapshot: Snapshot) -> dict[str, AttachedText]:
    """Return the values behind the sheet as text files by name."""
    return {
        "curves.csv": AttachedText(curves_csv(snapshot), _("Mean curves of comparisons, with 95 % bands")),
        "clearances.csv": AttachedText(clearances_csv(snapshot), _("Every clearance that was measured")),
        "runs.csv": AttachedText(runs_csv(snapshot.get(RUNS)), _(RUNS_DESCRIPTION)),
        **fuel_tables(snapshot.get(MIXTURE)),
    }


def curves_csv(snapshot: Snapshot) -> str:
    """Return every mean curve with its 95 % band, side by side."""
    rows = []
    for comparison in snapshot.comparisons:
        curves = comparison.curves
        if curves is None:
            continue
        for name, side in (("before", curves.before), ("after", curves.after)):
            columns = (
                side.power_kw,
                side.power_kw_low,
                side.power_kw_high,
                side.torque_nm,
                side.torque_nm_low,
                side.torque_nm_high,
                side.lambda_ or [None] * len(curves.engine_speed_rpm),
            )
            for speed, *values in zip(curves.engine_speed_rpm, *columns, strict=True):
                rows.append([comparison.title, name, speed, *values])
    return csv_text(["comparison", "side", "engine_speed_rpm", *CURVE_COLUMNS], rows) if rows else ""


def clearances_csv(snapshot: Snapshot) -> str:
    rows = []
    clearances = snapshot.get(CLEARANCES)
    for row in clearances.rows if clearances else ():
        for when, reading in (("as found", row.found), ("as left", row.left)):
            if reading:
                limits = (row.low_mm, row.high_mm, row.target_mm)
                values = (reading.low_mm, reading.high_mm, reading.verdict, reading.shim_mm)
                rows.append([row.label, when, *limits, *values])
    return csv_text(CLEARANCE_COLUMNS, rows) if rows else ""


def fuel_tables(studies: Sequence[MixtureFacts]) -> dict[str, AttachedText]:
    """Return the fuel tables before and after, as pasted, by file name."""
    tables = {}
    for order, study in enumerate(studies, start=1):
        both = {
            "before": (
                study.fuel_table_before,
                _("Fuel table before the corrections of mixture study %(number)s, as pasted"),
            ),
            "after": (
                study.fuel_table_after,
                _("Fuel table after the corrections of mixture study %(number)s, as pasted"),
            ),
        }
        for when, (table, text) in both.items():
            if table:
                described = text % {"number": order}
                tables[f"fuel-table-{order}-{when}.txt"] = AttachedText(table["text"], described)
    return tables


def runs_csv(runs: Sequence[RunFacts]) -> str:
    rows = [[value_of(run) for value_of in RUN_COLUMNS.values()] for run in runs]
    return csv_text(list(RUN_COLUMNS), rows) if rows else ""
