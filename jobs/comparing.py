"""A comparison of two groups of runs, its figures and what changed between them."""

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.calc import comparison as calc
from jobs.calc.curves import Flag
from jobs.models import Comparison, ComparisonRun
from jobs.run_figures import RunFigures, figures_of
from jobs.timeline import Event, between, events
from workshop.models import ShopProfile

CLAIM = "The difference belongs to all of these changes together: none of them was tested alone."


@dataclass(frozen=True, eq=False)
class Compared:
    """Both groups' figures, the difference between them, and every change that lies between.

    ``result`` is None where the groups can't be compared, and ``reason`` says why.
    """

    comparison: Comparison
    before: tuple[RunFigures, ...]
    after: tuple[RunFigures, ...]
    result: calc.Comparison | None
    changes: tuple[Event, ...]
    left_out: tuple[str, ...]
    reason: str = ""

    @property
    def flags(self) -> tuple[Flag, ...]:
        return self.result.flags if self.result else ()

    @property
    def claim(self) -> str:
        """What may be said of the cause."""
        if not self.changes:
            return "Nothing that was recorded changed between the two groups."
        return CLAIM if len(self.changes) > 1 else "Only this was changed between the two groups."


def shop_bands(shop: ShopProfile, low_rpm: float, high_rpm: float) -> dict[str, tuple[float, float]]:
    """The shop's bands inside what was measured; a band that lies outside is left out."""
    bands = {}
    for band in shop.bands:
        low = max(low_rpm, band["low_rpm"] or low_rpm)
        high = min(high_rpm, band["high_rpm"] or high_rpm)
        if low < high:
            bands[band["name"]] = (low, high)
    return bands


def compare_runs(comparison: Comparison, members: Sequence[ComparisonRun], shop: ShopProfile) -> Compared:
    """The figures of a comparison from its runs; a run set aside or without a curve is left out and named."""
    groups: dict[str, list[RunFigures]] = {"before": [], "after": []}
    left_out = []
    for member in sorted(members, key=lambda m: (m.run.made_at, m.run.pk)):
        figures = figures_of(member.run, shop)
        if member.run.set_aside:
            left_out.append(f"{member.run}: set aside, {member.run.set_aside_reason}.")
        elif figures.curve is None:
            left_out.append(f"{member.run}: {figures.reason}")
        else:
            groups[member.group].append(figures)
    before, after = tuple(groups["before"]), tuple(groups["after"])
    result, reason = _result(before, after, shop)
    return Compared(
        comparison, before, after, result, changes_between(before, after), tuple(left_out), reason
    )


def _result(
    before: Sequence[RunFigures], after: Sequence[RunFigures], shop: ShopProfile
) -> tuple[calc.Comparison | None, str]:
    sides = [[f.curve for f in side if f.curve] for side in (before, after)]
    if not all(sides):
        return None, "A comparison needs at least one run with a curve before and one after."
    if len({f.is_corrected for f in (*before, *after)}) > 1:
        return None, "Some of these runs have no air entered: corrected and observed are not compared."
    curves = [*sides[0], *sides[1]]
    low, high = max(c.measured_from_rpm for c in curves), min(c.measured_to_rpm for c in curves)
    if not low < high:
        return None, "These runs have no engine speed in common."
    airs = [_temperatures(side) for side in (before, after)]
    return calc.compare(
        sides[0],
        sides[1],
        shop_bands(shop, low, high),
        assumed_repeatability_pct=shop.repeatability_pct,
        temperatures_c=(airs[0], airs[1]) if all(airs) else None,
    ), ""


def _temperatures(side: Sequence[RunFigures]) -> list[float]:
    return [f.run.temperature_c for f in side if f.run.temperature_c is not None]


def changes_between(before: Sequence[RunFigures], after: Sequence[RunFigures]) -> tuple[Event, ...]:
    """Everything on the job's timeline that changed the bike from the first of these runs to the last.

    A change amid a group counts too: it is part of what the groups differ by.
    """
    if not before or not after:
        return ()
    times = [figures.run.made_at for figures in (*before, *after)]
    return tuple(between(events(before[0].run.job), min(times), max(times)))
