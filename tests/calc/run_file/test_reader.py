"""Reading run files: encodings, delimiters, decimal marks, headers, and names of columns."""

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
def test_every_encoding_gives_the_same_channels(encoding):
    text = sweep(header="Zeit [s],Motordrehzahl [1/min],Leistung [kW],λ" if encoding != "cp1252" else None)
    assert_sweep(read_confirmed(text.encode(encoding)))


def test_utf_16_big_endian_is_read_when_it_has_a_byte_order_mark():
    assert_sweep(read_confirmed(b"\xfe\xff" + sweep().encode("utf-16-be")))


def test_western_windows_characters_in_the_header_are_read():
    data = sweep(header="Time [s],Engine speed [rpm],Power [kW],Température d'air [°C]").encode("cp1252")
    guess = sniff(data)
    assert guess.layout.encoding == "cp1252"
    assert guess.layout.columns[3].name == "Température d'air"
    assert guess.layout.columns[3].unit == "c"


def test_encoding_is_utf_8_when_the_head_ends_within_a_character():
    header = "Zeit [s],Motordrehzahl [rpm],Leistung [kW],λ\n"
    padding = 256 * 1024 - 1 - len(header.encode())
    data = (header + "0.00,1000.00,1.00,0.90\n" * (padding // 23)).encode()
    data += b" " * (256 * 1024 - 1 - len(data)) + "λ\n".encode() + b"0.00,1000.00,1.00,0.90\n"
    assert sniff(data).layout.encoding == "utf-8"


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("delimiter", [";", "\t", "|", "  "])
def test_every_delimiter_and_decimal_mark_is_detected(delimiter, decimal):
    header = "Time_s,Engine_speed_rpm,Power_kW,Lambda"
    run = read_confirmed(sweep(delimiter, decimal, header).encode())
    assert run.report.delimiter == delimiter[0]
    assert run.report.decimal == decimal
    assert_sweep(run)


def test_comma_delimiter_is_detected():
    assert_sweep(read_confirmed(sweep().encode()))


@pytest.mark.parametrize("end", ["\r\n", "\r", "\r\r\n"])
def test_line_ends_of_other_systems_are_read(end):
    assert_sweep(read_confirmed(sweep().replace("\n", end).encode()))


def test_quoted_decimal_commas_are_read_when_delimiter_is_comma():
    rows = "".join(
        f'"{t:.2f}","{n:.0f}","{p:.2f}","{la:.2f}"\n'.replace(".", ",")
        for t, n, p, la in zip(TIME_S, ENGINE_SPEED_RPM, POWER_KW, LAMBDA, strict=True)
    )
    run = read_confirmed(('"Time [s]","Engine speed [rpm]","Power [kW]","Lambda"\n' + rows).encode())
    assert (run.report.delimiter, run.report.decimal) == (",", ",")
    assert_sweep(run)


# --- names stay with their columns


def test_names_stay_over_their_figures_when_rows_end_in_a_delimiter():
    # pandas-dev/pandas#14124, natcap/invest#146
    text = sweep().split("\n")
    data = "\n".join([text[0], *(f"{row}," for row in text[1:-1]), ""]).encode()
    run = read_confirmed(data)
    assert_sweep(run)
    assert len(run.channels) == 4


def test_names_stay_over_their_figures_when_rows_end_in_several_delimiters():
    text = sweep().split("\n")
    run = read_confirmed("\n".join([text[0], *(f"{row},,," for row in text[1:-1]), ""]).encode())
    assert_sweep(run)


def test_names_stay_over_their_figures_when_header_ends_in_delimiters():
    text = sweep().split("\n")
    run = read_confirmed("\n".join([f"{text[0]},,", *text[1:]]).encode())
    assert_sweep(run)


def test_columns_of_one_name_are_told_apart_by_position():
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


def test_columns_of_one_name_need_confirmation():
    data = ("Engine speed [rpm];lambda;lambda\n" + lines([ENGINE_SPEED_RPM, LAMBDA, LAMBDA], ";")).encode()
    assert sniff(data).layout.needs_confirmation


def test_layout_refuses_one_channel_for_two_columns():
    layout = confirmed_layout(sweep().encode())
    with pytest.raises(ValueError, match="Only one column can be"):
        layout.with_meanings({1: ("power_kw", "kw"), 2: ("power_kw", "kw")})


def test_channel_moves_to_the_column_it_is_given_to():
    layout = confirmed_layout(sweep(header="Time [s],Engine speed [rpm],P1 [kW],P2 [kW]").encode())
    moved = layout.with_meanings({3: ("power_kw", "kw")})
    assert moved.columns[3].channel == "power_kw"
    assert moved.columns[2].channel is None


def test_empty_columns_are_skipped():
    rows = "".join(f"{t:.2f};;{n:.0f};\n" for t, n in zip(TIME_S, ENGINE_SPEED_RPM, strict=True))
    run = read_confirmed(("Time [s];Spare;Engine speed [rpm];\n" + rows).encode())
    assert list(run.channels) == ["time_s", "engine_speed_rpm"]
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)
    assert any("'Spare'" in sentence for sentence in run.report.sentences)


def test_column_named_like_a_channel_is_no_channel_until_confirmed():
    data = (
        "Engine speed [rpm];lambda;lambda\n" + lines([ENGINE_SPEED_RPM, LAMBDA, LAMBDA + 1], ";")
    ).encode()
    run = read(data, sniff(data).layout)
    assert "lambda" not in run.channels
    assert len(run.channels) == 3


# --- lines above the data


def test_file_without_header_needs_confirmation():
    guess = sniff(sweep(header="").encode())
    assert guess.layout.header_line is None
    assert guess.layout.needs_confirmation
    layout = guess.layout.with_meanings({1: ("engine_speed_rpm", "rpm")})
    run = read(sweep(header="").encode(), layout)
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)


