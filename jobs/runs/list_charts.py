"""Runs of a job by state of the bike: the list that is the legend of their chart."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.utils.timezone import localtime

from jobs.calc.units.numbers import format_number
from jobs.models import Run
from jobs.runs.charts import OverlayRun
from jobs.timeline.bike_states import BikeState
from workshop.models import ShopProfile
from workshop.units.display import format_value
from workshop.units.shop_units import shop_unit

TITLES = {"before": "Before", "after": "After"}


@dataclass(frozen=True)
class ListRow:
    """A run in the list: the label of its line, and what the group does not share."""

    drawn: OverlayRun
    about: str
    power: str
    torque: str

    @property
    def run(self) -> Run:
        return self.drawn.run


@dataclass(frozen=True)
class StateGroup:
    """The runs of one state of the bike with what they share."""

    title: str
    about: str
    rows: list[ListRow]
    changes: list[str] = field(default_factory=list)
    mean: str = ""


def state_groups(
    drawn: Sequence[OverlayRun], states: Iterable[BikeState], shop: ShopProfile, corrected: bool
) -> list[StateGroup]:
    """Return the drawn runs by the state of the bike, in the order of its states."""
    by_run = {overlay_run.run.pk: overlay_run for overlay_run in drawn}
    order = {pk: place for place, pk in enumerate(by_run)}
    found = []
    for number, state in enumerate(states, 1):
        members = sorted(
            (by_run[run.pk] for run in state.runs if run.pk in by_run), key=lambda one: order[one.run.pk]
        )
        if not members:
            continue
        looks = {one.look for one in members if not one.run.set_aside}
        look = looks.pop() if len(looks) == 1 else ""
        title = TITLES.get(look, f"State {number}")
        changes = [event.text for event in state.changes]
        found.append(group_of(title, members, changes, shop, corrected))
    if len(found) == 1 and found[0].title not in TITLES.values():
        found = [group_of("All in one state of the bike", list(drawn), found[0].changes, shop, corrected)]
    return found


def group_of(
    title: str, members: list[OverlayRun], changes: list[str], shop: ShopProfile, corrected: bool
) -> StateGroup:
    return StateGroup(
        title,
        shared_facts(members, shop),
        [list_row(one, len({m.run.gear for m in members if m.run.gear}), shop, corrected) for one in members],
        changes,
        mean_peaks(members, shop, corrected),
    )


def shared_facts(members: Sequence[OverlayRun], shop: ShopProfile) -> str:
    """Say what the runs of a state share: tune, date, air, standard and factor."""
    runs = [one.run for one in members]
    tunes = dict.fromkeys(run.tune_revision.label for run in runs if run.tune_revision)
    days = sorted({localtime(run.made_at).date() for run in runs})
    date = f"{days[0]:%-d %b}" if len(days) == 1 else f"{days[0]:%-d %b} to {days[-1]:%-d %b}"
    air = [run.temperature_c for run in runs if run.temperature_c is not None]
    temperature = span([format_in(value, "temperature", shop) for value in sorted(air)])
    corrections = [one.result.correction for one in members if one.result.correction]
    standards = dict.fromkeys(correction.standard.name for correction in corrections)
    factors = span([format_number(factor, 4) for factor in sorted(c.factor for c in corrections)])
    factor = f"{' and '.join(standards)} × {factors}" if corrections else "uncorrected"
    gears = sorted({run.gear for run in runs if run.gear})
    gear = f"gear {span([str(gear) for gear in gears])}" if gears else ""
    return ", ".join(filter(None, [" and ".join(tunes), date, gear, temperature, factor]))


def span(values: Sequence[str]) -> str:
    """Return the first and the last of sorted values as text, or the one that all are."""
    if not values:
        return ""
    return values[0] if values[0] == values[-1] else f"{values[0]} to {values[-1]}"


def format_in(value: float, quantity: str, shop: ShopProfile) -> str:
    return format_value(value, quantity, shop_unit(shop, quantity))


def list_row(one: OverlayRun, gears: int, shop: ShopProfile, corrected: bool) -> ListRow:
    result, run = one.result, one.run
    rate = result.sweep_rate_rpm_s if run.kind == Run.Kind.SWEEP else None
    about = [
        f"{localtime(run.made_at):%H:%M}",
        f"gear {run.gear}" if run.gear and gears > 1 else "",
        "" if rate is None else f"{format_number(10 * round(rate / 10))} rpm/s",
        "" if result.grip_pct is None else f"{format_number(result.grip_pct)} % grip",
    ]
    curve = result.curve if corrected else result.observed
    return ListRow(
        one,
        ", ".join(filter(None, about)),
        format_in(curve.peak_power_kw, "power", shop) if curve else "–",
        format_in(curve.peak_torque_nm, "torque", shop) if curve else "–",
    )


def mean_peaks(members: Sequence[OverlayRun], shop: ShopProfile, corrected: bool) -> str:
    """Return the mean of the peaks of the sweeps that count; empty if there are fewer than two."""
    sweeps = [one for one in members if one.run.kind == Run.Kind.SWEEP and not one.run.set_aside]
    curves = [one.result.curve if corrected else one.result.observed for one in sweeps]
    known = [curve for curve in curves if curve]
    if len(known) < 2:
        return ""
    power, torque = (
        sum(values) / len(known)
        for values in ([c.peak_power_kw for c in known], [c.peak_torque_nm for c in known])
    )
    return (
        f"Mean of {len(known)} peaks: {format_in(power, 'power', shop)}, {format_in(torque, 'torque', shop)}"
    )
