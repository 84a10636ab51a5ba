"""Reading run files: encodings, delimiters, marks, headers, and that names stay with their figures."""

import json
from dataclasses import replace

import numpy as np
import pytest

from jobs.calc.run_file import (
    FileLayoutSpec,
    RunFileError,
    StructureOverrides,
    apply_known_layout,
    preview,
    read,
    sniff,
)
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


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"]
)
def test_any_encoding_gives_the_same_channels(encoding):
    text = sweep(header="Zeit [s],Motordrehzahl [1/min],Leistung [kW],λ" if encoding != "cp1252" else None)
    assert_sweep(read_confirmed(text.encode(encoding)))


def test_utf_16_big_endian_with_its_mark():
    assert_sweep(read_confirmed(b"\xfe\xff" + sweep().encode("utf-16-be")))


def test_western_windows_signs_in_the_header():
    data = sweep(header="Time [s],Engine speed [rpm],Power [kW],Température d'air [°C]").encode("cp1252")
    guess = sniff(data)
    assert guess.layout.encoding == "cp1252"
    assert guess.layout.columns[3].name == "Température d'air"
    assert guess.layout.columns[3].unit == "c"


def test_accent_cut_in_two_by_the_end_of_the_part_looked_at():
    header = "Zeit [s],Motordrehzahl [rpm],Leistung [kW],λ\n"
    padding = 256 * 1024 - 1 - len(header.encode())
    data = (header + "0.00,1000.00,1.00,0.90\n" * (padding // 23)).encode()
    data += b" " * (256 * 1024 - 1 - len(data)) + "λ\n".encode() + b"0.00,1000.00,1.00,0.90\n"
    assert sniff(data).layout.encoding == "utf-8"


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("delimiter", [";", "\t", "|", "  "])
def test_any_delimiter_and_decimal_mark(delimiter, decimal):
    header = "Time_s,Engine_speed_rpm,Power_kW,Lambda"
    run = read_confirmed(sweep(delimiter, decimal, header).encode())
    assert run.report.delimiter == delimiter[0]
    assert run.report.decimal == decimal
    assert_sweep(run)


def test_comma_delimiter():
    assert_sweep(read_confirmed(sweep().encode()))


@pytest.mark.parametrize("end", ["\r\n", "\r", "\r\r\n"])
def test_line_ends_of_other_systems(end):
    assert_sweep(read_confirmed(sweep().replace("\n", end).encode()))


def test_quoted_decimal_commas_between_commas():
    rows = "".join(
        f'"{t:.2f}","{n:.0f}","{p:.2f}","{la:.2f}"\n'.replace(".", ",")
        for t, n, p, la in zip(TIME_S, ENGINE_SPEED_RPM, POWER_KW, LAMBDA, strict=True)
    )
    run = read_confirmed(('"Time [s]","Engine speed [rpm]","Power [kW]","Lambda"\n' + rows).encode())
    assert (run.report.delimiter, run.report.decimal) == (",", ",")
    assert_sweep(run)


# --- names stay with their figures


def test_rows_that_end_in_a_separator_do_not_slide_the_names():
    # pandas-dev/pandas#14124, natcap/invest#146
    text = sweep().split("\n")
    data = "\n".join([text[0], *(f"{row}," for row in text[1:-1]), ""]).encode()
    run = read_confirmed(data)
    assert_sweep(run)
    assert len(run.channels) == 4


def test_rows_that_end_in_several_separators():
    text = sweep().split("\n")
    run = read_confirmed("\n".join([text[0], *(f"{row},,," for row in text[1:-1]), ""]).encode())
    assert_sweep(run)


def test_header_that_ends_in_a_separator():
    text = sweep().split("\n")
    run = read_confirmed("\n".join([f"{text[0]},,", *text[1:]]).encode())
    assert_sweep(run)


def test_two_columns_of_one_name_stay_apart_by_position():
    # pandas-dev/pandas#7160
    front, rear = np.full(40, 0.90), np.full(40, 1.10)
    data = ("Engine speed [rpm];lambda;lambda\n" + lines([ENGINE_SPEED_RPM, front, rear], ";")).encode()
    layout = confirmed_layout(data)
    first = read(data, layout.with_meanings({1: ("lambda", "lambda")}))
    np.testing.assert_allclose(first.channels["lambda"], 0.90)
    second = read(
        data,
        FileLayoutSpec.from_dict(
            json.loads(json.dumps(layout.with_meanings({2: ("lambda", "lambda")}).to_dict()))
        ),
    )
    np.testing.assert_allclose(second.channels["lambda"], 1.10)
    for run, other in ((first, 1.10), (second, 0.90)):
        (name,) = set(run.channels) - {"engine_speed_rpm", "lambda"}
        np.testing.assert_allclose(run.channels[name], other)


def test_columns_of_one_name_need_a_nod():
    data = ("Engine speed [rpm];lambda;lambda\n" + lines([ENGINE_SPEED_RPM, LAMBDA, LAMBDA], ";")).encode()
    assert sniff(data).layout.needs_confirmation


def test_one_channel_cannot_be_two_columns():
    layout = confirmed_layout(sweep().encode())
    with pytest.raises(ValueError, match="only one can be it"):
        layout.with_meanings({1: ("power_kw", "kw"), 2: ("power_kw", "kw")})


def test_a_channel_moves_to_the_column_it_is_given_to():
    layout = confirmed_layout(sweep(header="Time [s],Engine speed [rpm],P1 [kW],P2 [kW]").encode())
    moved = layout.with_meanings({3: ("power_kw", "kw")})
    assert moved.columns[3].channel == "power_kw"
    assert moved.columns[2].channel is None


def test_empty_columns_are_left_out():
    rows = "".join(f"{t:.2f};;{n:.0f};\n" for t, n in zip(TIME_S, ENGINE_SPEED_RPM, strict=True))
    run = read_confirmed(("Time [s];Spare;Engine speed [rpm];\n" + rows).encode())
    assert list(run.channels) == ["time_s", "engine_speed_rpm"]
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)
    assert any("'Spare'" in sentence for sentence in run.report.sentences)


def test_a_column_named_like_a_channel_but_not_agreed_to_does_not_pass_for_it():
    data = (
        "Engine speed [rpm];lambda;lambda\n" + lines([ENGINE_SPEED_RPM, LAMBDA, LAMBDA + 1], ";")
    ).encode()
    run = read(data, sniff(data).layout)
    assert "lambda" not in run.channels
    assert len(run.channels) == 3


# --- what stands above the figures


def test_no_header():
    guess = sniff(sweep(header="").encode())
    assert guess.layout.header_line is None
    assert guess.layout.needs_confirmation
    layout = guess.layout.with_meanings({1: ("engine_speed_rpm", "rpm")})
    run = read(sweep(header="").encode(), layout)
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)