@pytest.mark.parametrize("notes", [1, 40, 300])
def test_header_is_found_below_notes_and_blank_lines(notes):
    # DistrictDataLabs/cultivar#45
    above = "".join(f"Note {i}: air 21,5 °C; nothing, to; read\n" if i % 3 else "\n" for i in range(notes))
    data = (above + "\n" + sweep(";")).encode()
    guess = sniff(data)
    assert guess.layout.header_line == notes + 2
    assert_sweep(read(data, guess.layout.confirmed()))


def test_header_is_found_below_notes_of_two_columns():
    text = "Bike;demo\nDate;25.11.2026\n\nEngine speed [rpm];Power [kW]\n" + lines(
        [ENGINE_SPEED_RPM, POWER_KW], ";"
    )
    guess = sniff(text.encode())
    assert (guess.layout.header_line, guess.layout.data_line) == (4, 5)


def test_blank_cells_become_nan_and_a_numbered_name():
    text = sweep(";").replace("Lambda", "", 1).replace(";21.00;", ";;")
    run = read_confirmed(text.encode())
    assert np.isnan(run.channels["power_kw"][4])
    np.testing.assert_allclose(run.channels["column 4"], LAMBDA)


def test_unit_row_is_detected_and_applied():
    text = sweep(";", header="Time,Engine speed,Power,Lambda").replace("\n", "\n[s];[krpm];[hp];[-]\n", 1)
    guess = sniff(text.encode())
    assert (guess.layout.unit_line, guess.layout.data_line) == (2, 3)
    run = read(text.encode(), guess.layout.confirmed())
    np.testing.assert_allclose(run.channels["engine_speed_rpm"], 1000 * ENGINE_SPEED_RPM)
    np.testing.assert_allclose(run.channels["power_kw"], 0.745699872 * POWER_KW, rtol=1e-9)  # 550 ft·lbf/s


def test_header_in_two_rows_prefixes_names_with_their_group():
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


def test_header_behind_a_comment_mark_is_read():
    text = "# Time[s] RPM Power[kW] Lambda\n" + lines([TIME_S, ENGINE_SPEED_RPM, POWER_KW, LAMBDA], "   ")
    assert_sweep(read_confirmed(text.encode()))


