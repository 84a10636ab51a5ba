"""How many runs a comparison needs, from the spread of the shop's own runs."""

from dataclasses import dataclass

from jobs.calc.dyno.design import MAX_RUNS, Plan, plan, runs_needed
from jobs.calc.units.numbers import format_number
from jobs.comparisons.shop_spread import shop_spread
from workshop.models import ShopProfile

DIFFERENCES_PCT = (0.5, 1.0, 1.5, 2.0, 3.0, 5.0)
USUAL_PCT = 2.0
RUNS = (1, 2, 3, 4, 5, 6, 8, 10)
# Baseline run again after the change, strapped down again for each side.
DESIGNS = ((False, False), (True, False), (True, True))


@dataclass(frozen=True)
class NeededRow:
    """Runs on each side for a difference, by design; a text for people."""

    difference_pct: float
    runs: list[str]


@dataclass(frozen=True)
class RunsRow:
    """The smallest difference [%] that so many runs on each side show, by design."""

    runs: int
    smallest_pct: list[float]


def plan_rows(shop: ShopProfile) -> list[NeededRow]:
    return [NeededRow(pct, [format_plan(plan) for plan in find_plans(pct, shop)]) for pct in DIFFERENCES_PCT]


def find_plans(difference_pct: float, shop: ShopProfile) -> list[Plan | None]:
    return [
        find_plan(difference_pct, shop, again=again, restrapped=restrapped) for again, restrapped in DESIGNS
    ]


def find_plan(difference_pct: float, shop: ShopProfile, *, again: bool, restrapped: bool) -> Plan | None:
    spread = shop_spread(shop)
    return runs_needed(difference_pct, spread.mean, spread.session, again=again, restrapped=restrapped)


def format_plan(found: Plan | None) -> str:
    return f"over {MAX_RUNS}" if found is None else str(found.runs)


def runs_rows(shop: ShopProfile) -> list[RunsRow]:
    spread = shop_spread(shop)
    return [
        RunsRow(
            runs,
            [
                plan(runs, spread.mean, spread.session, again=again, restrapped=restrapped).smallest_pct
                for again, restrapped in DESIGNS
            ],
        )
        for runs in RUNS
    ]


def describe_runs_needed(shop: ShopProfile) -> str:
    """Say how many runs show a usual difference, before they are made."""
    spread = shop_spread(shop)
    found = find_plan(USUAL_PCT, shop, again=True, restrapped=False)
    source = "assumed" if spread.mean.assumed else "from the shop's own repeats"
    scatter = f"{format_number(spread.mean.sd_pct, 2)} % from run to run, {source}"
    if found is None:
        return f"{format_number(USUAL_PCT)} % cannot be seen with {MAX_RUNS} runs on each side ({scatter})."
    runs = "1 run" if found.runs == 1 else f"{found.runs} runs"
    return (
        f"To see {format_number(USUAL_PCT)} % in 4 of 5 comparisons, make {runs} of the baseline, "
        f"{found.runs} with the change and {found.runs} of the baseline again ({scatter})."
    )
