"""Sentences about a whole mixture study, counted by hand in a grid of six cells."""

from typing import Any

import pytest

from jobs.mixture.sentences import (
    correction_sentence,
    describe_answer,
    describe_extent,
    fuel_table_sentence,
    load_sentence,
)
from jobs.models import MixtureStudy

# Rows are 20, 60 and 100 % grip, columns 4000 and 6000 rpm: measured well, interpolated, limited; then
# too little data, no data, measured well.
RESULT: dict[str, Any] = {
    "n": [[40, 0], [60, 5], [0, 70]],
    "correction": [[1.02, 1.03], [1.15, None], [None, 0.98]],
    "filled": [[False, True], [False, False], [False, False]],
    "limited": [[False, False], [True, False], [False, False]],
    "off": [[0.02, None], [0.2, 0.01], [None, 0.01]],
    "mean": [[0.918, None], [1.08, 0.909], [None, 0.909]],
    "target": [[0.9, 0.9]] * 3,
    "sd": [[0.01, 0.01]] * 3,
    "half_width_95": [[0.01, None], [0.01, 0.01], [None, 0.01]],
    "dwells": [[4, 0], [4, 4], [0, 4]],
    "end_of_scale": [[0, 0]] * 3,
}


def study(**values: Any) -> MixtureStudy:
    given = {"rpm_axis": [4000, 6000], "load_axis": [20, 60, 100], "load_channel": "grip_pct"}
    used = {"high_load_pct": 80.0, "lean_share": 0.03}
    return MixtureStudy(**{**given, "result": RESULT, "settings_used": used, **values})


def test_correction_sentence_counts_cells_by_outcome() -> None:
    assert correction_sentence(study()) == (
        "Fuel correction calculated for 4 of 6 cells: 1 interpolated between two measured neighbours, not "
        "measured, 1 limited in one pass, 1 with too little data, 1 with no data."
    )


def test_sentences_are_empty_without_a_result() -> None:
    empty = study(result=None)
    assert (correction_sentence(empty), load_sentence(empty), fuel_table_sentence(empty)) == ("", "", "")


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({}, "1 cell was measured from 80 % grip up. None is more than 3 % leaner than target."),
        (
            {"load_axis": [10, 20, 30]},
            "Nothing was measured from 80 % grip up. Whether the engine runs lean there is not known.",
        ),
        ({"load_axis": [20, 90, 100]}, ""),
    ],
)
def test_load_sentence_is_given_unless_a_warning_covers_it(values: dict[str, Any], sentence: str) -> None:
    assert load_sentence(study(**values)) == sentence


def test_fuel_table_sentence_counts_changed_covered_and_limited_cells() -> None:
    after = {"text": "", "covered": 3, "changed": [[True, False], [True, False]], "step": 0.5, "limited": 1}
    assert fuel_table_sentence(study(fuel_table_after=after)) == (
        "2 of 4 cells in the fuel table changed. 3 are covered by measurements, rounded to the table step of "
        "0.5. All others are unchanged. 1 use a limited correction."
    )


@pytest.mark.parametrize(
    ("values", "answer"),
    [
        ({"result": None}, "This study has not been calculated yet"),
        ({"load_axis": [20, 90, 100]}, "Up to 20 % lean of target under load, 4000 rpm"),
        ({}, "Up to 20 % lean of target, at 4000 rpm and 60 % grip"),
        (
            {"result": {**RESULT, "off": [[0.01, None], [-0.008, 0.0], [None, 0.005]]}},
            "On target in all measured cells",
        ),
        (
            {"result": {**RESULT, "off": [[0.02, None], [-0.05, 0.0], [None, 0.0]]}},
            "Up to 5 % rich of target, at 4000 rpm and 60 % grip",
        ),
    ],
)
def test_answer_names_the_worst_place(values: dict[str, Any], answer: str) -> None:
    assert describe_answer(study(**values)) == answer


def test_extent_says_where_nothing_was_measured() -> None:
    n = [[0, 0, 0], [9, 9, 0], [9, 0, 0]]
    axes = {"rpm_axis": [4000, 6000, 8000], "load_axis": [20, 60, 100]}
    wide = {
        name: [[*row, None] for row in RESULT[name]]
        for name in ("mean", "sd", "half_width_95", "end_of_scale")
    }
    result = {**RESULT, **wide, "n": n, "dwells": n, "end_of_scale": [[0] * 3] * 3}
    assert describe_extent(study(**axes, result=result)) == "Not measured above 6000 rpm, below 60 % grip."
