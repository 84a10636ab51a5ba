"""Damaged run files: what cannot be read is counted and named, and the rest keeps its values."""

import numpy as np
import pytest

from jobs.calc.run_file import RunFileError, read, sniff
from tests.calc.run_files import (
    ENGINE_SPEED_RPM,
    LAMBDA,
    POWER_KW,
    TIME_S,
    assert_sweep,
    confirmed_layout,
    lines,
    read_confirmed,
    sweep,
)

HEADER = "Time [s],Engine speed [rpm],Power [kW],Lambda"


def with_line(number: int, line: str, text: str | None = None) -> bytes:
    """Return the sweep with another line inserted as line ``number``."""
    rows = (text or sweep()).split("\n")
    return "\n".join([*rows[: number - 1], line, *rows[number - 1 :]]).encode()


def dropped(run) -> dict[str, tuple[int, ...]]:
    return {part.reason: part.lines for part in run.report.dropped}


@pytest.mark.parametrize("repeat", ["Time [s],Engine speed [rpm],Power [kW],Lambda", "s,rpm,kW,-"])
def test_repeated_header_is_skipped_and_reported(repeat):
    text = sweep(header="Time,Engine speed,Power,Lambda").replace("\n", "\ns,rpm,kW,-\n", 1)
    line = "Time,Engine speed,Power,Lambda" if repeat.startswith("Time") else repeat
    run = read_confirmed(with_line(20, line, text))
    assert_sweep(run)
    assert dropped(run) == {"repeated header": (20,)}


def test_text_between_rows_is_skipped_and_reported():
    run = read_confirmed(with_line(12, "--- restarted ---"))
    assert_sweep(run)
    assert dropped(run) == {"no number in the row": (12,)}


def test_text_below_the_rows_is_skipped_and_reported():
    run = read_confirmed((sweep() + "\nend of run\nMax power,29.75\n").encode())
    assert_sweep(run)
    assert dropped(run) == {"empty": (42,), "text below the data": (43, 44)}


def test_empty_rows_are_skipped_and_line_numbers_stay_right():
    rows = sweep().split("\n")
    data = "\n".join([*rows[:5], "", ",,,", *rows[5:30], "0.5,oops,21,0.9", *rows[30:]]).encode()
    run = read_confirmed(data)
    assert dropped(run) == {"empty": (6, 7)}
    assert run.report.columns[1].lines == (33,)
    assert run.report.rows == 41


def test_cells_without_figure_become_nan_and_are_reported_by_column():
    rows = sweep().split("\n")
    for line in (3, 7, 8):
        cells = rows[line - 1].split(",")
        cells[2] = "ERR"
        rows[line - 1] = ",".join(cells)
    run = read_confirmed("\n".join(rows).encode())
    expected = POWER_KW.copy()
    expected[[1, 5, 6]] = np.nan
    np.testing.assert_allclose(run.channels["power_kw"], expected)
    np.testing.assert_allclose(run.channels["lambda"], LAMBDA)
    assert (run.report.columns[2].no_figures, run.report.columns[2].lines) == (3, (3, 7, 8))
    assert any(
        "3 cells are no number" in sentence and "lines 3, 7, 8" in sentence
        for sentence in run.report.sentences
    )


def test_report_names_only_the_first_twenty_lines():
    rows = [
        f"{t:.2f},{'bad' if i % 2 else n},1,1"
        for i, (t, n) in enumerate(zip(range(100), range(100), strict=True))
    ]
    run = read_confirmed("\n".join([HEADER, *rows]).encode())
    assert run.report.columns[1].no_figures == 50
    assert run.report.columns[1].lines == tuple(range(3, 43, 2))


@pytest.mark.parametrize("mark", ["", "-", "NaN", "nan", "N/A", "---", "null"])
def test_missing_marks_become_nan_and_count_as_missing(mark):
    rows = sweep().split("\n")
    rows[5] = f"0.20,3040.00,{mark},0.94"
    run = read_confirmed("\n".join(rows).encode())
    assert np.isnan(run.channels["power_kw"][4])
    assert (run.report.columns[2].no_figures, run.report.columns[2].missing) == (0, 1)