@pytest.mark.parametrize("notes", [1, 40, 300])
def test_notes_and_blank_lines_above(notes):
    # DistrictDataLabs/cultivar#45
    above = "".join(f"Note {i}: air 21,5 °C; nothing, to; read\n" if i % 3 else "\n" for i in range(notes))
    data = (above + "\n" + sweep(";")).encode()
    guess = sniff(data)
    assert guess.layout.header_line == notes + 2
    assert_sweep(read(data, guess.layout.confirmed()))


def test_key_and_value_notes_above_a_file_of_two_columns():
    text = "Bike;demo\nDate;25.11.2026\n\nEngine speed [rpm];Power [kW]\n" + lines(
        [ENGINE_SPEED_RPM, POWER_KW], ";"
    )
    guess = sniff(text.encode())
    assert (guess.layout.header_line, guess.layout.data_line) == (4, 5)


def test_blank_cells_in_header_and_rows():
    text = sweep(";").replace("Lambda", "", 1).replace(";21.00;", ";;")
    run = read_confirmed(text.encode())
    assert np.isnan(run.channels["power_kw"][4])
    np.testing.assert_allclose(run.channels["column 4"], LAMBDA)


def test_unit_row():
    text = sweep(";", header="Time,Engine speed,Power,Lambda").replace("\n", "\n[s];[krpm];[hp];[-]\n", 1)
    guess = sniff(text.encode())
    assert (guess.layout.unit_line, guess.layout.data_line) == (2, 3)
    run = read(text.encode(), guess.layout.confirmed())
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], 1000 * ENGINE_SPEED_RPM)
    np.testing.assert_allclose(run.channels["power_kw"], 0.745699872 * POWER_KW, rtol=1e-9)  # 550 ft·lbf/s


def test_header_in_two_rows_with_units_below():
    text = "Clock;Engine;;Roller\nTime;Speed;Power;Speed\ns;1/min;kW;km/h\n" + lines(
        [TIME_S, ENGINE_SPEED_RPM, POWER_KW, POWER_KW * 2], ";"
    )
    guess = sniff(text.encode())
    assert (guess.layout.header_line, guess.layout.header_rows, guess.layout.unit_line) == (1, 2, 3)
    assert [column.name for column in guess.layout.columns] == [
        "Clock Time",
        "Engine Speed",
        "Engine Power",
        "Roller Speed",
    ]
    run = read(text.encode(), guess.layout.confirmed())
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)
    np.testing.assert_allclose(run.channels["roller_speed_kmh"], POWER_KW * 2)


def test_header_behind_a_comment_mark_between_blanks():
    text = "# Time[s] RPM Power[kW] Lambda\n" + lines([TIME_S, ENGINE_SPEED_RPM, POWER_KW, LAMBDA], "   ")
    assert_sweep(read_confirmed(text.encode()))


