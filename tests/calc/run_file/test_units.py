"""Units and times of run files against published factors."""

from dataclasses import replace

import numpy as np
import pytest

from jobs.calc.run_file import preview, read, sniff
from tests.calc.run_files import read_confirmed

SPEED = [f"{n}" for n in range(3000, 3040)]


def column(header: str, cell: str) -> bytes:
    """Make a file with an engine speed and one other column of constant value."""
    return (f"Engine speed [rpm];{header}\n" + "".join(f"{n};{cell}\n" for n in SPEED)).encode()


# Factors: NIST SP 811 (2008), appendix B; 1 krpm and percentages by their meaning.
@pytest.mark.parametrize(
    ("header", "cell", "channel", "expected"),
    [
        ("Power [kW]", "100", "power_kw", 100.0),
        ("Power [hp]", "100", "power_kw", 74.5699872),
        ("Power (PS)", "100", "power_kw", 73.549875),
        ("Leistung in PS", "100", "power_kw", 73.549875),
        ("power_kw", "100", "power_kw", 100.0),
        ("Torque [N·m]", "100", "torque_nm", 100.0),
        ("Torque [lbf·ft]", "100", "torque_nm", 135.5817948),
        ("Torque (lb-ft)", "100", "torque_nm", 135.5817948),
        ("Torque [kgf·m]", "10", "torque_nm", 98.0665),
        ("Vehicle speed [km/h]", "100", "road_speed_kmh", 100.0),
        ("Vehicle speed [mph]", "100", "road_speed_kmh", 160.9344),
        ("Vehicle speed [m/s]", "10", "road_speed_kmh", 36.0),
        ("Roller speed [m/s]", "10", "roller_speed_kmh", 36.0),
        ("Roller speed [1/min]", "900", "roller_speed_rpm", 900.0),
        ("Roller torque [N·m]", "300", "roller_torque_nm", 300.0),
        ("Coolant temperature [°F]", "212", "coolant_temperature_c", 100.0),
        ("Coolant temperature [K]", "373.15", "coolant_temperature_c", 100.0),
        ("IAT [degC]", "21.5", "intake_air_temperature_c", 21.5),
        ("Barometric pressure [hPa]", "1013.25", "barometric_pressure_kpa", 101.325),
        ("Barometric pressure [mbar]", "1013.25", "barometric_pressure_kpa", 101.325),
        ("Barometric pressure [inHg]", "29.92", "barometric_pressure_kpa", 101.32075888),
        ("MAP [psi]", "14.5", "manifold_pressure_kpa", 99.97398075),
        ("MAP [kPa]", "95", "manifold_pressure_kpa", 95.0),
        ("Humidity [%]", "55", "humidity_pct", 55.0),
        ("Throttle plate [0-1]", "0.5", "plate_pct", 50.0),
        ("TPS [%]", "50", "plate_pct", 50.0),
        ("Grip [%]", "50", "grip_pct", 50.0),
        ("Lambda", "0.9", "lambda", 0.9),
        ("Equivalence ratio", "0.8", "lambda", 1.25),
        ("Gear", "4", "gear", 4.0),
        ("Ignition advance [°]", "32", "ignition_advance_deg", 32.0),
        ("Injection time [ms]", "4.5", "injector_time_ms", 4.5),
        ("Injection time [µs]", "4500", "injector_time_ms", 4.5),
        ("Distance [km]", "1.5", "distance_m", 1500.0),
    ],
)
def test_columns_are_converted_to_the_unit_of_their_channel(header, cell, channel, expected):
    run = read_confirmed(column(header, cell))
    np.testing.assert_allclose(run.channels[channel], expected, rtol=1e-8)
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], [float(n) for n in SPEED])


def test_thousands_of_revolutions_are_converted_to_rpm():
    data = ("Engine speed [rpm x1000];Power [kW]\n" + "4.5;20\n" * 40).encode()
    np.testing.assert_allclose(read_confirmed(data).channels["engine_speed_rpm"], 4500.0)


def test_air_fuel_ratio_asks_for_its_fuel():
    # check values lambda-01 and lambda-04: 12.9 on the petrol scale of 14.7, 8.6 on one of 9.8
    data = column("AFR", "12.9")
    layout = sniff(data).layout
    assert layout.needs_confirmation
    assert any("fuel" in question.sentence for question in preview(data, layout, rows=10).questions)
    np.testing.assert_allclose(read(data, layout.confirmed()).channels["lambda"], 0.877551, rtol=1e-6)