@pytest.mark.parametrize(
    "cell", ["inf", "-inf", "1e999", "0x1F", "1_000", "٣", "=1+1", "12:30", "5 kPa", "1.2.3"]
)
def test_cell_that_only_looks_like_a_figure_becomes_nan(cell):
    rows = sweep().split("\n")
    rows[5] = f"0.20,3040.00,{cell},0.94"
    run = read_confirmed("\n".join(rows).encode())
    assert np.isnan(run.channels["power_kw"][4])
    assert run.report.columns[2].lines == (6,)


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ('"21.5"', 21.5),
        ("21.5 kW", 21.5),
        ("+21.5", 21.5),
        ("2.15E+1", 21.5),
        (" 21.5 ", 21.5),
        ("−21.5", -21.5),
    ],
)
def test_other_ways_to_write_a_figure_are_read(cell, value):
    rows = sweep().split("\n")
    rows[5] = f"0.20,3040.00,{cell},0.94"
    assert read_confirmed("\n".join(rows).encode()).channels["power_kw"][4] == value


def test_decimal_point_among_decimal_commas_is_read():
    text = sweep(";", ",").replace(";21,00;", ";21.00;", 1)
    assert_sweep(read_confirmed(text.encode()))


@pytest.mark.parametrize(
    ("mark", "decimal", "delimiter"), [(".", ",", ";"), (",", ".", ";"), (" ", ",", ";"), ("'", ".", ",")]
)
def test_thousands_marks_are_read(mark, decimal, delimiter):
    speeds = np.arange(900.0, 1300.0, 10.0)
    rows = "".join(
        f"{t:.2f}".replace(".", decimal)
        + delimiter
        + f"{n:,.1f}".translate(str.maketrans({",": mark, ".": decimal}))
        + "\n"
        for t, n in zip(TIME_S, speeds, strict=True)
    )
    run = read_confirmed(f"Time [s]{delimiter}Engine speed [rpm]\n{rows}".encode())
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], speeds)


def test_thousands_marks_are_found_when_only_far_down():
    speeds = np.concatenate([np.full(30_000, 850), np.full(50, 1050)])
    rows = "".join(
        f"{i / 100:.2f};{f'{n:,}'.replace(',', '.')}\n".replace(".", ",", 1) for i, n in enumerate(speeds)
    )
    run = read_confirmed(f"Time [s];Engine speed [rpm]\n{rows}".encode())
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], speeds)


def test_ambiguous_thousands_mark_is_questioned():
    cells = [f"{n:,}" for n in range(900, 1300, 10)]  # 900 to 990, then 1,000 to 1,290
    data = "".join(f"{cell};\n" for cell in ["Engine speed [rpm]", *cells]).encode()
    layout = sniff(data).layout
    assert any("1,000" in doubt for doubt in layout.doubts)
    speeds = read(data, layout.confirmed()).channels["engine_speed_rpm"]
    np.testing.assert_allclose(speeds, np.arange(900, 1300, 10))


def test_row_with_surplus_cells_keeps_the_first_and_is_reported():
    rows = sweep().split("\n")
    rows[9] += ",7,8"
    run = read_confirmed("\n".join(rows).encode())
    assert_sweep(run)
    assert any("more cells" in sentence and "line 10" in sentence for sentence in run.report.sentences)


def test_short_row_gets_nan_in_its_last_cells():
    rows = sweep().split("\n")
    rows[9] = "0.40,3080.00"
    run = read_confirmed("\n".join(rows).encode())
    assert np.isnan(run.channels["lambda"][8])
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)


def test_last_row_is_skipped_when_cut_off():
    run = read_confirmed((sweep() + "2.00,34").encode())
    assert_sweep(run)
    assert dropped(run) == {"incomplete row": (42,)}