def test_names_of_several_words_between_blanks():
    text = "Time [s]   Engine speed [rpm]   Power [kW]   Lambda\n" + lines(
        [TIME_S, ENGINE_SPEED_RPM, POWER_KW, LAMBDA], "     "
    )
    assert_sweep(read_confirmed(text.encode()))


# --- what a person changes


def test_a_wrong_delimiter_is_questioned_and_can_be_changed():
    # langgenius/dify#42354
    data = sweep(";").encode()
    wrong = sniff(data, overrides=StructureOverrides(delimiter=",")).layout
    assert len(wrong.columns) == 1
    assert any("single column" in doubt for doubt in wrong.doubts)
    assert any("single column" in question.sentence for question in preview(data, wrong, rows=10).questions)
    right = sniff(data, overrides=StructureOverrides(delimiter=";")).layout
    shown = preview(data, right, rows=10)
    assert [view.label for view in shown.columns] == [
        "time",
        "engine speed",
        "power",
        "lambda",
    ]


def test_header_and_unit_line_can_be_pointed_at():
    text = "t;n;P;L\nold;names;not;these\n" + sweep(";").split("\n", 1)[1]
    layout = sniff(text.encode(), overrides=StructureOverrides(header_line=1, unit_line=0)).layout
    assert [column.name for column in layout.columns] == ["t", "n", "P", "L"]
    assert layout.data_line == 3


def test_preview_shows_cells_as_they_stand_and_as_they_are_read():
    data = ("Speed [mph];Engine speed [krpm]\n" + "60,0;4,5\n" * 30).encode()
    shown = preview(data, confirmed_layout(data), rows=5)
    assert shown.columns[0].raw == ("60,0",) * 5
    np.testing.assert_allclose(shown.columns[0].values, 96.56064)  # 60 mph, 1 mile = 1.609344 km
    np.testing.assert_allclose(shown.columns[1].values, 4500)
    assert shown.row_lines == (2, 3, 4, 5, 6)
    assert shown.lines[0] == (1, "Speed [mph];Engine speed [krpm]")


def test_preview_of_a_layout_that_does_not_fit_says_why():
    data = sweep().encode()
    shown = preview(data, replace(confirmed_layout(data), data_line=500), rows=10)
    assert "no row with figures" in shown.problem
    assert shown.columns == ()


def test_nothing_uncertain_is_applied_without_a_nod():
    data = ("Time [s];Throttle [%];Power\n" + lines([TIME_S, LAMBDA * 50, POWER_KW], ";")).encode()
    layout = sniff(data).layout
    assert layout.needs_confirmation
    assert set(read(data, layout).channels) == {"time_s", "Throttle", "Power"}
    assert {"plate_pct", "power_kw"} & set(read(data, layout.confirmed()).channels)


# --- remembering


def test_a_remembered_layout_applies_to_the_same_file_saved_with_a_byte_order_mark():
    # frappe/frappe#22151, dotCMS/core#36508
    text = "rpm,weird one,power [kW]\n" + lines([ENGINE_SPEED_RPM, LAMBDA, POWER_KW])
    remembered = confirmed_layout(text.encode()).with_meanings({1: ("lambda", "lambda")})
    for encoding in ("utf-8-sig", "utf-16"):
        again = text.encode(encoding)
        layout = apply_known_layout(sniff(again), remembered)
        assert layout is not None
        assert not layout.needs_confirmation
        run = read(again, layout)
        np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)
        np.testing.assert_allclose(run.channels["lambda"], LAMBDA)


def test_a_remembered_layout_follows_the_header_down():
    remembered = confirmed_layout(sweep().encode())
    longer = ("one more\nand another note\n" + sweep()).encode()
    layout = apply_known_layout(sniff(longer), remembered)
    assert_sweep(read(longer, layout))


def test_a_header_line_set_by_hand_is_found_again():
    below = "old;names;not;these\n" + sweep(";").split("\n", 1)[1]
    first = ("t;n;P;L\n" + below).encode()
    set_by_hand = sniff(first, overrides=StructureOverrides(header_line=1, unit_line=0)).layout
    kept = set_by_hand.with_meanings({1: ("engine_speed_rpm", "rpm")})
    second = ("a note\nanother\nt;n;P;L\n" + below).encode()
    layout = apply_known_layout(sniff(second), kept)
    assert layout.header_line == 3
    np.testing.assert_allclose(read(second, layout).channels["engine_speed_rpm"], ENGINE_SPEED_RPM)


def test_a_layout_is_not_laid_over_another_kind_of_file():
    other = sniff(sweep(header="Time [s],Engine speed [rpm],Torque [N·m],Lambda").encode())
    assert apply_known_layout(other, confirmed_layout(sweep().encode())) is None