def test_air_fuel_ratio_is_converted_with_its_own_fuel():
    data = column("AFR", "8.6")
    layout = replace(sniff(data).layout.confirmed(), stoichiometric_afr=9.8)
    run = read(data, layout)
    np.testing.assert_allclose(run.channels["lambda"], 0.877551, rtol=1e-6)
    assert run.report.questions == ()


def test_equivalence_ratio_of_zero_becomes_nan():
    data = column("Equivalence ratio", "0.8").replace(b";0.8\n", b";0\n", 1)
    assert np.isnan(read_confirmed(data).channels["lambda"][0])


def test_power_named_as_corrected_is_questioned():
    data = column("Power SAE corrected [hp]", "100")
    questions = preview(data, sniff(data).layout, rows=10).questions
    assert any("corrected" in question.sentence for question in questions)


# --- times


def times(cells: list[str], header: str = "Time") -> np.ndarray:
    data = (f"{header};Engine speed [rpm]\n" + "".join(f"{cell};3000\n" for cell in cells)).encode()
    run = read_confirmed(data)
    assert len(run.channels["engine_speed_rpm"]) == len(cells)
    return run.channels["time_s"]


@pytest.mark.parametrize(
    ("cells", "header"),
    [
        (["12.50", "12.75", "13.00", "13.50"], "Time [s]"),
        (["12500", "12750", "13000", "13500"], "Time [ms]"),
        (["12500", "12750", "13000", "13500"], "Time"),
        (["12:03:04.50", "12:03:04.75", "12:03:05.00", "12:03:05.50"], "Time"),
        (["12:03:04,50", "12:03:04,75", "12:03:05,00", "12:03:05,50"], "Uhrzeit"),
        (["12:03:04:500", "12:03:04:750", "12:03:05:000", "12:03:05:500"], "Time"),
        (["03:04.50", "03:04.75", "03:05.00", "03:05.50"], "Time"),
        (["23:59:59.50", "23:59:59.75", "00:00:00.00", "00:00:00.50"], "Time"),
        (["11:59:59.50 AM", "11:59:59.75 AM", "12:00:00.00 PM", "12:00:00.50 PM"], "Time"),
        (
            [
                "2026-11-25T12:03:04.50",
                "2026-11-25T12:03:04.75",
                "2026-11-25T12:03:05",
                "2026-11-25T12:03:05.5Z",
            ],
            "Time",
        ),
        (
            [
                "25.11.2026 12:03:04,50",
                "25.11.2026 12:03:04,75",
                "25.11.2026 12:03:05",
                "25.11.2026 12:03:05,5",
            ],
            "Zeit",
        ),
        (
            [
                "31/12/2026 23:59:59.5",
                "31/12/2026 23:59:59.75",
                "01/01/2027 00:00:00",
                "01/01/2027 00:00:00.5",
            ],
            "Time",
        ),
        (
            ["12/31/2026 23:59:59.5", "12/31/2026 23:59:59.75", "1/1/2027 00:00:00", "1/1/2027 00:00:00.5"],
            "Time",
        ),
    ],
)
def test_times_count_in_seconds_from_the_first_row(cells, header):
    np.testing.assert_allclose(times(cells, header), [0, 0.25, 0.5, 1.0], atol=1e-4)


def test_impossible_clock_time_becomes_nan():
    data = (
        "Time;Engine speed [rpm]\n"
        + "".join(f"12:03:0{i}.0;3000\n" for i in range(5))
        + "99:99:99;3000\n12:03:06;3000\n"
    )
    run = read_confirmed(data.encode())
    np.testing.assert_allclose(run.channels["time_s"], [0, 1, 2, 3, 4, np.nan, 6])
    assert run.report.columns[0].lines == (7,)


def test_clock_is_time_when_a_date_is_beside_it():
    data = "Date;Clock;Engine speed [rpm]\n" + "".join(f"25.11.2026;12:03:0{i};3000\n" for i in range(5))
    run = read_confirmed(data.encode())
    np.testing.assert_allclose(run.channels["time_s"], range(5))