def test_names_of_several_words_are_read_when_delimiter_is_space():
    text = "Time [s]   Engine speed [rpm]   Power [kW]   Lambda\n" + lines(
        [TIME_S, ENGINE_SPEED_RPM, POWER_KW, LAMBDA], "     "
    )
    assert_sweep(read_confirmed(text.encode()))


# --- what a person changes


def test_wrong_delimiter_is_questioned_and_can_be_changed():
    # langgenius/dify#42354
    data = sweep(";").encode()
    wrong = sniff(data, overrides=StructureOverrides(delimiter=",")).layout
    assert len(wrong.columns) == 1
    assert any("read as one column" in doubt for doubt in wrong.doubts)
    assert any(
        "read as one column" in question.sentence for question in preview(data, wrong, rows=10).questions
    )
    right = sniff(data, overrides=StructureOverrides(delimiter=";")).layout
    shown = preview(data, right, rows=10)
    assert [view.label for view in shown.columns] == [
        "time",
        "engine speed",
        "power",
        "lambda",
    ]


def test_header_and_unit_line_can_be_set():
    text = "t;n;P;L\nold;names;not;these\n" + sweep(";").split("\n", 1)[1]
    layout = sniff(text.encode(), overrides=StructureOverrides(header_line=1, unit_line=0)).layout
    assert [column.name for column in layout.columns] == ["t", "n", "P", "L"]
    assert layout.data_line == 3


def test_preview_shows_cells_raw_and_as_read():
    data = ("Speed [mph];Engine speed [krpm]\n" + "60,0;4,5\n" * 30).encode()
    shown = preview(data, confirmed_layout(data), rows=5)
    assert shown.columns[0].raw == ("60,0",) * 5
    np.testing.assert_allclose(shown.columns[0].values, 96.56064)  # 60 mph, 1 mile = 1.609344 km
    np.testing.assert_allclose(shown.columns[1].values, 4500)
    assert shown.row_lines == (2, 3, 4, 5, 6)
    assert shown.lines[0] == (1, "Speed [mph];Engine speed [krpm]")


def test_preview_gives_reason_when_layout_does_not_fit():
    data = sweep().encode()
    shown = preview(data, replace(confirmed_layout(data), data_line=500), rows=10)
    assert "The file has no row from line 500 on" in shown.problem
    assert shown.columns == ()


def test_uncertain_columns_become_channels_only_when_confirmed():
    data = ("Time [s];Throttle [%];Power\n" + lines([TIME_S, LAMBDA * 50, POWER_KW], ";")).encode()
    layout = sniff(data).layout
    assert layout.needs_confirmation
    assert set(read(data, layout).channels) == {"time_s", "Throttle", "Power"}
    assert {"plate_pct", "power_kw"} & set(read(data, layout.confirmed()).channels)


# --- known layouts


def test_known_layout_applies_when_file_has_a_byte_order_mark():
    # frappe/frappe#22151, dotCMS/core#36508
    text = "rpm,weird one,power [kW]\n" + lines([ENGINE_SPEED_RPM, LAMBDA, POWER_KW])
    known = confirmed_layout(text.encode()).with_meanings({1: ("lambda", "lambda")})
    for encoding in ("utf-8-sig", "utf-16"):
        again = text.encode(encoding)
        layout = apply_known_layout(sniff(again), known)
        assert layout is not None
        assert not layout.needs_confirmation
        run = read(again, layout)
        np.testing.assert_allclose(run.channels["engine_speed_rpm"], ENGINE_SPEED_RPM)
        np.testing.assert_allclose(run.channels["lambda"], LAMBDA)


def test_known_layout_follows_the_header_down():
    known = confirmed_layout(sweep().encode())
    longer = ("one more\nand another note\n" + sweep()).encode()
    layout = apply_known_layout(sniff(longer), known)
    assert_sweep(read(longer, layout))


