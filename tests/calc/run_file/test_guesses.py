"""What a column is proposed as, and guesses that are too weak to be chosen."""

import numpy as np
import pytest

from jobs.calc.run_file import preview, sniff
from jobs.calc.run_file.layout import CERTAIN_CONFIDENCE, PRESELECTED_CONFIDENCE, Column
from tests.calc.run_files import read_confirmed

SPEED = [f"{n}" for n in range(3000, 3040)]


def file_with(header: str, cells: list[str]) -> bytes:
    rows = "".join(f"{n};{cell}\n" for n, cell in zip(SPEED, cells, strict=True))
    return f"Engine speed [rpm];{header}\n{rows}".encode()


def rising(low: float, high: float) -> list[str]:
    return [f"{value:.4f}" for value in np.linspace(low, high, 40)]


def proposed(header: str, cells: list[str]) -> Column:
    return sniff(file_with(header, cells)).layout.columns[1]


# Factors of NIST SP 811, appendix B: 1 psi = 6.894757 kPa, 1 bar = 100 kPa
@pytest.mark.parametrize(
    ("header", "cell", "channel", "expected"),
    [
        ("Oil pressure [psig]", "58", "oil_pressure_kpa", 399.8959),
        ("Oil pressure [psi]", "58", "oil_pressure_kpa", 399.8959),
        ("Oil press. [bar]", "4", "oil_pressure_kpa", 400.0),
        ("Öldruck [bar]", "4.1", "oil_pressure_kpa", 410.0),
        ("Pression d'huile [bar]", "4.1", "oil_pressure_kpa", 410.0),
        ("Fuel pressure [barg]", "3", "fuel_pressure_kpa", 300.0),
        ("Kraftstoffdruck [bar]", "3", "fuel_pressure_kpa", 300.0),
        ("Boost [psig]", "7.25", "boost_pressure_kpa", 49.98699),
        ("Boost [psi gauge]", "7.25", "boost_pressure_kpa", 49.98699),
        ("MAP [psig]", "-5", "boost_pressure_kpa", -34.473785),
        ("Manifold pressure (gauge) [psi]", "-5", "boost_pressure_kpa", -34.473785),
        ("Manifold pressure [psia]", "14.5", "manifold_pressure_kpa", 99.97398),
        ("Manifold pressure [bara]", "0.98", "manifold_pressure_kpa", 98.0),
        ("Manifold absolute pressure [kPa]", "98", "manifold_pressure_kpa", 98.0),
        ("Boost [bara]", "1.8", "manifold_pressure_kpa", 180.0),
        ("Boost pressure (abs) [kPa]", "180", "manifold_pressure_kpa", 180.0),
        ("Baro [psia]", "14.5", "barometric_pressure_kpa", 99.97398),
        ("Air mass flow [g/s]", "42", "air_flow_g_s", 42.0),
        ("MAF [kg/h]", "36", "air_flow_g_s", 10.0),
        ("Roller torque [kN·m]", "1.2", "roller_torque_nm", 1200.0),
    ],
)
def test_pressures_are_told_apart_by_unit_and_name(header, cell, channel, expected):
    data = file_with(header, [cell] * 40)
    assert sniff(data).layout.columns[1].confidence >= CERTAIN_CONFIDENCE
    np.testing.assert_allclose(read_confirmed(data).channels[channel], expected, rtol=1e-6)


@pytest.mark.parametrize(
    ("header", "cells", "channel", "unit"),
    [
        # a manifold of an engine at work, 30 to 98 kPa, in each unit, without a word about it
        ("MAP", rising(30, 98), "manifold_pressure_kpa", "kpa"),
        ("Manifold pressure", rising(28, 33), "manifold_pressure_kpa", "kpa"),  # nearly shut, no barometer
        ("MAP", rising(300, 980), "manifold_pressure_kpa", "mbar"),
        ("MAP", rising(0.3, 0.98), "manifold_pressure_kpa", "bar"),
        ("MAP", rising(4.4, 14.2), "manifold_pressure_kpa", "psi"),
        ("Oil pressure", rising(1.2, 4.8), "oil_pressure_kpa", "barg"),
        ("Oil pressure", rising(17, 70), "oil_pressure_kpa", "psig"),
        ("Oil pressure", rising(120, 480), "oil_pressure_kpa", "kpag"),
        ("Coolant temperature", rising(170, 199), "coolant_temperature_c", "f"),
        ("Power", rising(20, 60), "power_kw", "kw"),
        ("RPM x", rising(3, 11), "engine_speed_rpm", "krpm"),
    ],
)
def test_a_unit_that_is_only_a_guess_is_offered_and_never_chosen(header, cells, channel, unit):
    data = file_with(header, cells).replace(b"Engine speed [rpm]", b"Marker")
    column = sniff(data).layout.columns[1]
    assert (column.channel, column.unit) == (channel, unit)
    assert column.confidence < PRESELECTED_CONFIDENCE
    assert column.without_weak_guess().unit is None
    layout = sniff(data).layout.without_weak_guesses()
    shown = preview(data, layout, rows=10)
    if layout.columns[1].channel:
        assert any("enter its unit" in question.sentence for question in shown.questions)
        assert shown.columns[1].unit_label == ""


