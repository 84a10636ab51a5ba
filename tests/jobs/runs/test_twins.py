"""Twins of one simulated file, each with one thing that files do: right, asked or refused, never misread.

The truth behind each twin is a sweep of 63.135 kW at 9,088 1/min with lambda from 0.849 to 0.911.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from django.urls import reverse

from jobs.models import Run
from tests.factories import make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import attach_sweep, get_result
from workshop.models import Role

pytestmark = pytest.mark.django_db

TIME_S = np.arange(0, 8.8, 0.01)
SPEED_RPM = 2500 + 1000 * TIME_S
POWER_KW = 63.135 - 48 * ((SPEED_RPM - 9088) / 6600) ** 2
LAMBDA = 0.88 + 0.031 * np.cos((SPEED_RPM - 2500) / 2100)
KPA, HPA = 100.9, 1009.0

Columns = dict[str, np.ndarray | list[str]]


def plain() -> Columns:
    return {
        "Time (s)": TIME_S,
        "Engine speed (rpm)": SPEED_RPM,
        "Power (kW)": POWER_KW,
        "Lambda": LAMBDA,
        "Grip (%)": np.full(TIME_S.size, 100.0),
    }


def written(columns: Columns, above: str = "") -> bytes:
    cells = [
        column if isinstance(column, list) else [f"{value:.4f}" for value in column]
        for column in columns.values()
    ]
    rows = "\n".join(",".join(row) for row in zip(*cells, strict=True))
    return f"{above}{','.join(columns)}\n{rows}\n".encode()


def constant(value: float) -> np.ndarray:
    return np.full(TIME_S.size, value)


def with_wild_samples() -> bytes:
    columns = {name: np.array(values) for name, values in plain().items()}
    for name, value in (("Lambda", 9.999), ("Engine speed (rpm)", 19_800.0), ("Power (kW)", 820.0)):
        columns[name][[120, 430, 700]] = value
    return written(columns)


def with_whole_seconds() -> bytes:
    """Make a slow ramp of 200 s, a row a second, whose time states no unit."""
    seconds = np.linspace(0, TIME_S.size - 1, 200).astype(int)
    columns: Columns = {name: np.asarray(values)[seconds] for name, values in plain().items()}
    return written(
        {"Time": [str(i) for i in range(200)], **{k: v for k, v in columns.items() if k != "Time (s)"}}
    )


# each twin, and either what is asked before it is read, or what is said once it is
TWINS: dict[str, tuple[Callable[[], bytes], str, str]] = {
    "plain": (lambda: written(plain()), "", ""),
    "wild samples": (with_wild_samples, "", "Lambda: 3 samples that no sensor can measure"),
    "factor above the header": (
        lambda: written({**plain(), "Power (kW)": 1.034 * POWER_KW}, "Correction factor 1.034\n\n"),
        "",
        "line 1 says 'Correction factor 1.034'",
    ),
    "two barometers": (
        lambda: written({**plain(), "Baro (mbar)": constant(HPA), "Baro kPa": constant(KPA)}),
        "",
        "",
    ),
    "mbar under a kPa heading": (
        lambda: written({**plain(), "Baro (kPa)": constant(HPA)}),
        "The header says kPa, and the values are not plausible in kPa.",
        "",
    ),
    "Fahrenheit without a unit": (
        lambda: written({**plain(), "Intake air temperature": constant(88.0)}),
        "The unit is not certain. It may be °C. Choose it only if it is.",
        "",
    ),
    "Fahrenheit with its unit": (
        lambda: written({**plain(), "Intake air temperature (degF)": constant(88.0)}),
        "",
        "",
    ),
    "oil pressure in psig": (lambda: written({**plain(), "Oil pressure [psig]": constant(58.0)}), "", ""),
    "manifold without a unit": (
        lambda: written({**plain(), "MAP": constant(31.0)}),
        "The unit is not certain. It may be kPa. Choose it only if it is.",
        "",
    ),
    "whole seconds": (with_whole_seconds, "The unit is not certain. It may be s.", ""),
    "hp in the heading": (
        lambda: written({**plain(), "Power (kW)": POWER_KW / 0.745699872}).replace(b"(kW)", b"(hp)"),
        "",
        "",
    ),
}


@pytest.mark.parametrize("twin", TWINS)
def test_every_twin_is_right_asked_or_told(twin, staff, shop, login) -> None:
    build, asked, told = TWINS[twin]
    air: dict[str, Any] = {"temperature_c": 25.0, "pressure_kpa": KPA, "humidity_pct": 40.0}
    run = attach_sweep(make_job(), staff[Role.TUNER], build(), **air).run
    if asked:
        assert run.status == Run.Status.TO_NAME
        page = login(Role.TUNER).get(reverse("run-layout", args=[run.pk]))
        assert asked in read_text(page).replace("\u2009", "").replace("\u202f", "")
        sent = read_form(page.content.decode(), "//form[.//select]")
        assert login(Role.TUNER).post(reverse("run-layout", args=[run.pk]), sent).status_code in (302, 422)
        return
    assert run.status == Run.Status.READ
    result = get_result(run, shop)
    assert result.observed is not None
    expected = 1.034 * 63.135 if "factor" in twin else 63.135
    assert result.observed.peak_power_kw == pytest.approx(expected, rel=3e-3)
    assert result.observed.peak_power_rpm == pytest.approx(9088, abs=100)
    assert result.lambda_ is not None
    assert np.nanmin(result.lambda_) > 0.845
    assert np.nanmax(result.lambda_) < 0.915
    assert not told or any(told in flag.sentence for flag in result.flags)


# 88 °F is 31.11 °C; 58 psi are 399.896 kPa; 1009 mbar are 100.9 kPa
@pytest.mark.parametrize(
    ("twin", "channel", "value"),
    [
        ("Fahrenheit with its unit", "intake_air_temperature_c", 31.1111),
        ("oil pressure in psig", "oil_pressure_kpa", 399.896),
        ("two barometers", "barometric_pressure_kpa", 100.9),
    ],
)
def test_stored_values_are_those_of_the_truth(twin, channel, value, staff, shop) -> None:
    run = attach_sweep(make_job(), staff[Role.TUNER], TWINS[twin][0]()).run
    stored = get_result(run, shop).channel(channel)
    np.testing.assert_allclose(stored, value, rtol=1e-5)