def test_known_layout_finds_a_header_line_set_by_hand():
    below = "old;names;not;these\n" + sweep(";").split("\n", 1)[1]
    first = ("t;n;P;L\n" + below).encode()
    set_by_hand = sniff(first, overrides=StructureOverrides(header_line=1, unit_line=0)).layout
    kept = set_by_hand.with_meanings({1: ("engine_speed_rpm", "rpm")})
    second = ("a note\nanother\nt;n;P;L\n" + below).encode()
    layout = apply_known_layout(sniff(second), kept)
    assert layout.header_line == 3
    np.testing.assert_allclose(read(second, layout).channels["engine_speed_rpm"], ENGINE_SPEED_RPM)


def test_known_layout_does_not_apply_to_another_kind_of_file():
    other = sniff(sweep(header="Time [s],Engine speed [rpm],Torque [N·m],Lambda").encode())
    assert apply_known_layout(other, confirmed_layout(sweep().encode())) is None


def test_known_layout_needs_confirmation_when_file_has_no_header():
    data = sweep(header="").encode()
    known = sniff(data).layout.with_meanings({1: ("engine_speed_rpm", "rpm")}).confirmed()
    assert apply_known_layout(sniff(data), known).needs_confirmation


def test_fingerprint_ignores_padding_and_encoding():
    plain = sniff(sweep(";").encode()).layout.fingerprint
    padded = sniff(sweep(";").replace("Power [kW]", "  Power  [kW] ").encode("utf-16")).layout.fingerprint
    assert plain == padded


def test_layout_survives_storage():
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
def test_stored_layout_is_refused_when_damaged(damage):
    stored = {**confirmed_layout(sweep().encode()).to_dict(), **damage} if damage else {}
    with pytest.raises(ValueError, match=r"\w"):
        FileLayoutSpec.from_dict(stored)


def test_report_is_json_and_sentences():
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
        (b"\x89PNG\r\n\x1a\n....", "image"),
        (b"\xff\xd8\xff\xe0....", "image"),
        (b"%PDF-1.7\n...", "PDF"),
        (bytes(range(256)) * 20, "binary"),
        (b"Time;RPM;Power\n", "no data rows"),
        (b"dear all,\nplease find nothing\nattached\n", "no data rows"),
        (b"0" * (64 * 1024 * 1024 + 1), "The limit is 64 MB"),
    ],
)
def test_other_kinds_of_file_are_refused_with_name_and_reason(data, says):
    with pytest.raises(RunFileError, match=says) as caught:
        sniff(data, "run.csv")
    assert str(caught.value).startswith("run.csv: ")


def test_file_with_too_many_rows_is_refused():
    data = b"rpm\n" + b"1\n" * 5_000_001
    with pytest.raises(RunFileError, match="5\N{NARROW NO-BREAK SPACE}000\N{NARROW NO-BREAK SPACE}000 rows"):
        read(data, confirmed_layout(b"rpm\n1\n2\n3\n"))


def test_refusal_names_the_line_when_no_figure_is_left():
    layout = confirmed_layout(sweep().encode())
    with pytest.raises(RunFileError) as caught:
        read(b"Time [s],Engine speed [rpm],Power [kW],Lambda\n,,,\n,,,\n", layout)
    assert caught.value.line == 2


def test_header_with_too_many_names_is_questioned():
    data = sweep(header="Time [s],Engine speed [rpm],Power [kW],Lambda,Torque [N·m],Gear").encode()
    assert any("has 6 columns" in doubt and "rows have 4" in doubt for doubt in sniff(data).layout.doubts)


def test_header_with_too_few_names_is_questioned():
    data = sweep(header="Time [s],Engine speed [rpm],Power [kW]").encode()
    assert any("has 3 columns" in doubt and "rows have 4" in doubt for doubt in sniff(data).layout.doubts)


def test_column_takes_its_next_channel_when_another_is_more_certain():
    data = (
        "RPM;Speed;Power [kW]\n" + lines([ENGINE_SPEED_RPM, ENGINE_SPEED_RPM / 40, POWER_KW], ";")
    ).encode()
    layout = sniff(data).layout
    assert [column.channel for column in layout.columns] == ["engine_speed_rpm", "road_speed_kmh", "power_kw"]
    assert [column.is_certain for column in layout.columns] == [True, False, True]
