"""Closed forms and exhaustive searches that answers of the product are held against."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product


def printed_pad_number(number: int) -> int:
    """Round a calculated shim number (hundredths) to the 5s on sale, as a manufacturer's table prints it.

    Last digit 0 to 2 becomes 0, 3 to 6 becomes 5, 7 to 9 the next 0. Unlike the nearest 5, a 7 goes up.
    Source: Yamaha XP500 service manual, periodic maintenance, p. 3-7.
    """
    tens, digit = divmod(number, 10)
    return tens * 10 + (0 if digit <= 2 else 5 if digit <= 6 else 10)


@dataclass(frozen=True)
class ShimChoice:
    """One assignment of shims to valves; ``fitted`` holds a size, 'new' or None for each valve."""

    fitted: tuple[int | str | None, ...]
    deviation: int  # summed over the valves that get a shim

    @property
    def unserved(self) -> int:
        return self.fitted.count(None)

    @property
    def bought(self) -> int:
        return self.fitted.count("new")


@dataclass(frozen=True)
class WholeValve:
    """Shim, clearance, range and target of a valve in whole units of length, so that nothing is rounded."""

    fitted: int
    measured: int
    low: int
    high: int
    target: int


def every_shim_choice(
    valves: Sequence[WholeValve], stock: Sequence[int], on_sale: Sequence[int]
) -> Iterator[ShimChoice]:
    """Yield every possible assignment of shims to valves."""
    at_hand = [valve.fitted for valve in valves] + list(stock)
    options = []
    for valve in valves:
        total = valve.fitted + valve.measured
        deviations = {
            size: abs(total - size - valve.target)
            for size in {*at_hand, *on_sale}
            if valve.low <= total - size <= valve.high
        }
        mine: list[tuple[int | None, int | str | None, int]] = [(None, None, 0)]
        mine += [(j, size, deviations[size]) for j, size in enumerate(at_hand) if size in deviations]
        bought = [deviations[size] for size in on_sale if size in deviations]
        mine += [(None, "new", min(bought))] if bought else []
        options.append(mine)
    for pick in product(*options):
        taken = [j for j, _, _ in pick if j is not None]
        if len(taken) == len(set(taken)):
            yield ShimChoice(tuple(size for _, size, _ in pick), sum(off for _, _, off in pick))


@dataclass(frozen=True)
class BlendPart:
    """One fuel of a blend: share by volume, density [kg/m³], stoichiometric ratio [kg/kg]."""

    volume_share: float
    density_kg_m3: float
    afr: float


def blend_afr(parts: Iterable[BlendPart]) -> float:
    """Return the stoichiometric ratio of a blend [kg/kg], mixed by mass: Σ(v·ρ·AFR) / Σ(v·ρ)."""
    masses = [(part.volume_share * part.density_kg_m3, part.afr) for part in parts]
    return sum(mass * afr for mass, afr in masses) / sum(mass for mass, _ in masses)