def test_last_row_is_read_when_it_lacks_only_a_line_end():
    assert_sweep(read_confirmed(sweep().rstrip("\n").encode()))


@pytest.mark.parametrize("padding", [b"\x00" * 5000, b"\x1a", b"\x1a\x00\x00"])
def test_padding_behind_the_last_row_is_ignored(padding):
    assert_sweep(read_confirmed(sweep().encode() + padding))


def test_unclosed_quote_leaves_all_other_cells_alone():
    rows = sweep().split("\n")
    rows[5] = '0.20,"3040.00,21.00,0.94'
    assert_sweep(read_confirmed("\n".join(rows).encode()))


def test_bytes_of_another_encoding_cost_one_cell():
    data = sweep().encode().replace(b",21.00,", b",21\xb0,", 1)
    run = read_confirmed(data)
    assert np.isnan(run.channels["power_kw"][4])
    np.testing.assert_allclose(run.channels["lambda"], LAMBDA)


def test_column_of_words_is_skipped_and_the_rest_is_read():
    rows = sweep().split("\n")
    data = "\n".join([rows[0] + ",Marker", *(row + ",lap" for row in rows[1:-1]), ""]).encode()
    run = read_confirmed(data)
    assert_sweep(run)
    assert "Marker" not in run.channels
    assert any("'Marker'" in sentence and "no numbers" in sentence for sentence in run.report.sentences)


def test_damage_deep_in_a_long_file_leaves_all_other_rows_alone():
    n = 120_000
    speed, power = 3000 + (np.arange(n) % 5000), 20 + (np.arange(n) % 300) / 10
    rows = lines([np.arange(n) / 100, speed, power, np.full(n, 0.9)]).split("\n")
    rows[70_000] = "--- pause ---"
    rows[70_500] = "705.00,fault,20.00,0.90"
    rows[99_000] = ""
    run = read_confirmed("\n".join([HEADER, *rows]).encode())
    kept = np.delete(np.arange(n), [70_000, 99_000])
    expected = speed[kept].astype(float)
    expected[np.flatnonzero(kept == 70_500)] = np.nan
    np.testing.assert_array_equal(run.channels["engine_speed_rpm"], expected)
    np.testing.assert_allclose(run.channels["power_kw"], np.where(kept == 70_500, 20.0, power[kept]))
    assert dropped(run) == {"no number in the row": (70_002,), "empty": (99_002,)}
    assert run.report.columns[1].lines == (70_502,)


@pytest.mark.parametrize(("column", "value"), [(1, 60_000), (3, 9), (2, -900)])
def test_implausible_values_are_questioned_and_stored(column, value):
    rows = sweep().split("\n")
    cells = rows[10].split(",")
    cells[column] = str(value)
    rows[10] = ",".join(cells)
    run = read_confirmed("\n".join(rows).encode())
    (question,) = run.report.questions
    assert question.position == column
    assert "1 value is not plausible" in question.sentence
    assert run.channels[run.report.columns[column].stored_as][9] == value


def test_implausible_temperature_is_questioned():
    data = ("Intake air temperature [°C];Engine speed [rpm]\n" + "400;3000\n" * 30).encode()
    assert "not plausible" in read_confirmed(data).report.questions[0].sentence


def test_time_running_backwards_is_questioned():
    rows = sweep().split("\n")
    rows[10], rows[11] = rows[11], rows[10]
    (question,) = read_confirmed("\n".join(rows).encode()).report.questions
    assert "does not increase" in question.sentence
    assert "line 12" in question.sentence


def test_file_without_a_row_of_figures_is_refused():
    with pytest.raises(RunFileError, match="None of the 3 rows from line 2 on can be read"):
        read(f"{HEADER}\nx,y,z,w\nerr,err,err,err\n1".encode(), confirmed_layout(sweep().encode()))


