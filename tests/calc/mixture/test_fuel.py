import numpy as np
import pytest

from jobs.calc.mixture import fuel


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
def test_fuels_have_their_printed_ratio(fuel_id: str, low: float, high: float) -> None:
    assert low < fuel.fuel(fuel_id).stoichiometric_afr < high


def test_every_fuel_of_the_table_is_held_against_print() -> None:
    assert len(fuel.FUELS) == 8


def test_ratio_does_not_depend_on_how_often_the_formula_is_written() -> None:
    assert fuel.stoichiometric_afr(2, 6, 1) == pytest.approx(fuel.stoichiometric_afr(4, 12, 2), rel=1e-14)


def test_carbon_alone_needs_one_oxygen_molecule() -> None:
    # 28.965 / 0.20946 = 138.28 g of air carry one mol of oxygen, for 12.011 g of carbon
    assert fuel.stoichiometric_afr(1, 0) == pytest.approx(138.284 / 12.011, rel=1e-5)


@pytest.mark.parametrize(
    ("atoms", "word"), [((-1, 2, 0), "carbon"), ((0, 0, 0), "no fuel"), ((1, 0, 3), "no fuel")]
)
def test_what_is_no_fuel_is_refused(atoms: tuple[float, float, float], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        fuel.stoichiometric_afr(*atoms)


def test_lambda_and_ratio_lead_back_to_each_other_and_keep_what_was_not_measured() -> None:
    lambda_ = np.array([0.85, np.nan, 1.0])
    there_and_back = fuel.lambda_from_afr(fuel.afr_from_lambda(lambda_, 14.1), 14.1)
    np.testing.assert_allclose(there_and_back, lambda_, rtol=1e-15)


def test_blend_of_one_is_that_one_and_shares_need_not_add_up() -> None:
    petrol, ethanol = fuel.BlendPart(90, 745, 14.7), fuel.BlendPart(10, 789, 9.0)
    assert fuel.blend_afr([petrol]) == pytest.approx(14.7, rel=1e-15)
    # (0.9·745·14.7 + 0.1·789·9.0) / (0.9·745 + 0.1·789) = 10566.45 / 749.4
    assert fuel.blend_afr([petrol, ethanol]) == pytest.approx(10566.45 / 749.4, rel=1e-12)


@pytest.mark.parametrize(
    "parts",
    [[], [fuel.BlendPart(0, 745, 14.7)], [fuel.BlendPart(-1, 745, 14.7)], [fuel.BlendPart(1, 0, 14.7)]],
)
def test_blend_of_nothing_is_refused(parts: list[fuel.BlendPart]) -> None:
    with pytest.raises(ValueError, match=r"blend|density"):
        fuel.blend_afr(parts)


def test_correction_leads_to_target() -> None:
    # fuel × m at the same air gives lambda / m
    assert 0.97 / fuel.fuel_correction(0.97, 0.89).multiplier == pytest.approx(0.89, rel=1e-15)


@pytest.mark.parametrize("measured", [0.0, -0.9, float("nan")])
def test_correction_of_a_missing_reading_is_refused(measured: float) -> None:
    with pytest.raises(ValueError, match="measured lambda"):
        fuel.fuel_correction(measured, 0.9)


def test_pulse_within_its_dead_time_is_refused() -> None:
    with pytest.raises(ValueError, match="dead time"):
        fuel.corrected_pulse_ms(0.8, 0.9, 1.05)


@pytest.mark.parametrize("target", [14.7, 0.69, 1.21, float("nan")])
def test_target_that_is_no_lambda_is_refused(target: float) -> None:
    with pytest.raises(ValueError, match="target lambda"):
        fuel.check_target(target)


def test_unknown_fuel_is_refused() -> None:
    with pytest.raises(ValueError, match="not a fuel"):
        fuel.fuel("coal")
