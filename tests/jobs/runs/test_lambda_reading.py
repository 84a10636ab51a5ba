"""What a run shows of a lambda sensor that has wild samples or rests at its limit."""

from typing import Any

import numpy as np
import pytest

from tests.factories import make_job
from tests.jobs.run_files import HEADER, attach_sweep, get_result
from workshop.models import Role

pytestmark = pytest.mark.django_db

TIME_S = np.linspace(0, 8, 801)
SPEED_RPM = 3000 + 1000 * TIME_S
TRUE = 0.88 + 0.03 * np.sin(SPEED_RPM / 1500)  # 0.85 to 0.91


def sweep_with(lambda_: np.ndarray) -> bytes:
    rows = [
        f"{t:.3f},{n:.1f},{n / 200:.4f},100.0,{sensed:.3f}"
        for t, n, sensed in zip(TIME_S, SPEED_RPM, lambda_, strict=True)
    ]
    return "\n".join([HEADER, *rows]).encode()


@pytest.fixture
def result_of(staff, shop):
    def attach(lambda_: np.ndarray) -> Any:
        return get_result(attach_sweep(make_job(), staff[Role.TUNER], sweep_with(lambda_)).run, shop)

    return attach


def test_wild_samples_do_not_bend_the_curve_and_are_counted(result_of) -> None:
    values = TRUE.copy()
    values[[100, 300, 301, 500]] = [9.999, 1.782, 0.0, 9.999]
    result = result_of(values)
    assert result.lambda_ is not None
    assert np.nanmin(result.lambda_) > 0.848
    assert np.nanmax(result.lambda_) < 0.912
    sentences = {flag.code: flag.sentence for flag in result.flags}
    assert sentences["lambda-wild"].startswith("Lambda: 4 samples that no sensor can measure")


def test_a_sensor_at_its_limit_is_said_and_its_stretch_not_shown(result_of) -> None:
    true = np.interp(SPEED_RPM, [3000, 4000, 6000, 9000, 11_000], [0.60, 0.68, 0.88, 0.90, 1.60])
    result = result_of(np.clip(true, 0.68, 1.36))
    assert result.lambda_ is not None
    speed = result.curve.engine_speed_rpm
    assert np.isnan(result.lambda_[speed <= 3900]).all()
    assert np.isnan(result.lambda_[speed >= 10_500]).all()
    assert np.nanmin(result.lambda_) >= 0.679  # no overshoot beyond the sensor's scale
    assert np.nanmax(result.lambda_) <= 1.361
    between = (speed > 4300) & (speed < 9900)
    expected = np.interp(speed[between], [4000, 6000, 9000, 11_000], [0.68, 0.88, 0.90, 1.60])
    assert np.nanmax(np.abs(result.lambda_[between] - expected)) < 0.01
    told = [flag.sentence for flag in result.flags if flag.code == "lambda-limit"]
    assert "is at its limit of 0.68" in told[0]
    assert "from 3000 to 4000 rpm" in told[0]
    assert "is at its limit of 1.36" in told[1]
    assert "leaner" in told[1]
