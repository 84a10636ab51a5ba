"""Whatever the bytes: a run file, or one plain sentence. No other error."""

import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.calc.run_file import (
    DECIMALS,
    DELIMITERS,
    ENCODINGS,
    THOUSANDS,
    FileLayoutSpec,
    RunFileError,
    StructureOverrides,
    apply_known_layout,
    preview,
    read,
    sniff,
)

ODD_CELLS = [
    "",
    "-",
    "NaN",
    "rpm",
    "Lambda",
    "AFR",
    "°C",
    "[kW]",
    "1.234,5",
    "1,234.5",
    "1 234",
    "12:03:04.5",
    "12:03",
    "25.11.2026 12:03:04",
    "99/99/9999 1:02:03",
    "Power (kW)",
    "Drehzahl",
    '"',
    '"a',
    "'",
    "#",
    "1e999",
    "-inf",
    "0x1F",
    "1_000",
    "٣",
    "²",
    "½",
    "\x00",
    "\x1a",
    "\ufeff",
    "\r",
    "\u2028",
    "\x85",
    "=1+1",
    "time:",
    "time_",
    "inf",
    "True",
    "5 rpm",
    "12 %",
]

CELLS = st.one_of(
    st.integers(-(10**6), 10**6).map(str),
    st.floats(0, 1e4).map(lambda figure: f"{figure:.3f}"),
    st.floats(0, 1e4).map(lambda figure: f"{figure:.2f}".replace(".", ",")),
    st.sampled_from(ODD_CELLS),
    st.text(max_size=5),
)
ROWS = st.lists(st.lists(CELLS, max_size=8), max_size=12)


@st.composite
def files(draw: st.DrawFn) -> bytes:
    """Something like a run file, in any encoding, with some bytes lost or changed."""
    delimiter = draw(st.sampled_from([",", ";", "\t", "|", " ", ", ", "  "]))
    end = draw(st.sampled_from(["\n", "\r\n", "\r", "\r\r\n", "\n\n"]))
    header = draw(st.sampled_from(["", "Time;RPM;Power\n", "Time [s],RPM,Power [hp],AFR\n", "# t rpm\n"]))
    text = (
        header
        + end.join(delimiter.join(row) for row in draw(ROWS))
        + draw(st.sampled_from(["", end, "\x00" * 9]))
    )
    encoding = draw(
        st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32"])
    )
    data = text.encode(encoding, "replace")
    for place in draw(st.lists(st.integers(0, max(0, len(data) - 1)), max_size=3)):
        data = data[:place] + bytes([draw(st.integers(0, 255))]) + data[place + draw(st.integers(0, 3)) :]
    return data * draw(st.sampled_from([1, 1, 1, 30]))


CHOICES = st.builds(
    StructureOverrides,
    encoding=st.sampled_from([None, None, *ENCODINGS]),
    delimiter=st.sampled_from([None, *DELIMITERS]),
    decimal=st.sampled_from([None, *DECIMALS]),
    thousands=st.sampled_from([None, *THOUSANDS]),
    header_line=st.sampled_from([None, 0, 1, 2, 5, 99]),
    unit_line=st.sampled_from([None, 0, 1, 2, 3, 99]),
    data_line=st.sampled_from([None, 1, 2, 9]),
)


@pytest.mark.slow
@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.one_of(st.binary(max_size=400), files(), files()), CHOICES)
def test_any_bytes_are_read_or_refused_with_a_sentence(data: bytes, overrides: StructureOverrides) -> None:
    for choice in (None, overrides):
        try:
            guess = sniff(data, "any.csv", choice)
        except RunFileError as error:
            assert str(error).endswith((".", "?"))
            continue
        stored = FileLayoutSpec.from_dict(json.loads(json.dumps(guess.layout.to_dict())))
        assert stored == guess.layout
        assert apply_known_layout(guess, stored) is not None
        for layout in (stored, stored.confirmed()):
            read_or_refused(data, layout)


def read_or_refused(data: bytes, layout: FileLayoutSpec) -> None:
    try:
        preview(data, layout, rows=20)
        run = read(data, layout)
    except RunFileError as error:
        assert str(error)
        return
    assert len({len(values) for values in run.channels.values()}) <= 1
    assert not any(np.isinf(values).any() for values in run.channels.values())
    json.dumps(run.report.to_dict(), allow_nan=False)
