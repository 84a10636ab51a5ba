import numpy as np
import pytest

from jobs.calc.dyno.control_chart import individuals_chart

# Flow rates of NIST/SEMATECH e-Handbook 6.3.2.2, with its centre and limits.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individuals_chart_agrees_with_the_handbook() -> None:
    found = individuals_chart(FLOW)
    assert found is not None
    assert (found.centre, found.low, found.high) == pytest.approx((50.81, 45.8159, 55.8041), abs=1e-3)
    assert not found.outside.any()


def test_reading_far_off_is_outside() -> None:
    found = individuals_chart([*FLOW, *FLOW, 61.0])
    assert found is not None
    assert np.flatnonzero(found.outside).tolist() == [20]


def test_chart_needs_three_readings() -> None:
    assert individuals_chart([50.0, 51.0]) is None


def test_steady_dyno_is_rarely_called_changed() -> None:
    """Beyond 3 standard deviations lie 0.27 % of a normal; with limits from 30 readings somewhat more."""
    rng = np.random.default_rng(3)
    outside = [individuals_chart(rng.normal(70, 0.5, 30)).outside.mean() for _ in range(2_000)]
    assert np.mean(outside) < 0.005
