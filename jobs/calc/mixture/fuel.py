"""Fuels and air: stoichiometric ratio, lambda, blends, and what a lambda off its target asks of the fuel.

Lambda is what is stored. An air-fuel ratio needs to be told its fuel: petrol alone varies by about
±0.2 in its stoichiometric ratio from one pump to the next.

References
----------
.. [1] J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, chapter 3: mass balance of
   C-H-O fuels in air.
.. [2] WLTP global technical regulation, list of reference fuels (informal document WLTP-07-11e):
   C-H-O formulas. That draft prints the oxygen of E5 and E10 exchanged; the ethanol content settles it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from jobs.calc.units.numbers import FloatOrArray, match_input_type, require_finite, require_positive

AIR_G_PER_MOL = 28.965
OXYGEN_SHARE_OF_AIR = 0.20946  # by volume
CARBON_G_PER_MOL, HYDROGEN_G_PER_MOL, OXYGEN_G_PER_MOL = 12.011, 1.008, 15.999

# A target beyond these is a slip of the pen for petrol; common practice, no source.
RICHEST_TARGET, LEANEST_TARGET = 0.70, 1.20
# Full throttle, petrol, a race engine that breathes by itself; common practice, no source.
FULL_THROTTLE_LAMBDA = (0.86, 0.90)


@dataclass(frozen=True)
class Fuel:
    """A fuel by its composition: atoms of carbon, hydrogen and oxygen in its (mean) formula [2]_."""

    name: str
    carbon: float
    hydrogen: float
    oxygen: float = 0.0

    @property
    def stoichiometric_afr(self) -> float:
        """Mass of air by mass of fuel [kg/kg] that burns with nothing left over."""
        return stoichiometric_afr(self.carbon, self.hydrogen, self.oxygen)


FUELS: dict[str, Fuel] = {
    "petrol_e0": Fuel("Petrol without ethanol (E0)", 1, 1.85),
    "petrol_e5": Fuel("Petrol E5", 1, 1.89, 0.016),
    "petrol_e10": Fuel("Petrol E10", 1, 1.93, 0.033),
    "e85": Fuel("E85", 1, 2.74, 0.385),
    "ethanol": Fuel("Ethanol", 2, 6, 1),
    "methanol": Fuel("Methanol", 1, 4, 1),
    "lpg": Fuel("LPG", 1, 2.525),
    "propane": Fuel("Propane", 3, 8),
}


@dataclass(frozen=True)
class BlendPart:
    """One fuel of a blend: its share by volume, its density [kg/m³], its stoichiometric ratio [kg/kg]."""

    volume_share: float
    density_kg_m3: float
    afr: float


@dataclass(frozen=True)
class FuelCorrection:
    """What a measured lambda asks of the delivered fuel: times this, or plus this much in per cent."""

    multiplier: float
    percent: float


def fuel(fuel_id: str) -> Fuel:
    """The fuel of this id.

    Raises
    ------
    ValueError
        The id is not in :data:`FUELS`.
    """
    if fuel_id not in FUELS:
        raise ValueError(f"'{fuel_id}' is not a fuel this program knows.")
    return FUELS[fuel_id]


def stoichiometric_afr(carbon: float, hydrogen: float, oxygen: float = 0.0) -> float:
    """Stoichiometric air-fuel ratio [kg/kg] of CxHyOz by mass balance [1]_.

    x + y/4 − z/2 mol of oxygen for each mol of fuel, in air of 20.946 % oxygen and 28.965 g/mol.

    Parameters
    ----------
    carbon, hydrogen, oxygen : float
        Atoms in the formula, whole or not, none below zero.

    Raises
    ------
    ValueError
        A figure below zero, no carbon and no hydrogen, or more oxygen than the fuel can burn.
    """
    for what, atoms in (("carbon", carbon), ("hydrogen", hydrogen), ("oxygen", oxygen)):
        require_finite(f"share of {what}", atoms)
        if atoms < 0:
            raise ValueError(f"A fuel cannot hold less than no {what}; {atoms:g} was given.")
    oxygen_mol = carbon + hydrogen / 4 - oxygen / 2
    if oxygen_mol <= 0:
        raise ValueError("This is no fuel: it holds nothing that air could burn.")
    fuel_g = CARBON_G_PER_MOL * carbon + HYDROGEN_G_PER_MOL * hydrogen + OXYGEN_G_PER_MOL * oxygen
    return oxygen_mol * AIR_G_PER_MOL / OXYGEN_SHARE_OF_AIR / fuel_g


def lambda_from_afr(afr: FloatOrArray, stoichiometric: float) -> FloatOrArray:
    """Lambda from an air-fuel ratio [kg/kg] and the fuel's stoichiometric one; float or array, NaN stays NaN.

    Raises
    ------
    ValueError
        The stoichiometric ratio is not above zero.
    """
    require_positive("stoichiometric ratio", stoichiometric)
    return match_input_type(afr, np.asarray(afr, dtype=np.float64) / stoichiometric)


def afr_from_lambda(lambda_: FloatOrArray, stoichiometric: float) -> FloatOrArray:
    """Air-fuel ratio [kg/kg] from lambda and the fuel's stoichiometric ratio; float or array, NaN stays NaN.

    Raises
    ------
    ValueError
        The stoichiometric ratio is not above zero.
    """
    require_positive("stoichiometric ratio", stoichiometric)
    return match_input_type(lambda_, np.asarray(lambda_, dtype=np.float64) * stoichiometric)


def lambda_from_gauge(gauge_afr: FloatOrArray, gauge_stoichiometric: float) -> FloatOrArray:
    """Lambda behind a wideband gauge's reading: the gauge shows lambda times its own constant.

    Mostly 14.7, whatever fuel is in the tank. The true ratio on another fuel is
    :func:`afr_from_lambda` of this with that fuel's own figure.

    Raises
    ------
    ValueError
        The gauge's constant is not above zero.
    """
    return lambda_from_afr(gauge_afr, gauge_stoichiometric)


def blend_afr(parts: Iterable[BlendPart]) -> float:
    """Stoichiometric ratio [kg/kg] of a blend, mixed by mass: Σ(v·ρ·AFR) / Σ(v·ρ).

    The shares by volume need not add up to one. Mixing the ratios by volume instead reads 0.02 to 0.07 high.

    Raises
    ------
    ValueError
        No part at all, a share below zero, or a density or ratio that is not above zero.
    """
    mass = air = 0.0
    for part in parts:
        require_finite("share by volume", part.volume_share)
        if part.volume_share < 0:
            raise ValueError(f"A share of a blend cannot be below zero; {part.volume_share:g} was given.")
        require_positive("density", part.density_kg_m3, "kg/m³")
        require_positive("stoichiometric ratio", part.afr)
        mass += part.volume_share * part.density_kg_m3
        air += part.volume_share * part.density_kg_m3 * part.afr
    if mass <= 0:
        raise ValueError("A blend needs at least one fuel with a share above zero.")
    return air / mass


def fuel_correction(lambda_measured: float, lambda_target: float) -> FuelCorrection:
    """What brings a measured lambda to its target: measured / target. Above 1 means more fuel.

    At the same air, fuel mass goes with 1/lambda. With injectors it is the opening time less the dead time
    that is multiplied: :func:`corrected_pulse_ms`.

    Raises
    ------
    ValueError
        A lambda is missing or not above zero.
    """
    require_positive("measured lambda", lambda_measured)
    require_positive("target lambda", lambda_target)
    multiplier = lambda_measured / lambda_target
    return FuelCorrection(multiplier=multiplier, percent=100 * (multiplier - 1))


def corrected_pulse_ms(pulse_ms: float, dead_time_ms: float, fuel_multiplier: float) -> float:
    """Opening time [ms] of an injector that delivers this many times the fuel.

    A linear injector with dead time: only what is beyond the dead time delivers.

    Raises
    ------
    ValueError
        A figure is missing, a multiplier not above zero, or a pulse shorter than the dead time.
    """
    require_positive("opening time", pulse_ms, "ms")
    require_finite("dead time", dead_time_ms)
    require_positive("fuel multiplier", fuel_multiplier)
    if not 0 <= dead_time_ms < pulse_ms:
        raise ValueError(
            f"The dead time ({dead_time_ms:g} ms) must be shorter than the opening time ({pulse_ms:g} ms)."
        )
    return dead_time_ms + (pulse_ms - dead_time_ms) * fuel_multiplier


def check_target(lambda_target: float) -> None:
    """Refuse a target no petrol engine is set to.

    Raises
    ------
    ValueError
        The target is missing, or outside 0.70 to 1.20 (common practice, no source).
    """
    require_finite("target lambda", lambda_target)
    if not RICHEST_TARGET <= lambda_target <= LEANEST_TARGET:
        raise ValueError(
            f"A target lambda of {lambda_target:g} is not believable: it lies between "
            f"{RICHEST_TARGET:g} and {LEANEST_TARGET:g}. Turn an air-fuel ratio into lambda first."
        )
