"""Open measurement data as published, read as they lie in the packages that carry them.

References
----------
.. [1] NIST/ITL Statistical Reference Datasets: Norris (calibration of ozone monitors), certified
   slope and intercept; SiRstv (resistivity of silicon) and AtmWtAg (atomic weight of silver), analysis
   of variance. Carried by SciPy's tests.
.. [2] matplotlib's sample data: powers of 0 to 10.
"""

from pathlib import Path

import matplotlib
import numpy as np
import pytest
import scipy

from jobs.calc.run_file import read, sniff

NIST = Path(scipy.__file__).parent / "stats" / "tests" / "data"
SAMPLES = Path(matplotlib.__file__).parent / "mpl-data" / "sample_data"


def channels(data: bytes) -> dict[str, np.ndarray]:
    return read(data, sniff(data).layout).channels


def damaged(data: bytes) -> dict[str, bytes]:
    """Return the same file as other programs would have saved it."""
    text = data.decode()
    return {
        "as published": data,
        "utf-16": text.encode("utf-16"),
        "byte-order mark, old line ends": b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode(),
        "padding": data + b"\x00" * 512,
        "a remark below": data.rstrip() + b"\n\nmeasured twice\n",
    }


@pytest.mark.parametrize("twin", damaged(b""))
def test_nist_norris_file_gives_the_certified_line(twin):
    found = channels(damaged((NIST / "nist_linregress" / "Norris.dat").read_bytes())[twin])
    assert set(found) == {"x", "y"}
    assert len(found["x"]) == 36
    slope, intercept = np.polyfit(found["x"], found["y"], 1)
    assert slope == pytest.approx(1.00211681802045, rel=1e-9)  # certified [1]_
    assert intercept == pytest.approx(-0.262323073774029, rel=1e-9)


@pytest.mark.parametrize(("name", "column", "rows"), [("SiRstv", "Resistance", 25), ("AtmWtAg", "AgWt", 48)])
def test_nist_anova_file_is_read_below_sixty_lines_of_notes(name, column, rows):
    found = channels((NIST / "nist_anova" / f"{name}.dat").read_bytes())
    assert set(found) == {"Instrument", column}
    assert len(found[column]) == rows
    assert set(np.unique(found["Instrument"])) <= {1, 2, 3, 4, 5}


def test_columns_between_spaces_are_read_when_file_has_no_header():
    found = channels((SAMPLES / "data_x_x2_x3.csv").read_bytes())
    x = np.arange(11.0)
    for name, expected in zip(("column 1", "column 2", "column 3"), (x, x**2, x**3), strict=True):
        np.testing.assert_array_equal(found[name], expected)
