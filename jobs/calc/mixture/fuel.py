"""Fuels by composition, their stoichiometric ratio, and the limits of a target lambda."""

from dataclasses import dataclass

from jobs.calc.units.numbers import require_finite

AIR_G_PER_MOL = 28.965
OXYGEN_SHARE_OF_AIR = 0.20946  # by volume
CARBON_G_PER_MOL, HYDROGEN_G_PER_MOL, OXYGEN_G_PER_MOL = 12.011, 1.008, 15.999

# A target outside these is a typing error for petrol. Rule of thumb, no published source.
MIN_TARGET, MAX_TARGET = 0.70, 1.20
# Full throttle, petrol, naturally aspirated race engine. Rule of thumb, no published source.
FULL_THROTTLE_LAMBDA = (0.86, 0.90)


@dataclass(frozen=True)
class Fuel:
    """A fuel by its mean formula: atoms of carbon, hydrogen and oxygen.

    Petrol from different pumps varies by about ±0.2 in its stoichiometric ratio.

    References
    ----------
    .. [1] WLTP global technical regulation, list of reference fuels (informal document WLTP-07-11e): C-H-O
       formulas. That draft prints the oxygen of E5 and E10 exchanged; the ethanol content settles it.
    """

    name: str
    carbon: float
    hydrogen: float
    oxygen: float = 0.0

    @property
    def stoichiometric_afr(self) -> float:
        """Stoichiometric air-fuel ratio by mass [kg/kg].

        Notes
        -----
        CxHyOz needs x + y/4 − z/2 mol of oxygen; with air of 20.946 % oxygen by volume and 28.965 g/mol,
        AFR = (x + y/4 − z/2)·28.965/0.20946 / (12.011·x + 1.008·y + 15.999·z).

        References
        ----------
        .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, chapter 3: mass balance of
           C-H-O fuels in air (from memory).
        """
        oxygen_mol = self.carbon + self.hydrogen / 4 - self.oxygen / 2
        fuel_g = (
            CARBON_G_PER_MOL * self.carbon
            + HYDROGEN_G_PER_MOL * self.hydrogen
            + OXYGEN_G_PER_MOL * self.oxygen
        )
        return oxygen_mol * AIR_G_PER_MOL / OXYGEN_SHARE_OF_AIR / fuel_g


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


def check_target(lambda_target: float) -> None:
    """Check that a target lambda is one a petrol engine is set to.

    Parameters
    ----------
    lambda_target : float
        Target lambda [–].

    Raises
    ------
    ValueError
        Target missing, or outside 0.70 to 1.20.

    Notes
    -----
    0.70 ≤ target ≤ 1.20. Rule of thumb, no published source.
    """
    require_finite("target lambda", lambda_target)
    if not MIN_TARGET <= lambda_target <= MAX_TARGET:
        raise ValueError(
            f"{lambda_target:g} is not a plausible target lambda ({MIN_TARGET:g} to {MAX_TARGET:g}). If it "
            "is an air-fuel ratio, convert it to lambda."
        )
