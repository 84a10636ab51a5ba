"""Fuels and the limits of a target lambda."""

import pytest

from jobs.calc.mixture.fuel import FUELS, Fuel, check_target
from tests.reference.closed_forms import BlendPart, blend_afr


@pytest.mark.parametrize(
    ("fuel_id", "low", "high"),
    [
        # as commonly printed, with what a real fuel varies by
        ("petrol_e0", 14.4, 14.8),
        ("petrol_e5", 14.1, 14.5),
        ("petrol_e10", 13.9, 14.2),
        ("e85", 9.7, 9.9),
        ("ethanol", 8.95, 9.05),
        ("methanol", 6.4, 6.5),
        ("lpg", 15.4, 15.7),
        ("propane", 15.6, 15.7),
    ],
)
def test_fuel_has_its_printed_ratio(fuel_id: str, low: float, high: float) -> None:
    assert low < FUELS[fuel_id].stoichiometric_afr < high


def test_every_fuel_is_compared_with_print() -> None:
    assert len(FUELS) == 8


def test_ratio_does_not_depend_on_size_of_formula() -> None:
    once, twice = Fuel("once", 2, 6, 1), Fuel("twice", 4, 12, 2)
    assert once.stoichiometric_afr == pytest.approx(twice.stoichiometric_afr, rel=1e-14)


def test_ratio_of_carbon_is_one_oxygen_molecule_per_atom() -> None:
    # 28.965 / 0.20946 = 138.28 g of air carry one mol of oxygen, for 12.011 g of carbon
    assert Fuel("carbon", 1, 0).stoichiometric_afr == pytest.approx(138.284 / 12.011, rel=1e-5)


@pytest.mark.parametrize(("fuel_id", "ethanol"), [("petrol_e5", 0.05), ("petrol_e10", 0.10)])
def test_ratio_of_blended_fuel_agrees_with_mass_balance_of_its_parts(fuel_id: str, ethanol: float) -> None:
    # densities of petrol and ethanol at 15 °C as in the check values, kg/m³
    parts = (
        BlendPart(1 - ethanol, 745, FUELS["petrol_e0"].stoichiometric_afr),
        BlendPart(ethanol, 789, FUELS["ethanol"].stoichiometric_afr),
    )
    assert FUELS[fuel_id].stoichiometric_afr == pytest.approx(blend_afr(parts), rel=0.002)


@pytest.mark.parametrize("target", [14.7, 0.69, 1.21, float("nan")])
def test_target_is_refused_when_it_is_no_lambda(target: float) -> None:
    with pytest.raises(ValueError, match="target lambda"):
        check_target(target)
