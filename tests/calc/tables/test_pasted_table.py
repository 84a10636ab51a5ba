"""Tables as people paste them: read right, written back without loss, refused in clear words."""

import numpy as np
import pytest

from jobs.calc.tables.pasted_table import build_csv_rows, format_table, parse_table

SPEEDS, GRIPS = [2000, 4000, 6000], [0, 50, 100]
CELLS = [[1.25, 1.5, 1.75], [2.5, 3.0, 3.5], [4.05, 5.0, 6.0]]

POINTS = "0\t1.25\t1.5\t1.75\n50\t2.5\t3.0\t3.5\n100\t4.05\t5\t6\n"
COMMAS = POINTS.replace(".", ",")
PASTED = {
    "tabs, points": "\t2000\t4000\t6000\n" + POINTS,
    "tabs, commas": "\t2000\t4000\t6000\n" + COMMAS,
    "semicolons, commas": "rpm;2000;4000;6000\n" + COMMAS.replace("\t", ";"),
    "commas, points": ("x,2000,4000,6000\n" + POINTS.replace("\t", ",")).replace("\n", "\r\n"),
    "blanks": "2000 4000 6000\n" + POINTS.replace("\t", " "),
    "blanks, decimal commas": "2000 4000 6000\n0 1,25 1,5 1,75\n50 2,5 3,0 3,5\n100 4,05 5,0 6,0\n",
    "no corner": "2000\t4000\t6000\n" + POINTS,
    "empty column behind": ("\t2000\t4000\t6000\n" + POINTS).replace("\n", "\t\n"),
    "blank lines, mark, quotes": (
        '\ufeff\n;2000;4000;6000\n\n0;"1,25";1,5;1,75\n50;2,5;3;3,5\n\n100;4,05;5;6\n\n'
    ),
    "thousands with commas": "\t2,000\t4,000\t6,000\n" + POINTS,
    "thousands with points": "\t2.000\t4.000\t6.000\n" + COMMAS,
    "thousands with blanks": "\t2 000\t4 000\t6 000\n" + COMMAS,
    "per cent signs": "\t2000\t4000\t6000\n0 %\t1.25\t1.5\t1.75\n50 %\t2.5\t3\t3.5\n100 %\t4.05\t5\t6\n",
}


@pytest.mark.parametrize("text", PASTED.values(), ids=PASTED.keys())
def test_parse_table_reads_every_way_of_pasting(text: str) -> None:
    table = parse_table(text)
    np.testing.assert_array_equal(table.column_axis, SPEEDS)
    np.testing.assert_array_equal(table.row_axis, GRIPS)
    np.testing.assert_array_equal(table.cells, CELLS)


@pytest.mark.parametrize("text", PASTED.values(), ids=PASTED.keys())
def test_formatted_table_parses_to_the_same_values(text: str) -> None:
    first = parse_table(text)
    again = parse_table(format_table(first))
    np.testing.assert_array_equal(again.cells, first.cells)
    np.testing.assert_array_equal(again.column_axis, first.column_axis)
    np.testing.assert_array_equal(again.row_axis, first.row_axis)


@pytest.mark.parametrize("name", ["tabs, points", "tabs, commas", "semicolons, commas"])
def test_format_table_keeps_an_unchanged_table_to_the_letter(name: str) -> None:
    assert format_table(parse_table(PASTED[name])) == PASTED[name]


def test_format_table_rewrites_only_changed_cells() -> None:
    table = parse_table(PASTED["semicolons, commas"])
    cells = table.cells.copy()
    cells[2, 1] = 5.1
    assert format_table(table, cells) == PASTED["semicolons, commas"].replace("4,05;5;6", "4,05;5,10;6")


def test_csv_rows_have_points_and_the_decimals_of_each_cell() -> None:
    table = parse_table(PASTED["thousands with points"])
    cells = table.cells.copy()
    cells[2, 2] = 6.1
    rows = build_csv_rows(table, cells)
    assert rows[0] == ["", "2000", "4000", "6000"]
    assert rows[1] == ["0", "1.25", "1.5", "1.75"]
    assert rows[3] == ["100", "4.05", "5", "6.10"]


def test_three_decimals_are_no_thousands_when_a_speed_is_500() -> None:
    table = parse_table("\t500\t1000\n0\t4.125\t5.250\n50\t6.375\t7.500\n")
    np.testing.assert_array_equal(table.cells, [[4.125, 5.25], [6.375, 7.5]])
    np.testing.assert_array_equal(table.column_axis, [500, 1000])


@pytest.mark.parametrize("head", ["1,000\t2,000", "1.000\t2.000", "1'000\t2'000", "1000\t2000"])
def test_whole_values_are_read_when_speeds_have_thousands_marks(head: str) -> None:
    table = parse_table(f"{head}\n0\t0\t0\n100\t100\t100\n")
    np.testing.assert_array_equal(table.column_axis, [1000, 2000])
    np.testing.assert_array_equal(table.cells, [[0, 0], [100, 100]])


def test_empty_cell_becomes_nan_and_stays_empty() -> None:
    text = "\t2000\t4000\n0\t1.5\t\n50\t-\t2.5\n"
    table = parse_table(text)
    assert np.isnan(table.cells[0, 1])
    assert np.isnan(table.cells[1, 0])
    assert format_table(table) == text


def test_format_table_keeps_a_large_table_to_the_letter() -> None:
    rng = np.random.default_rng(1)
    lines = ["\t".join(["", *(str(500 * (i + 1)) for i in range(40))])]
    lines += ["\t".join([str(3 * r), *(f"{v:.3f}" for v in rng.uniform(0, 20, 40))]) for r in range(30)]
    text = "\n".join(lines) + "\n"
    table = parse_table(text)
    assert table.cells.shape == (30, 40)
    assert table.decimals == 3
    assert format_table(table) == text


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "first row of engine speeds"),
        ("1000\t2000", "at least two rows"),
        ("\t1000\t2000\n0\t1\tx2\n50\t2\t3\n", "Line 2, column 3: “x2” is not a number"),
        ("\t1000\t2000\n0\t1\t2\n\n50\t2\n", "Line 4 has 2 cells, the others have 3"),
        ("\t1000\t1000\n0\t1\t2\n50\t2\t3\n", "engine speed axis must increase"),
        ("\t1000\t2000\n50\t1\t2\n0\t2\t3\n", "grip axis must increase"),
        ("\t1000\t\n0\t1\t2\n50\t2\t3\n", "Line 1, column 3: a value is missing"),
        ("\t1000\n0\t1\n50\t2\n", "at least two engine speeds"),
        ("a\n" * 300, "At most 200"),
        ("\t1000\t2000\n0\t1\t1e999\n50\t2\t3\n", "not a number"),
    ],
)
def test_parse_table_names_what_it_cannot_read(text: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        parse_table(text)


@pytest.mark.parametrize("odd", ["65535", "4294967295"])
def test_axis_value_that_stands_for_no_value_is_refused(odd: str) -> None:
    with pytest.raises(ValueError, match=f"Line 1: {odd} cannot be engine speed"):
        parse_table(f"\t2000\t4000\t{odd}\n{POINTS}")
    with pytest.raises(ValueError, match=f"Line 4: {odd} cannot be grip"):
        parse_table(("\t2000\t4000\t6000\n" + POINTS).replace("\n100\t", f"\n{odd}\t"))


def test_format_table_refuses_cells_of_another_shape() -> None:
    with pytest.raises(ValueError, match="were given"):
        format_table(parse_table(PASTED["no corner"]), np.ones((2, 2)))
