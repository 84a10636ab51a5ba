"""Uncertainty of the peak power after the work as such, beside that of the difference."""

from dataclasses import dataclass

import numpy as np

from jobs.calc.dyno.air import STANDARDS
from jobs.calc.dyno.uncertainty import Budget, DynoErrors, power_budget
from jobs.calc.units.numbers import format_number
from jobs.comparisons.charts import difference_formatter
from jobs.comparisons.compare import ComparisonResult
from jobs.comparisons.sessions import number_sessions
from jobs.runs.results import get_air
from workshop.models import ShopProfile


@dataclass(frozen=True)
class BudgetRow:
    """One source of uncertainty as text: its standard uncertainty in % of power."""

    name: str
    basis: str
    standard_pct: str


@dataclass(frozen=True)
class AbsolutePower:
    """Peak power after the work with its uncertainty and where that comes from."""

    sentence: str
    rows: list[BudgetRow]
    missing: str


def dyno_errors(shop: ShopProfile) -> DynoErrors:
    return DynoErrors(
        temperature_c=shop.air_temperature_error_c,
        pressure_kpa=shop.air_pressure_error_kpa,
        humidity_pct=shop.humidity_error_pct,
        inertia_pct=shop.inertia_error_pct,
        slip_pct=shop.slip_error_pct,
        loss_pct=shop.loss_error_pct,
    )


def absolute_power(compared: ComparisonResult, shop: ShopProfile) -> AbsolutePower | None:
    """Return the peak power after the work with its uncertainty; None if the runs were not compared."""
    if compared.result is None:
        return None
    budget = find_budget(compared, shop)
    peak_kw = float(np.mean([f.curve.peak_power_kw for f in compared.after if f.curve]))
    show = difference_formatter("kW", shop)
    expanded = show(budget.expanded_pct / 100 * peak_kw)
    return AbsolutePower(
        sentence=(
            f"Peak power after, by itself: {show(peak_kw)} ± {expanded} (95 %, coverage factor "
            f"{format_number(budget.factor, 2)}, by JCGM 100)."
        ),
        rows=[
            BudgetRow(row.name, row.basis, f"{format_number(row.standard_pct, 2)} %") for row in budget.rows
        ],
        missing=(
            f"Not in it, because nobody stated how large they may be: {', '.join(budget.missing)}."
            if budget.missing
            else ""
        ),
    )


def find_budget(compared: ComparisonResult, shop: ShopProfile) -> Budget:
    runs = [f.run for f in compared.after]
    correction = compared.after[0].correction
    known = [key for key, standard in STANDARDS.items() if correction and standard == correction.standard]
    return power_budget(
        known[0] if known else shop.correction_standard,
        get_air(runs[0]) if known else None,
        dyno_errors(shop),
        compared.spread.peak,
        compared.spread.session,
        runs=len(runs),
        sessions=len(set(number_sessions(runs))),
    )
