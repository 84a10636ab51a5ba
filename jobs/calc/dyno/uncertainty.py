"""Uncertainty of a power as such, not of a difference between two.

Errors that all runs share, such as that of the thermometer, cancel in a comparison and stay in the figure.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3.7 (rectangular limits), 5.1.2 and 5.1.4 (combined, numerical sensitivity), G.4
   (effective degrees of freedom), 7.2 (reporting).
.. [2] ISO 5725-3 (intermediate precision).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from jobs.calc.dyno.air import Air, correct
from jobs.calc.dyno.spread import RunSpread, SessionSpread
from jobs.calc.statistics import t_quantile
from jobs.calc.units.numbers import format_digits
from jobs.calc.wording import gettext as _
from jobs.calc.wording import ngettext

STEP = 0.01


@dataclass(frozen=True)
class DynoErrors:
    """Largest errors of what a power is made from; None if nobody stated one.

    Attributes
    ----------
    temperature_c, pressure_kpa, humidity_pct : float or None
        Of the air [K], [kPa], [% relative humidity].
    inertia_pct, slip_pct, loss_pct : float or None
        Of roller inertia or load cell, of slip, and of losses that were added [% of power].
    """

    temperature_c: float | None = None
    pressure_kpa: float | None = None
    humidity_pct: float | None = None
    inertia_pct: float | None = None
    slip_pct: float | None = None
    loss_pct: float | None = None


@dataclass(frozen=True)
class Verification:
    """Reading of a known power, torque or force.

    Attributes
    ----------
    mean_error_pct : float
        Mean of the readings against the true value [%].
    limit_pct : float
        Largest error of the true value [%].
    basis : str
        What was measured and when, in words.
    """

    mean_error_pct: float
    limit_pct: float
    basis: str


@dataclass(frozen=True)
class Contribution:
    """One source of uncertainty.

    Attributes
    ----------
    name : str
    basis : str
        Where it comes from, in words.
    standard_pct : float
        Standard uncertainty [% of power].
    df : float
        Degrees of freedom; infinite for a stated limit.
    """

    name: str
    basis: str
    standard_pct: float
    df: float


@dataclass(frozen=True)
class Budget:
    """Uncertainty budget of a power.

    Attributes
    ----------
    rows : tuple of Contribution
    combined_pct : float
        Combined standard uncertainty [% of power].
    factor, expanded_pct : float
        Coverage factor of 95 % and expanded uncertainty [% of power].
    missing : tuple of str
        Sources that nobody stated.
    """

    rows: tuple[Contribution, ...]
    combined_pct: float
    factor: float
    expanded_pct: float
    missing: tuple[str, ...]


def power_budget(
    standard_id: str,
    air: Air | None,
    errors: DynoErrors,
    run: RunSpread,
    session: SessionSpread,
    *,
    runs: int,
    sessions: int,
    verification: Verification | None = None,
) -> Budget:
    """Compute the uncertainty budget of the mean power of some runs.

    Parameters
    ----------
    standard_id : str
        Of the correction.
    air : Air or None
        Typical air of the runs; None if they are not corrected, so that the air has no part.
    errors : DynoErrors
    run, session : RunSpread, SessionSpread
        The shop's spread of that power.
    runs, sessions : int
        How many the mean is made from.
    verification : Verification, optional
        It takes the place of the stated limit of inertia or load cell, which it tests.

    Returns
    -------
    Budget

    Raises
    ------
    ValueError
        `jobs.calc.dyno.air.correct` refuses the air.

    Notes
    -----
    u_c² = Σ u² of independent sources [1]_. A limit a gives u = a/√3, as any error within it is as likely.
    The sensitivity to the air is that of the factor, (f(x + h) - f(x - h)) / 2h. Run and session by [2]_:
    s_r²/n and s_s²/S. The mean error of a verification is not corrected for; with the limit of the true value
    it is one limit, (|e| + a)/√3. The expanded uncertainty is t·u_c with the effective degrees of freedom.
    """
    rows: list[Contribution] = []
    missing: list[str] = []

    def add_limit(name: str, limit: float | None, sensitivity_pct: float, unit: str) -> None:
        if limit is None:
            missing.append(_(name))
        else:
            basis = _("within ±%(limit)s %(unit)s") % {"limit": format_digits(limit), "unit": _(unit)}
            rows.append(Contribution(_(name), basis, abs(sensitivity_pct) * limit / np.sqrt(3), np.inf))

    if air is not None:
        add_limit("air temperature", errors.temperature_c, _slope(standard_id, air, "temperature_c"), "K")
        add_limit("air pressure", errors.pressure_kpa, _slope(standard_id, air, "pressure_kpa"), "kPa")
        humidity = _slope(standard_id, air, "humidity_pct")
        add_limit("humidity of the air", errors.humidity_pct, humidity, "% relative humidity")
    if verification is None:
        add_limit("roller inertia or load cell", errors.inertia_pct, 1.0, "% of power")
    else:
        limit = abs(verification.mean_error_pct) + verification.limit_pct
        rows.append(Contribution(_("verification"), verification.basis, limit / np.sqrt(3), np.inf))
    add_limit("slip of the tyre", errors.slip_pct, 1.0, "% of power")
    add_limit("losses", errors.loss_pct, 1.0, "% of power")
    made = ngettext("mean of %(count)s run", "mean of %(count)s runs", runs) % {"count": runs}
    rows.append(
        Contribution(
            _("from run to run"),
            f"{format_digits(run.sd_pct, 2)} %, {_source(run.assumed)}, {made}",
            run.sd_pct / np.sqrt(runs),
            run.df,
        )
    )
    rows.append(
        Contribution(
            _("strapping down, day"),
            f"{format_digits(session.sd_pct, 2)} %, {_source(session.assumed)}",
            session.sd_pct / np.sqrt(sessions),
            session.df,
        )
    )
    return _combine(rows, missing)


def _source(assumed: bool) -> str:
    return _("assumed") if assumed else _("measured")


def _combine(rows: Sequence[Contribution], missing: Sequence[str]) -> Budget:
    parts = np.array([row.standard_pct for row in rows])
    combined = float(np.sqrt(np.square(parts).sum()))
    doubt = sum(row.standard_pct**4 / row.df for row in rows)
    factor = float(t_quantile(combined**4 / doubt if doubt > 0 else np.inf))
    return Budget(tuple(rows), combined, factor, factor * combined, tuple(missing))


def _slope(standard_id: str, air: Air, name: str) -> float:
    """Return how the factor of a standard changes with one value of the air [% per unit]."""
    value = getattr(air, name)
    if value is None:
        return 0.0
    low, high = (correct(standard_id, replace(air, **{name: value + step})).factor for step in (-STEP, STEP))
    return float(100 * (high - low) / (2 * STEP) / correct(standard_id, air).factor)
