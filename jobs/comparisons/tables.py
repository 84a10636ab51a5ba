"""Uncertainty of a peak power by itself, after the work or of a single run, beside that of a difference."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.calc.dyno.air import STANDARDS
from jobs.calc.dyno.spread import ShopSpread
from jobs.calc.dyno.uncertainty import Budget, DynoErrors, Verification, power_budget
from jobs.calc.units.numbers import format_number
from jobs.comparisons.charts import difference_formatter
from jobs.comparisons.compare import ComparisonResult
from jobs.comparisons.sessions import number_sessions
from jobs.comparisons.shop_spread import shop_spread
from jobs.runs.results import RunResult, get_air
from jobs.verification.error import last_verification
from workshop.models import ShopProfile

NOT_VERIFIED = gettext_noop("The dyno is not verified: no reading has a true value with its limits.")


@dataclass(frozen=True)
class BudgetRow:
    """One source of uncertainty as text: its standard uncertainty in % of power."""

    name: str
    basis: str
    standard_pct: str


@dataclass(frozen=True)
class AbsolutePower:
    """Peak power of some runs with its uncertainty and where that comes from."""

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
    return describe_power(_("Peak power after the work, on its own"), compared.after, compared.spread, shop)


def absolute_power_of_run(result: RunResult, shop: ShopProfile) -> AbsolutePower | None:
    """Return the peak power of a run with its uncertainty; None if it has no curve."""
    if result.curve is None:
        return None
    return describe_power(_("Peak power of this run"), [result], shop_spread(shop), shop)


def describe_power(
    title: str, results: Sequence[RunResult], spread: ShopSpread, shop: ShopProfile
) -> AbsolutePower:
    verification = last_verification()
    budget = find_budget(results, spread, shop, verification)
    peak_kw = float(np.mean([result.curve.peak_power_kw for result in results if result.curve]))
    show = difference_formatter("kW", shop)
    expanded = show(budget.expanded_pct / 100 * peak_kw)
    return AbsolutePower(
        sentence=_("%(title)s: %(power)s ± %(expanded)s (95 %%, coverage factor %(factor)s, by JCGM 100).")
        % {
            "title": title,
            "power": show(peak_kw),
            "expanded": expanded,
            "factor": format_number(budget.factor, 2),
        },
        rows=[
            BudgetRow(row.name, row.basis, f"{format_number(row.standard_pct, 2)} %") for row in budget.rows
        ],
        missing=" ".join(
            [
                _("Not included, because their limits are not entered: %(errors)s.")
                % {"errors": ", ".join(budget.missing)}
                if budget.missing
                else "",
                "" if verification else _(NOT_VERIFIED),
            ]
        ).strip(),
    )


def find_budget(
    results: Sequence[RunResult],
    spread: ShopSpread,
    shop: ShopProfile,
    verification: Verification | None,
) -> Budget:
    runs = [result.run for result in results]
    correction = results[0].correction
    known = [key for key, standard in STANDARDS.items() if correction and standard == correction.standard]
    return power_budget(
        known[0] if known else shop.correction_standard,
        get_air(runs[0]) if known else None,
        dyno_errors(shop),
        spread.peak,
        spread.session,
        runs=len(runs),
        sessions=len(set(number_sessions(runs))),
        verification=verification,
    )