@pytest.mark.parametrize("label", ["A", "Max", "x1y"])
def test_ten_rows_that_begin_with_a_label_are_read(label):
    rows = [
        f"{label},{speed:.0f},{power:.1f}" for speed, power in zip(ENGINE_SPEED_RPM, POWER_KW, strict=True)
    ]
    data = "\n".join([HEADER, *rows[:10], ""]).encode()
    run = read(data, confirmed_layout(sweep().encode()))
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM[:10])


def test_results_below_a_table_are_no_rows():
    run = read_confirmed((sweep() + "Max,29.75,3390\nMean,24.9,3195\n").encode())
    assert_sweep(run)
    assert dropped(run) == {"text before too few cells": (42, 43)}


def test_refusal_says_what_the_rows_are_when_they_hold_figures():
    data = f"{HEADER}\n" + "3000 1/min; 20 kW\n" * 10
    with pytest.raises(RunFileError) as refused:
        read(data.encode(), confirmed_layout(sweep().encode()))
    assert "None of the 10 rows from line 2 on can be read" in refused.value.reason
    assert "no row with figures" not in refused.value.reason


def test_refusal_quotes_a_line_with_figures_that_is_no_row():
    data = b"Engine speed is 3000 and power is 20 kW\nEngine speed is 3100 and power is 21 kW\n"
    with pytest.raises(RunFileError) as refused:
        sniff(data)
    assert "no data rows" not in refused.value.reason
    assert "Line 2 reads 'Engine speed is 3100 and power is 21 kW'" in refused.value.reason


def test_surplus_cells_all_over_a_long_file_leave_the_first_cells_alone():
    n = 30_000
    rows = lines([np.arange(n) / 100, 3000 + np.arange(n) % 5000, np.full(n, 20.0), np.full(n, 0.9)]).split(
        "\n"
    )
    long_lines = range(500, n, 1000)
    for line in long_lines:
        rows[line] += ",1,2,3"
    run = read_confirmed("\n".join([HEADER, *rows]).encode())
    np.testing.assert_array_equal(run.channels["engine_speed_rpm"], 3000 + np.arange(n) % 5000)
    assert any(
        "30 rows have more cells" in sentence and "line" in sentence for sentence in run.report.sentences
    )


def test_row_lacking_a_cell_is_skipped_when_delimiter_is_space():
    rows = sweep("  ", header="Time_s,Engine_speed_rpm,Power_kW,Lambda").split("\n")
    rows[5] = "0.20            21.00  0.94"  # the engine speed is missing
    rows[9] = "0.40  3080.00  22.00  NaN"
    run = read_confirmed("\n".join(rows).encode())
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], np.delete(ENGINE_SPEED_RPM, 4))
    np.testing.assert_allclose(run.channels["power_kw"], np.delete(POWER_KW, 4))
    assert dropped(run) == {"too few cells; not certain which one is missing": (6,)}
    assert np.isnan(run.channels["lambda"][7])


def test_column_of_dates_leaves_the_others_alone():
    rows = sweep().split("\n")
    data = "\n".join([f"Date,{rows[0]}", *(f"25.11.2026,{row}" for row in rows[1:-1]), ""]).encode()
    run = read_confirmed(data)
    assert_sweep(run)
    assert run.report.columns[0].stored_as is None


@pytest.mark.parametrize("cell", ["1" * 30_000 + "!", "1" * 30_000, "1," * 15_000 + "!", "(" * 30_000])
def test_cell_of_a_whole_page_is_refused_and_the_rest_keeps_its_values(cell):
    rows = sweep().split("\n")
    run = read_confirmed("\n".join([*rows[:30], f'0.5,"{cell}",21,0.9', *rows[30:]]).encode())
    assert run.report.columns[1].lines == (31,)
    assert run.report.rows == 41


def test_name_of_a_whole_page_names_no_channel():
    layout = sniff(sweep(header=f"Time [s],{'power ' * 5_000}[kW],Engine speed [rpm],Lambda").encode()).layout
    assert [column.channel for column in layout.columns] == ["time_s", None, "engine_speed_rpm", "lambda"]