def test_a_temperature_in_fahrenheit_without_a_unit_is_not_chosen_as_celsius():
    column = proposed("Intake air temperature", rising(87, 89))
    assert column.confidence < CERTAIN_CONFIDENCE
    assert (column.without_weak_guess().channel, column.without_weak_guess().unit) == (
        "intake_air_temperature_c",
        None,
    )


@pytest.mark.parametrize(
    ("header", "cells", "channel"),
    [
        ("Manifold pressure [bar]", rising(-0.6, 0.9), "boost_pressure_kpa"),
        ("Ladedruck [mbar]", rising(980, 2100), "manifold_pressure_kpa"),
        ("Boost [bar]", rising(0.4, 0.9), "boost_pressure_kpa"),
    ],
)
def test_a_plain_unit_that_leaves_the_reference_open_is_asked_about(header, cells, channel):
    column = proposed(header, cells)
    assert column.channel == channel
    assert PRESELECTED_CONFIDENCE <= column.confidence < CERTAIN_CONFIDENCE


def test_an_absolute_oil_pressure_is_not_taken_for_a_gauge_one():
    assert proposed("Oil pressure [bara]", ["5"] * 40).channel is None


@pytest.mark.parametrize(
    ("header", "named", "asked"),
    [
        ("MAP [psig]", ("manifold_pressure_kpa", "psi"), True),
        ("Oil pressure [bara]", ("oil_pressure_kpa", "barg"), True),
        ("MAP [psig]", ("boost_pressure_kpa", "psig"), False),
        ("MAP [psi]", ("manifold_pressure_kpa", "psi"), False),
        ("Oil pressure [bar]", ("oil_pressure_kpa", "barg"), False),
        ("MAP [psia]", ("manifold_pressure_kpa", "psi"), False),
    ],
)
def test_a_pressure_named_against_its_unit_is_asked_about(header, named, asked):
    data = file_with(header, ["5"] * 40)
    layout = sniff(data).layout.with_meanings({1: named})
    questions = preview(data, layout, rows=5).questions
    assert (
        any("Check whether it is another pressure." in question.sentence for question in questions) == asked
    )


@pytest.mark.parametrize("step", [1, 2])
def test_whole_seconds_are_not_proposed_as_milliseconds(step):
    rows = "".join(f"{step * i};{3000 + i}\n" for i in range(200))
    column = sniff(f"Time;Engine speed [rpm]\n{rows}".encode()).layout.columns[0]
    assert (column.channel, column.unit) == ("time_s", "s")
    assert column.without_weak_guess().unit is None  # a logger of 1 kHz writes the same


def test_whole_milliseconds_are_still_proposed():
    rows = "".join(f"{20 * i};{3000 + i}\n" for i in range(200))
    column = sniff(f"Time;Engine speed [rpm]\n{rows}".encode()).layout.columns[0]
    assert (column.unit, column.without_weak_guess().unit) == ("ms", "ms")


def test_one_of_two_barometers_is_read_in_its_own_unit():
    rows = "".join(f"{n};1009;100.9\n" for n in SPEED)
    data = f"Engine speed [rpm];Baro (mbar);Baro kPa\n{rows}".encode()
    channels = [column.channel for column in sniff(data).layout.columns]
    assert channels.count("barometric_pressure_kpa") == 1
    # 1,009 mbar and 100.9 kPa are the same air
    values = read_confirmed(data).channels["barometric_pressure_kpa"]
    np.testing.assert_allclose(values, 100.9, rtol=1e-9)
