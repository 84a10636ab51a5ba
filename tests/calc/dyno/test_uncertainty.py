"""The budget of a power against sums of squares by hand and a simulation of its errors."""

import numpy as np
import pytest

from jobs.calc.dyno.air import Air, correct
from jobs.calc.dyno.spread import RunSpread, SessionSpread
from jobs.calc.dyno.uncertainty import DynoErrors, Verification, power_budget

AIR = Air(25.0, 100.5, humidity_pct=50)
NO_RUN, NO_SESSION = RunSpread(1e-9, np.inf), SessionSpread(1e-9, np.inf)


def test_budget_is_the_root_of_the_sum_of_squares() -> None:
    """Limits of 1.2 and 0.9 % are 0.693 and 0.520; 0.6 % from 4 runs 0.3; 0.5 % of one session: √1.090."""
    errors = DynoErrors(inertia_pct=1.2, slip_pct=0.9)
    run, session = RunSpread(0.6, np.inf), SessionSpread(0.5, np.inf)
    found = power_budget("iso_1585", None, errors, run, session, runs=4, sessions=1)
    assert found.combined_pct == pytest.approx(np.sqrt(1.2**2 / 3 + 0.9**2 / 3 + 0.3**2 + 0.5**2))
    assert found.factor == pytest.approx(1.959964, abs=1e-6)
    assert found.expanded_pct == pytest.approx(found.factor * found.combined_pct)
    assert found.missing == ("losses",)


def test_air_sensitivities_are_those_of_the_standard() -> None:
    """ISO 1585, (99/p_d)^1.2 (T/298)^0.6: 60/298.15 %/K and more by the vapour; -120/p_d %/kPa by hand."""
    errors = DynoErrors(temperature_c=1.0, pressure_kpa=0.1, humidity_pct=10.0)
    found = power_budget("iso_1585", AIR, errors, NO_RUN, NO_SESSION, runs=1, sessions=1)
    kelvin, kilopascal, humidity = (row.standard_pct * np.sqrt(3) for row in found.rows[:3])
    vapour = 0.5 * 3.1699  # kPa at 25 °C, steam tables
    slope = 0.5 * 0.1889  # kPa/K, steam tables
    assert kelvin == pytest.approx(60 / 298.15 + 120 * slope / (100.5 - vapour), rel=0.01)
    assert kilopascal == pytest.approx(0.1 * 120 / (100.5 - vapour), rel=0.01)
    assert humidity == pytest.approx(10 * 120 * 0.031699 / (100.5 - vapour), rel=0.01)


def test_expanded_uncertainty_covers_simulated_errors() -> None:
    """Readings of thermometer, barometer and hygrometer anywhere within their limits, runs and day normal."""
    rng = np.random.default_rng(7)
    errors = DynoErrors(temperature_c=2.0, pressure_kpa=0.3, humidity_pct=8.0, inertia_pct=1.0)
    run, session = RunSpread(0.6, np.inf), SessionSpread(0.5, np.inf)
    found = power_budget("iso_1585", AIR, errors, run, session, runs=3, sessions=1)
    trials = 3_000
    wrong = rng.uniform(-1, 1, (3, trials)) * np.array([[2.0], [0.3], [8.0]])
    factors = np.array(
        [correct("iso_1585", Air(25 + t, 100.5 + p, humidity_pct=50 + h)).factor for t, p, h in wrong.T]
    )
    power = factors / correct("iso_1585", AIR).factor * (1 + rng.uniform(-0.01, 0.01, trials))
    power *= 1 + 0.006 * rng.normal(size=(3, trials)).mean(axis=0) + 0.005 * rng.normal(size=trials)
    assert np.std(100 * power) == pytest.approx(found.combined_pct, rel=0.04)
    assert 0.94 <= np.mean(np.abs(100 * (power - 1)) <= found.expanded_pct) <= 0.97


def test_few_degrees_of_freedom_widen_the_factor() -> None:
    """JCGM 100 G.4: u_c⁴/Σ(u⁴/ν) with the run alone is its own 5 degrees of freedom, t = 2.570582."""
    run = RunSpread(0.6, 5)
    found = power_budget("iso_1585", None, DynoErrors(), run, NO_SESSION, runs=1, sessions=1)
    assert found.factor == pytest.approx(2.570582, abs=1e-5)


def test_measured_humidity_is_needed_for_its_part() -> None:
    dry = Air(25.0, 100.5)
    with pytest.raises(ValueError, match=r"[Hh]umid|[Mm]oist"):
        power_budget("iso_1585", dry, DynoErrors(temperature_c=1.0), NO_RUN, NO_SESSION, runs=1, sessions=1)


def test_verification_takes_the_place_of_the_stated_limit_of_what_it_tests() -> None:
    """0.8 % low against a value known within 0.4 %: one limit of 1.2 %, 1.2/√3 = 0.693 %."""
    errors = DynoErrors(inertia_pct=5.0, slip_pct=0.9, loss_pct=0.0)
    found = power_budget(
        "iso_1585",
        None,
        errors,
        NO_RUN,
        NO_SESSION,
        runs=1,
        sessions=1,
        verification=Verification(-0.8, 0.4, "dead weight"),
    )
    assert found.combined_pct == pytest.approx(np.sqrt(1.2**2 / 3 + 0.9**2 / 3))
    assert found.rows[0].name == "verification"
    assert found.missing == ()
