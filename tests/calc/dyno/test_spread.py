"""Spread from run to run and from session to session, against simulations of a known truth."""

import numpy as np
import pytest

from jobs.calc.dyno.spread import (
    ASSUMED_SESSION_PCT,
    assumed_spread,
    run_spread,
    session_spread,
    slope_spread,
)


def test_spread_is_pooled_in_pct_of_each_mean() -> None:
    """Deviations of ±1 % and ±2 % in pairs: s² is 2 and 8 %², one degree of freedom each, pooled √5 %."""
    found = run_spread([(np.array([99.0, 101.0]),), (np.array([49.0, 51.0]),), (np.array([70.0]),)])
    assert (found.sd_pct, found.df) == (pytest.approx(np.sqrt(5)), 2)


def test_drift_of_a_session_is_not_scatter() -> None:
    """Four runs on a falling line scatter by nothing: 4 - 2 degrees of freedom."""
    found = run_spread([(np.array([100.0, 99.8, 99.6, 99.4]),)])
    assert (found.sd_pct, found.df) == (pytest.approx(0, abs=1e-9), 2)


def test_spread_needs_two_runs_and_a_level_above_zero() -> None:
    with pytest.raises(ValueError, match="two runs or more"):
        run_spread([(np.array([98.4]),), (np.array([97.0]),)])
    with pytest.raises(ValueError, match="mean of a group"):
        run_spread([(np.array([-1.0, 1.0]),)])


def test_components_are_those_of_the_textbook_example() -> None:
    """Sessions of 2 at 99, 101 | 103, 105, four times: s_r² = 2, MS = 16 (of 102), n₀ = 2: s_s² = 7 kW²."""
    state = (np.array([99.0, 101.0]), np.array([103.0, 105.0]))
    run = run_spread([state] * 4)
    found = session_spread([state] * 4, run)
    assert run.sd_pct == pytest.approx(100 * np.sqrt(2) / 102)
    assert found.df == 4
    assert found.runs == 2
    assert found.mean_square_pct2 == pytest.approx(16 * (100 / 102) ** 2)
    assert found.sd_pct == pytest.approx(100 * np.sqrt(7) / 102)


def test_sessions_are_assumed_until_three_baselines_were_repeated() -> None:
    state = (np.array([99.0, 101.0]), np.array([103.0, 105.0]))
    found = session_spread([state, state], run_spread([state]))
    assert found.assumed
    assert found.sd_pct == ASSUMED_SESSION_PCT


def test_spreads_of_a_simulated_shop_are_recovered() -> None:
    """0.4 % from run to run, 0.7 % from session to session, falling by 0.3 % a run: means over 300 shops."""
    rng = np.random.default_rng(8)
    runs, sessions = [], []
    for _ in range(300):
        level = 100 * (1 + 0.007 * rng.normal(size=(8, 2, 1)) + 0.004 * rng.normal(size=(8, 2, 4)))
        states = [tuple(state * (1 - 0.003 * np.arange(4))) for state in level]
        runs.append(run_spread(states))
        sessions.append(session_spread(states, runs[-1]))
    assert np.sqrt(np.mean([r.sd_pct**2 for r in runs])) == pytest.approx(0.4, rel=0.03)
    assert np.sqrt(np.mean([s.sd_pct**2 for s in sessions])) == pytest.approx(0.7, rel=0.05)


def test_slope_of_a_known_wave_is_its_root_mean_square() -> None:
    """Two runs apart by ±sin(2πn/1000) %: slope ±2π % per 1,000 1/min · cos, in a pair's spread ·√2."""
    grid = np.arange(3_000.0, 9_001.0, 10.0)
    wave = np.sin(2 * np.pi * grid / 1000) / 100
    found = slope_spread([(np.array([50 * (1 + wave), 50 * (1 - wave)]),)], [grid])
    assert found == pytest.approx(2 * np.pi, rel=0.01)


def test_assumed_spread_is_known_and_as_rough_as_smoothed_noise() -> None:
    found = assumed_spread(1.0, 300)
    assert found.mean.assumed
    assert found.session.assumed
    assert found.slope_pct_per_krpm == pytest.approx(20)
