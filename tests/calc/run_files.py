"""Small run files, whole and damaged, built in bytes."""

import numpy as np

from jobs.calc.run_file import FileLayoutSpec, RunFile, read, sniff

ENGINE_SPEED_RPM = np.arange(3000.0, 3400.0, 10.0)  # 40 rows
TIME_S = np.arange(40) / 20
POWER_KW = 20 + np.arange(40) / 4
LAMBDA = 0.9 + (np.arange(40) % 7) / 100


def lines(
    columns: list[np.ndarray], delimiter: str = ",", decimal: str = ".", places: int = 2, end: str = "\n"
) -> str:
    """Return rows of numbers as text."""
    rows = np.column_stack(columns)
    text = (delimiter.join(f"{value:.{places}f}".replace(".", decimal) for value in row) for row in rows)
    return "".join(f"{row}{end}" for row in text)


def sweep(delimiter: str = ",", decimal: str = ".", header: str | None = None) -> str:
    """Make a sweep with time, engine speed, power and lambda."""
    names = "Time [s],Engine speed [rpm],Power [kW],Lambda" if header is None else header
    figures = lines([TIME_S, ENGINE_SPEED_RPM, POWER_KW, LAMBDA], delimiter, decimal)
    return f"{names.replace(',', delimiter)}\n{figures}" if names else figures


def confirmed_layout(data: bytes) -> FileLayoutSpec:
    return sniff(data).layout.confirmed()


def read_confirmed(data: bytes) -> RunFile:
    """Read a file with all suggestions accepted."""
    return read(data, confirmed_layout(data))


def assert_sweep(run: RunFile) -> None:
    """All four channels of :func:`sweep`, each with its own figures."""
    for name, expected in (
        ("time_s", TIME_S),
        ("engine_speed_rpm", ENGINE_SPEED_RPM),
        ("power_kw", POWER_KW),
        ("lambda", LAMBDA),
    ):
        np.testing.assert_allclose(run.channels[name], expected, rtol=0, atol=1e-9, err_msg=name)
