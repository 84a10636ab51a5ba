"""The difference of two curves over engine speed, with a band that holds at all speeds at once.

References
----------
.. [1] S. O. Rice, Bell System Technical Journal 24 (1945) 46 (crossings of a level).
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from jobs.calc.dyno.design import MIN_OWN_DF, Design, Estimate, estimate, simultaneous_factor
from jobs.calc.dyno.spread import ShopSpread
from jobs.calc.statistics import FloatArray
from jobs.calc.units.numbers import format_number
from jobs.calc.wording import gettext as _


class Verdict(StrEnum):
    """Verdict on a difference, after minus before; the value is the text shown."""

    MORE = "more"
    LESS = "less"
    NO_DIFFERENCE = "no clear difference"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Region:
    """Engine speeds [1/min] over which a curve differs, and which way."""

    from_rpm: float
    to_rpm: float
    verdict: Verdict


@dataclass(frozen=True, eq=False)
class CurveDifference:
    """Difference of two curves, after minus before, with a band that holds at all speeds at once.

    Attributes
    ----------
    difference, ci_low, ci_high : array, (g,)
        NaN unless every run was measured there.
    factor : float
        Half-width of the band in standard errors, see `simultaneous_factor`.
    regions : tuple of Region
        Where the band excludes zero, rising.
    """

    difference: FloatArray
    ci_low: FloatArray
    ci_high: FloatArray
    factor: float
    regions: tuple[Region, ...]

    def describe(self, label: str) -> str:
        """Say in words where the curves differ."""
        if not self.regions:
            return _(
                "%(quantity)s: no clear difference at any engine speed. This does not prove they are equal."
            ) % {"quantity": label}
        words = [
            _describe_region(r.verdict, _round_rpm(r.from_rpm), _round_rpm(r.to_rpm)) for r in self.regions
        ]
        return _("%(quantity)s: %(regions)s (95 %% band that holds at all engine speeds at once).") % {
            "quantity": label,
            "regions": ", ".join(words),
        }


def _describe_region(verdict: Verdict, low: str, high: str) -> str:
    values = {"from": low, "to": high}
    if verdict is Verdict.MORE:
        between, at = _("more between about %(from)s and %(to)s rpm"), _("more at about %(from)s rpm")
    else:
        between, at = _("less between about %(from)s and %(to)s rpm"), _("less at about %(from)s rpm")
    return (at if low == high else between) % values


def _round_rpm(speed: float) -> str:
    return format_number(100 * round(speed / 100))


def compare_curves(
    values: FloatArray, grid: FloatArray, design: Design, spread: ShopSpread, width_rpm: float
) -> CurveDifference:
    """Compare curves with a band that holds at all engine speeds at once.

    Parameters
    ----------
    values : array, (runs, g)
        In the order of the design, in any unit; a speed with NaN in a run is not compared.
    grid : array, (g,)
        [1/min].
    design : Design
    spread : ShopSpread
    width_rpm : float
        Smoothing of the curves: regions closer than that are one [1/min].

    Returns
    -------
    CurveDifference

    Notes
    -----
    difference ± c · standard error, c of `simultaneous_factor`: its share and its path are those of the runs'
    deviations from their fellows, pooled with the shop's.
    """
    found = estimate(design, values, spread.point, spread.session, curve=True)
    measured = np.isfinite(found.difference)
    path, level_share = _path(values[:, measured], grid[measured], design, spread, found)
    df = float(np.min(np.broadcast_to(found.df, grid.shape)[measured]))
    if not found.rests_on_sessions and path > 0:
        # The curve's own scatter is measured at path/√π independent places (Gaussian correlation).
        places = max(path / np.sqrt(np.pi), 1.0)
        df /= level_share**2 + (1 - level_share) ** 2 / places
    factor = simultaneous_factor(path, df, level_share)
    half = factor * found.standard_error
    low, high = found.difference - half, found.difference + half
    regions = _regions(grid, low, high, width_rpm)
    return CurveDifference(found.difference, low, high, factor, regions)


def _path(
    values: FloatArray, grid: FloatArray, design: Design, spread: ShopSpread, found: Estimate
) -> tuple[float, float]:
    """Return the path of the curve's own scatter and the share of the variance that moves it as a whole."""
    if grid.size < 2:
        return 0.0, 1.0
    maker, own_df = design.residuals
    level = np.abs(values).mean(axis=0)
    residuals = np.divide(100 * (maker @ values), level, out=np.zeros_like(values), where=level > 0)
    slopes = 1000 * np.diff(residuals, axis=1) / np.diff(grid)

    def pool(own: FloatArray, shop: float) -> float:
        measured = float(np.square(own).sum() / max(own_df, 1.0)) / own[0].size
        if spread.point.assumed:
            return measured if own_df >= MIN_OWN_DF else shop**2
        return (own_df * measured + spread.point.df * shop**2) / (own_df + spread.point.df)

    whole = 0.0 if spread.point.assumed else spread.mean.sd_pct
    total = pool(residuals, spread.point.sd_pct)
    moving = min(pool(residuals.mean(axis=1, keepdims=True), whole), total)
    slope = pool(slopes, spread.slope_pct_per_krpm)
    if total - moving <= 0:
        return 0.0, 1.0
    from_runs = float(np.nanmean(found.run_share))
    path = (grid[-1] - grid[0]) / 1000 * np.sqrt(slope / (total - moving))
    return float(path), 1 - from_runs * (1 - moving / total)


def _regions(grid: FloatArray, low: FloatArray, high: FloatArray, width_rpm: float) -> tuple[Region, ...]:
    """Return the stretches where a band excludes zero; stretches closer than the smoothing are one."""
    found: list[Region] = []
    for speed, below, above in zip(grid.tolist(), low.tolist(), high.tolist(), strict=True):
        verdict = Verdict.MORE if below > 0 else Verdict.LESS if above < 0 else None
        if verdict is None:
            continue
        if found and found[-1].verdict is verdict and speed - found[-1].to_rpm <= width_rpm:
            found[-1] = Region(found[-1].from_rpm, speed, verdict)
        else:
            found.append(Region(speed, speed, verdict))
    return tuple(found)
