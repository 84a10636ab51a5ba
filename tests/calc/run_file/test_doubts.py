"""A file under a remembered layout without units: another unit is noticed, a cold day is not."""

from collections.abc import Callable

import pytest

from jobs.calc.run_file import FileLayoutSpec, apply_known_layout, read, sniff, with_typical_values
from tests.calc.run_file_twins import text, whole_run

HEADER = "Time,Engine speed,Road speed,Intake air temperature,Baro,AFR"
MEANINGS: dict[int, tuple[str | None, str | None]] = {
    0: ("time_s", "s"),
    1: ("engine_speed_rpm", "rpm"),
    2: ("road_speed_kmh", "kmh"),
    3: ("intake_air_temperature_c", "c"),
    4: ("barometric_pressure_kpa", "kpa"),
    5: ("lambda", "afr"),
}


def keep(value: float) -> float:
    return value


def make_file(
    kmh_per_rpm: float = 1 / 60,
    temperature: Callable[[float], float] = keep,
    pressure: float = 1.0,
    afr: float = 14.7,
    hertz: float = 1.0,
) -> bytes:
    return text(
        (
            f"{time / hertz:.4f},{speed:.1f},{speed * kmh_per_rpm:.2f},{temperature(25 + time / 10):.1f},"
            f"{100.9 * pressure:.2f},{lambda_ * afr:.3f}"
            for time, speed, *_, lambda_ in whole_run().rows
        ),
        HEADER,
    )


@pytest.fixture(scope="module")
def known() -> FileLayoutSpec:
    data = make_file()
    layout = sniff(data).layout.with_meanings(MEANINGS).confirmed()
    return with_typical_values(layout, read(data, layout).channels)


def doubts(data: bytes, known: FileLayoutSpec) -> str:
    layout = apply_known_layout(sniff(data), known)
    assert layout is not None
    return " ".join(read(data, layout).doubts)


@pytest.mark.parametrize(
    ("data", "unit"),
    [
        (make_file(kmh_per_rpm=1 / 60 / 1.609344), "mph"),
        (make_file(temperature=lambda c: 1.8 * c + 32), "°F"),
        (make_file(temperature=lambda c: c + 273.15), "K"),
        (make_file(pressure=10), "hPa"),
        (make_file(pressure=1 / 3.386389), "inHg"),  # NIST SP 811, appendix B.8
        (make_file(pressure=1 / 6.894757), "psi"),
        (make_file(hertz=0.001), "ms"),
    ],
)
def test_column_in_another_unit_is_asked_about(data: bytes, unit: str, known: FileLayoutSpec) -> None:
    assert f"Is its unit {unit} in this file?" in doubts(data, known)


def test_lambda_in_place_of_the_air_fuel_ratio_is_asked_about(known: FileLayoutSpec) -> None:
    assert "read as lambda: 1351 values are not plausible" in doubts(make_file(afr=1), known)


@pytest.mark.parametrize(
    "data",
    [
        make_file(),
        make_file(kmh_per_rpm=1 / 75),
        make_file(temperature=lambda c: c - 20),
        make_file(pressure=0.93),
        make_file(hertz=10),
    ],
    ids=["same", "other gear", "cold day", "low pressure", "faster logger"],
)
def test_another_day_gear_or_rate_is_not_asked_about(data: bytes, known: FileLayoutSpec) -> None:
    assert doubts(data, known) == ""


def test_layout_stored_before_asks_nothing_about_units(known: FileLayoutSpec) -> None:
    stored = known.to_dict()
    for column in stored["columns"]:
        del column["typical"]
    assert doubts(make_file(), FileLayoutSpec.from_dict(stored)) == ""