def test_files_without_names_need_a_nod_each_time():
    data = sweep(header="").encode()
    remembered = sniff(data).layout.with_meanings({1: ("engine_speed_rpm", "rpm")}).confirmed()
    assert apply_known_layout(sniff(data), remembered).needs_confirmation


def test_the_fingerprint_does_not_depend_on_padding_or_case_of_letters():
    plain = sniff(sweep(";").encode()).layout.fingerprint
    padded = sniff(sweep(";").replace("Power [kW]", "  Power  [kW] ").encode("utf-16")).layout.fingerprint
    assert plain == padded


def test_a_layout_survives_storage():
    layout = confirmed_layout(sweep(";", ",").encode())
    assert FileLayoutSpec.from_dict(json.loads(json.dumps(layout.to_dict()))) == layout


@pytest.mark.parametrize(
    "damage",
    [
        {},
        {"columns": 3},
        {"delimiter": "x"},
        {"decimal": ",", "thousands": ","},
        {"header_line": 9},
        {"stoichiometric_afr": 0.5},
        {"columns": [{"position": 0, "name": "n", "channel": "warp"}]},
        {"columns": [{"position": 0, "name": "n", "channel": "power_kw", "unit": "nm"}]},
        {"surprise": 1},
    ],
)
def test_a_stored_layout_that_cannot_be_is_refused(damage):
    stored = {**confirmed_layout(sweep().encode()).to_dict(), **damage} if damage else {}
    with pytest.raises(ValueError, match=r"\w"):
        FileLayoutSpec.from_dict(stored)


def test_the_report_is_ready_for_storage_and_for_a_person():
    run = read_confirmed(sweep(";", ",").encode())
    assert json.loads(json.dumps(run.report.to_dict(), allow_nan=False))["rows"] == 40
    assert run.report.sentences[0] == (
        "40 rows read from line 2 on; names from line 1; UTF-8, delimiter semicolon, decimal comma."
    )


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"\r\n \n", "empty"),
        (b"PK\x03\x04....xl/workbook.xml", "spreadsheet"),
        (b"PK\x03\x04....mimetypeapplication/vnd.oasis.opendocument.spreadsheet", "spreadsheet"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "spreadsheet"),
        (b"PK\x03\x04....run1.csv", "archive"),
        (b"\x89PNG\r\n\x1a\n....", "picture"),
        (b"\xff\xd8\xff\xe0....", "picture"),
        (b"%PDF-1.7\n...", "PDF"),
        (bytes(range(256)) * 20, "binary"),
        (b"Time;RPM;Power\n", "No line holds figures"),
        (b"dear all,\nplease find nothing\nattached\n", "No line holds figures"),
        (b"0" * (64 * 1024 * 1024 + 1), "at most 64 MB"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_sentence(data, says):
    with pytest.raises(RunFileError, match=says) as caught:
        sniff(data, "run.csv")
    assert str(caught.value).startswith("run.csv: ")


def test_too_many_rows_are_refused():
    data = b"rpm\n" + b"1\n" * 5_000_001
    with pytest.raises(RunFileError, match="5\N{NARROW NO-BREAK SPACE}000\N{NARROW NO-BREAK SPACE}000 rows"):
        read(data, confirmed_layout(b"rpm\n1\n2\n3\n"))


def test_a_file_of_which_nothing_is_left_is_refused_with_its_line():
    layout = confirmed_layout(sweep().encode())
    with pytest.raises(RunFileError) as caught:
        read(b"Time [s],Engine speed [rpm],Power [kW],Lambda\n,,,\n,,,\n", layout)
    assert caught.value.line == 2


def test_a_header_with_names_too_many_is_questioned():
    data = sweep(header="Time [s],Engine speed [rpm],Power [kW],Lambda,Torque [N·m],Gear").encode()
    assert any("names 6 columns" in doubt and "rows have 4" in doubt for doubt in sniff(data).layout.doubts)


def test_a_header_with_names_too_few_is_questioned():
    data = sweep(header="Time [s],Engine speed [rpm],Power [kW]").encode()
    assert any("names 3 columns" in doubt and "rows have 4" in doubt for doubt in sniff(data).layout.doubts)


def test_a_column_that_gives_way_is_what_else_it_may_be():
    data = (
        "RPM;Speed;Power [kW]\n" + lines([ENGINE_SPEED_RPM, ENGINE_SPEED_RPM / 40, POWER_KW], ";")
    ).encode()
    layout = sniff(data).layout
    assert [column.channel for column in layout.columns] == ["engine_speed_rpm", "road_speed_kmh", "power_kw"]
    assert [column.is_certain for column in layout.columns] == [True, False, True]
